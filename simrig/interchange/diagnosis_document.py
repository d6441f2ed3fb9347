"""A diagnosis as a JSON document for other tools."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from simrig.diagnosis.diagnose import Cause, Diagnosis
from simrig.diagnosis.exclusion import Verdict
from simrig.diagnosis.words import fault_words, mistake_words


def document(
    found: Diagnosis,
    *,
    next_check: Mapping[str, Any] | None = None,
    asked: Iterable[Verdict] = (),
) -> dict[str, Any]:
    """Return a diagnosis as a document, with nothing under ``explanations`` yet.

    ``asked`` answers why something is not among them.
    """
    return {
        "machine": found.profile.id,
        "sheets": len(found.sheets),
        "limit": found.limit,
        "count": found.count,
        "told_apart": found.told_apart,
        "as_read": [dict(at) for at in found.as_read],
        "next_check": next_check,
        "conflict": _conflict(found),
        "why_not": [
            {
                "name": one.name,
                "verdict": one.verdict,
                "readings": [_reading(reading) for reading in one.readings],
                "why": one.words,
            }
            for one in asked
        ],
        "depends_on": list(found.depends_on),
    }


def explanation(found: Diagnosis, cause: Cause) -> dict[str, Any]:
    """Return one set of things that can be wrong as a document."""
    profile = found.profile
    return {
        "group": cause.group,
        "faults": [
            {
                "kind": fault.kind.id,
                "part": fault.part,
                "sensor": fault.sensor,
                "words": fault_words(profile, fault),
            }
            for fault in cause.faults
        ],
        "assumes": [
            {
                "kind": mistake.kind,
                "value": mistake.value,
                "sheet": None if mistake.sheet is None else mistake.sheet + 1,
                "words": mistake_words(profile, mistake),
            }
            for mistake in cause.assumes
        ],
        "placements": [
            {"sheet": number, "at": dict(at)}
            for number, ways in enumerate(cause.at, 1)
            for at in ways
        ],
        "probability": cause.probability,
        "folded": {"count": cause.folded_count, "probability": cause.folded_probability},
        "why": cause.why,
    }


def lines(document: Mapping[str, Any], explanations: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """Yield a document with its explanations line by line; there can be very many."""
    yield "{"
    yield '  "format": 1,'
    for key, value in document.items():
        text = json.dumps(value, indent=2).replace("\n", "\n  ")
        yield f'  "{key}": {text},'
    yield '  "explanations": ['
    waiting: str | None = None
    for one in explanations:
        if waiting is not None:
            yield waiting + ","
        waiting = "    " + json.dumps(one, indent=2).replace("\n", "\n    ")
    if waiting is not None:
        yield waiting
    yield "  ]"
    yield "}"


def _conflict(found: Diagnosis) -> dict[str, Any] | None:
    conflict = found.conflict
    if conflict is None:
        return None
    return {
        "kind": conflict.kind,
        "readings": [_reading(reading) for reading in conflict.readings],
        "message": conflict.words,
        "way_back": conflict.way_back,
    }


def _reading(reading: tuple[int, str, str]) -> dict[str, Any]:
    number, sensor, seen = reading
    return {"sheet": number + 1, "sensor": sensor, "seen": seen}
