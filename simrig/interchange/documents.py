"""Answers as JSON documents for other tools; the keys are a contract, versioned by ``format``."""

from __future__ import annotations

from collections.abc import Mapping
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


def plain(value: Any) -> Any:
    """Return a table of a profile as plain data, unknown keys left out."""
    if attrs.has(type(value)):
        return {
            attribute.name.rstrip("_"): plain(getattr(value, attribute.name))
            for attribute in attrs.fields(type(value))
            if "key" in attribute.metadata and getattr(value, attribute.name) not in (None, ())
        }
    if isinstance(value, Mapping):
        return {name: plain(member) for name, member in value.items()}
    if isinstance(value, list | tuple):
        return [plain(member) for member in value]
    return value if isinstance(value, str | int | float | bool) or value is None else str(value)
