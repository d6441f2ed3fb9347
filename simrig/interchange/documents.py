"""Answers as JSON documents for other tools; the keys are a contract, versioned by ``format``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import attrs

from simrig.expectation.comparison import Comparison, Fit
from simrig.expectation.location import Location
from simrig.expectation.prediction import Prediction


def prediction(found: Prediction) -> dict[str, Any]:
    """Return a prediction as a document."""
    return {
        "machine": found.machine,
        "phase": found.phase,
        "balls": found.balls,
        "readings": [attrs.asdict(one) for one in found.readings],
    }


def comparisons(found: Sequence[Comparison]) -> dict[str, Any]:
    """Return the comparison of each sheet as one document; of several, each row names its sheet."""

    def on(sheet: int) -> dict[str, int]:
        return {"sheet": sheet} if len(found) > 1 else {}

    return {
        "agrees": all(one.agrees for one in found),
        "differences": [
            attrs.asdict(row) | on(number)
            for number, one in enumerate(found, 1)
            for row in one.differences
        ],
        "fits": [fit(row) | on(number) for number, one in enumerate(found, 1) for row in one.fits],
    }


def fit(found: Fit) -> dict[str, Any]:
    """Return one fit as a document."""
    return {
        "phase": found.phase,
        "balls": found.balls,
        "at": dict(found.at),
        "inverted": list(found.inverted),
        "numbering": list(found.numbering),
        "moving": found.moving,
        "differences": found.differences,
    }


def locations(found: Sequence[Location]) -> dict[str, Any]:
    """Return where the balls can be on each sheet as one document."""
    return {
        "placements": [
            {
                "at": dict(one.at),
                "spots": list(one.spots),
                "missing": one.missing,
                "missing_at": list(one.missing_at),
                "probability": one.probability,
            }
            | ({"sheet": number} if len(found) > 1 else {})
            for number, location in enumerate(found, 1)
            for one in location.placements
        ],
        "complete": all(location.complete for location in found),
    }
