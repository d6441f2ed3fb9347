"""What can be wrong as bars: one a row, its chance in figures and in words beside it."""

from __future__ import annotations

from collections.abc import Iterable

from simrig.reports import svg
from simrig.reports.wording import chance

_EDGE = 12.0


def bars(
    rows: Iterable[tuple[str, float]], *, title: str = "What can be wrong", width: float = 640
) -> str:
    """Return an SVG document of (what, chance from 0 to 1), in the order given.

    Each bar is as long as its chance of the whole width; a frame shows the whole.
    """
    inner = width - 2 * _EDGE
    parts = [svg.text(_EDGE, 26, title, size=16, bold=True)]
    y = 44.0
    for words, share in rows:
        for piece in svg.wrapped(words, inner, 14):
            parts.append(svg.text(_EDGE, y + 12, piece))
            y += 18
        long = inner * min(1.0, max(0.0, share))
        parts.append(svg.box(_EDGE, y + 2, inner, 12, round_=2, wide=1))
        parts.append(svg.box(_EDGE, y + 2, max(1.0, long), 12, round_=2, fill=svg.INK, wide=1))
        parts.append(svg.text(_EDGE, y + 30, f"{chance(share)} ({share:.0%})", size=13))
        y += 44
    if y == 44.0:
        parts.append(svg.text(_EDGE, y + 12, "Nothing: all is as assumed."))
        y += 24
    return svg.document(width, y + 4, title, parts)


def bar(share: float, *, width: float = 320) -> str:
    """Return one bar alone as an SVG document; its words stand beside it in the text."""
    long = (width - 4) * min(1.0, max(0.0, share))
    parts = [
        svg.box(2, 2, width - 4, 12, round_=2, wide=1),
        svg.box(2, 2, max(1.0, long), 12, round_=2, fill=svg.INK, wide=1),
    ]
    return svg.document(width, 16, chance(share), parts)
