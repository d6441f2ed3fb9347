"""What benches found, as one JSON document and back."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import attrs

from tests.bench.rows import Claim, Curve, Found, Outcome, Row

FORMAT = 1


def document(outcomes: Iterable[Outcome]) -> dict[str, Any]:
    """Return the document; what follows from the rest stands in it too."""
    return {"format": FORMAT, "benches": [_outcome(one) for one in outcomes]}


def _outcome(one: Outcome) -> dict[str, Any]:
    return {**attrs.asdict(one), "found": [_found(each) for each in one.found]}


def _found(one: Found) -> dict[str, Any]:
    if isinstance(one, Curve):
        return {"curve": attrs.asdict(one), "exponent": one.exponent}
    return {"row": attrs.asdict(one), "reached": one.reached}


def outcomes(read: dict[str, Any]) -> tuple[Outcome, ...]:
    """Return what :func:`document` was made from."""
    if read.get("format") != FORMAT:
        raise ValueError(f"format: found {read.get('format')!r}; wanted {FORMAT}")
    return tuple(
        Outcome(**{**one, "found": tuple(_read(each) for each in one["found"])})
        for one in read["benches"]
    )


def _read(one: dict[str, Any]) -> Found:
    if "curve" in one:
        return Curve(**one["curve"])
    return Row(**{**one["row"], "claim": Claim(**one["row"]["claim"])})
