"""The few strokes of which every drawing is made: SVG text, lines, boxes, arrows, in one look.

Dark ink on warm white, and nothing hangs on colour: what differs has a thicker
outline and a word of its own, so that a black-and-white print says the same.
Presentation attributes alone are used, never styles or scripts.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Final

INK: Final = "#2b2118"
SOFT: Final = "#6b5a48"
PAPER: Final = "#fffdf8"
WOOD: Final = "#f3e9d8"
STEEL: Final = "#c9c4bb"
MARK: Final = "#9c2f12"

_ILLEGAL: Final = {
    code: "\N{REPLACEMENT CHARACTER}" for code in range(32) if code not in (9, 10, 13)
} | {0xFFFE: "\N{REPLACEMENT CHARACTER}", 0xFFFF: "\N{REPLACEMENT CHARACTER}"}
_NARROW: Final = frozenset("iljtfI.,:;'|!()[] ")
_WIDE: Final = frozenset("mwMW")


def safe(words: str) -> str:
    """Return text that stays text inside a drawing, whatever it holds."""
    return escape(words.translate(_ILLEGAL))


def number(value: float) -> str:
    """Return a length as SVG writes it, to a tenth."""
    return f"{value:.1f}".removesuffix(".0")


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float = 14,
    anchor: str = "start",
    bold: bool = False,
    fill: str = INK,
) -> str:
    """Return one line of text whose base line starts (or centres, or ends) at a point."""
    weight = ' font-weight="bold"' if bold else ""
    side = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return (
        f'<text x="{number(x)}" y="{number(y)}" font-size="{number(size)}" fill="{fill}"'
        f"{side}{weight}>{safe(words)}</text>"
    )


def line(
    x1: float, y1: float, x2: float, y2: float, *, wide: float = 1.5, dashed: bool = False,
    stroke: str = INK,
) -> str:  # fmt: skip
    """Return a straight line."""
    dash = ' stroke-dasharray="4 3"' if dashed else ""
    return (
        f'<line x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}" '
        f'stroke="{stroke}" stroke-width="{number(wide)}"{dash}/>'
    )


def path(points: Iterable[tuple[float, float]], *, wide: float = 1.5, stroke: str = INK) -> str:
    """Return an open line through points."""
    way = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return f'<polyline points="{way}" fill="none" stroke="{stroke}" stroke-width="{number(wide)}"/>'


def arrow(points: Iterable[tuple[float, float]], *, wide: float = 1.5) -> str:
    """Return a line through points with a head at the last; its last piece is level or upright."""
    way = list(points)
    (x0, y0), (x1, y1) = way[-2], way[-1]
    if abs(x1 - x0) >= abs(y1 - y0):
        side = 7 if x1 > x0 else -7
        head = ((x1, y1), (x1 - side, y1 - 4), (x1 - side, y1 + 4))
    else:
        side = 7 if y1 > y0 else -7
        head = ((x1, y1), (x1 - 4, y1 - side), (x1 + 4, y1 - side))
    corners = " ".join(f"{number(x)},{number(y)}" for x, y in head)
    return path(way, wide=wide) + f'<polygon points="{corners}" fill="{INK}"/>'


def box(
    x: float, y: float, width: float, height: float, *, fill: str = PAPER, stroke: str = INK,
    wide: float = 1.5, round_: float = 6,
) -> str:  # fmt: skip
    """Return a rectangle with rounded corners."""
    return (
        f'<rect x="{number(x)}" y="{number(y)}" width="{number(width)}" '
        f'height="{number(height)}" rx="{number(round_)}" fill="{fill}" stroke="{stroke}" '
        f'stroke-width="{number(wide)}"/>'
    )


def circle(
    x: float, y: float, radius: float, *, fill: str = PAPER, wide: float = 1.5, dashed: bool = False
) -> str:
    """Return a circle."""
    dash = ' stroke-dasharray="3 3"' if dashed else ""
    return (
        f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}" '
        f'stroke="{INK}" stroke-width="{number(wide)}"{dash}/>'
    )


def width_of(words: str, size: float) -> float:
    """Return about how wide a line of text is; a little more than it will be."""
    ems = sum(
        0.3 if sign in _NARROW else 0.86 if sign in _WIDE else 0.56 if ord(sign) < 0x2E80 else 1.05
        for sign in words
    )
    return ems * size


def wrapped(words: str, width: float, size: float) -> list[str]:
    """Return text in lines that are at most about ``width`` wide; a long word is cut in two."""
    lines: list[str] = []
    current = ""
    for whole in words.split():
        for word in _pieces(whole, width, size):
            longer = f"{current} {word}" if current else word
            if current and width_of(longer, size) > width:
                lines.append(current)
                current = word
            else:
                current = longer
    return [*lines, current] if current else lines or [""]


def _pieces(word: str, width: float, size: float) -> list[str]:
    if width_of(word, size) <= width:
        return [word]
    found, current = [], ""
    for sign in word:
        if current and width_of(current + sign, size) > width:
            found.append(current)
            current = ""
        current += sign
        if sign in "-/_" and width_of(current, size) > width * 0.55:
            found.append(current)
            current = ""
    return [*found, current] if current else found


def shortened(words: str, width: float, size: float) -> str:
    """Return text cut to about ``width``, with dots where something was left out."""
    if width_of(words, size) <= width:
        return words
    kept = words
    while kept and width_of(kept + "…", size) > width:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def document(width: float, height: float, title: str, parts: Iterable[str]) -> str:
    """Return a whole drawing; ``title`` says in words what it shows."""
    size = f"{number(width)} {number(height)}"
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(width)}" '
            f'height="{number(height)}" viewBox="0 0 {size}" role="img" '
            f"font-family=\"'Trebuchet MS', 'Gill Sans', sans-serif\">",
            f"<title>{safe(title)}</title>",
            f'<rect width="{number(width)}" height="{number(height)}" fill="{PAPER}"/>',
            *parts,
            "</svg>\n",
        ]
    )
