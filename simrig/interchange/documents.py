"""Answers as JSON documents for other tools; the keys are a contract, versioned by ``format``."""

from __future__ import annotations

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


def comparison(found: Comparison) -> dict[str, Any]:
    """Return a comparison as a document."""
    return {
        "agrees": found.agrees,
        "differences": [attrs.asdict(one) for one in found.differences],
        "fits": [fit(one) for one in found.fits],
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


def location(found: Location) -> dict[str, Any]:
    """Return where the balls can be as a document."""
    return {
        "placements": [
            {
                "at": dict(one.at),
                "spots": list(one.spots),
                "missing": one.missing,
                "missing_at": list(one.missing_at),
                "probability": one.probability,
            }
            for one in found.placements
        ],
        "complete": found.complete,
    }
