"""What fails, by kind of part and month, drawn as SVG: black on white, one strip a kind.

Each strip has its own row of bars on one common scale, with the number written
over every bar, so that nothing hangs on colour or on measuring with the eye.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Final

_LEFT: Final = 150
_RIGHT: Final = 56
_TOP: Final = 56
_STRIP: Final = 58
_BAR: Final = 34
_BOTTOM: Final = 58
_MONTH: Final = 28
_NARROWEST: Final = 640
_FONT: Final = 'font-family="sans-serif" fill="black"'


def rates_plot(
    failures: Iterable[tuple[str, str, int]],
    months: Sequence[str],
    *,
    title: str = "What failed",
) -> str:
    """Return an SVG document of failures given as (month, kind of part, number).

    ``months`` are those to draw, as ``2026-01``, oldest first; failures of other
    months are left out.  Kinds with most failures come first.
    """
    wanted = set(months)
    counts: dict[str, dict[str, int]] = {}
    for month, kind, number in failures:
        if month in wanted:
            of_kind = counts.setdefault(kind, {})
            of_kind[month] = of_kind.get(month, 0) + number
    kinds = sorted(counts, key=lambda kind: (-sum(counts[kind].values()), kind))
    highest = max((number for row in counts.values() for number in row.values()), default=1)
    width = max(_NARROWEST, _LEFT + _MONTH * len(months) + _RIGHT)
    height = _TOP + _STRIP * max(1, len(kinds)) + _BOTTOM
    total = sum(number for row in counts.values() for number in row.values())
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" role="img">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{width}" height="{height}" fill="white"/>',
        _text(16, 26, title, size=16, weight="bold"),
        _text(16, 44, f"{total} failures, by kind of part and month", size=12),
    ]
    for row, kind in enumerate(kinds):
        lines += _strip(_TOP + _STRIP * (row + 1), kind, counts[kind], months, highest)
    if kinds:
        lines += _axis(_TOP + _STRIP * len(kinds), months)
    else:
        lines.append(_text(16, _TOP + 30, "No failure is on record for these months.", size=12))
    return "\n".join([*lines, "</svg>"]) + "\n"


def _strip(
    base: int, kind: str, counts: dict[str, int], months: Sequence[str], highest: int
) -> list[str]:
    end = _LEFT + _MONTH * len(months)
    lines = [
        _text(_LEFT - 10, base - 4, kind, anchor="end", size=13),
        _text(end + 8, base - 4, f"= {sum(counts.values())}", size=13, weight="bold"),
        f'<line x1="{_LEFT}" y1="{base}" x2="{end}" y2="{base}" stroke="black"/>',
    ]
    for place, month in enumerate(months):
        number = counts.get(month, 0)
        if not number:
            continue
        tall = max(1.0, _BAR * number / highest)
        left = _LEFT + _MONTH * place + 5
        lines += [
            f'<rect x="{left}" y="{base - tall:.1f}" width="{_MONTH - 10}" height="{tall:.1f}" '
            'fill="black"/>',
            _text(left + (_MONTH - 10) / 2, base - tall - 3, str(number), anchor="middle"),
        ]
    return lines


def _axis(base: int, months: Sequence[str]) -> list[str]:
    lines = []
    for place, month in enumerate(months):
        middle = _LEFT + _MONTH * (place + 0.5)
        lines.append(_text(middle, base + 16, month[5:], anchor="middle"))
        if place == 0 or month[5:] == "01":
            lines.append(_text(middle, base + 32, month[:4], anchor="middle", weight="bold"))
    lines.append(_text(_LEFT - 10, base + 16, "month", anchor="end"))
    return lines


def _text(
    x: float, y: float, text: str, *, anchor: str = "start", size: int = 11, weight: str = "normal"
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" font-weight="{weight}" '
        f'text-anchor="{anchor}" {_FONT}>{escape(text)}</text>'
    )
