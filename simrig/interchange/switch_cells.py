"""The lines of a pasted or typed table, cut into cells, and what a cell can be.

Knows no machine: separators, quotes, headings, colours, numbers, addresses.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

import attrs

from simrig.interchange.lines import LONGEST_LINE
from simrig.profile import addresses

SEPARATORS: Final = {
    "\t": "tabs",
    "|": "upright strokes",
    ";": "semicolons",
    ",": "commas",
    "  ": "runs of spaces",
}
"""What can stand between cells, the surest first; a run of spaces is two or more."""

_RUN = re.compile(r"\s{2,}")
_RULER = re.compile(r"[\s|+:=_-]*[-=_]{2,}[\s|+:=_-]*\Z")
_COLOURS = (
    "black|brown|red|orange|yellow|green|blue|violet|purple|grey|gray|white|pink|tan|natural"
    "|turquoise|clear|blk|brn|orn|org|yel|grn|blu|vio|pur|gry|wht|pnk"
)
_COLOUR = re.compile(rf"\(?(?:{_COLOURS})(?:\s*[-/ ,+]\s*(?:{_COLOURS}))*\)?\Z", re.IGNORECASE)
_LAST_COLOUR = re.compile(
    rf"(.*?\S)[\s,]+(?:\(((?:{_COLOURS})(?:\s*[-/ ]\s*(?:{_COLOURS}))*)\)"
    rf"|((?:{_COLOURS})[-/](?:{_COLOURS})))\Z",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"(?:switch|sw|s|no|nr|#)?[.#\s]*(\d{1,4})[.):]?\Z", re.IGNORECASE)
_LINE = re.compile(
    r"(?:(column|col|c|strobe)|(row|r|return))?[.\s#]*(\d{1,2})\b[\s:(,-]*(.*?)\)?\Z", re.IGNORECASE
)
_LEADING_ADDRESS = re.compile(
    r"((?:column|col|c)\.?\s*\d{1,3}[\s,/.-]*(?:row|r)\.?\s*\d{1,3}|(?:direct|d)\s*\d{1,4})"
    r"[\s:.)=,-]+(\S.*)\Z",
    re.IGNORECASE,
)
_LEADING_NUMBER = re.compile(r"#?(\d{1,4})[\s:.)=,-]+(\S.*)\Z", re.DOTALL)
_TRAILING_NUMBER = re.compile(r"(.*?\S)\s*\(#?(\d{1,4})\)\Z", re.DOTALL)
UNUSED: Final = frozenset(
    (
        *("unused", "not used", "not fitted", "spare", "none", "blank", "empty"),
        *("n/u", "nu", "n/a", "na", "n/c", "nc", "x", "-", "--", "---", "–", "—", "."),
    )
)

HEADINGS: Final = {
    "number": "number|no|nr|num|#|no #|switch number|switch no|switch nr|switch #|sw|sw #|sw no|id",
    "name": "name|switch|switch name|description|function|label|sensor|designation|what",
    "column": "column|col|columns|strobe|column number|column no",
    "row": "row|rows|row number|row no",
    "wire": "wire|wires|wire colour|wire color|colour|color|colours|colors|wiring|wire colours",
    "column wire": "column wire|col wire|column colour|column color",
    "row wire": "row wire|row colour|row color",
    "address": "address|position|location|matrix|matrix position|crossing|read at",
    "kind": "kind|type|sensor type|switch type",
    "connector": "connector|plug",
    "pin": "pin|plug pin",
}
_ROLE_OF: Final = {word: role for role, words in HEADINGS.items() for word in words.split("|")}

KINDS: Final = (
    (re.compile(r"\b(opto\w*|optical|beam|photo\w*|infra-?red)\b", re.IGNORECASE), "opto"),
    (re.compile(r"\b(inductive|proximity|prox|eddy)\b", re.IGNORECASE), "inductive"),
    (re.compile(r"\bmicro-?\s?switch\b|^micro$", re.IGNORECASE), "micro-switch"),
    (re.compile(r"\broll-?\s?over\b", re.IGNORECASE), "roll-over"),
    (re.compile(r"\bleaf\b", re.IGNORECASE), "leaf switch"),
    (re.compile(r"\bspinner\b", re.IGNORECASE), "spinner"),
    (re.compile(r"\bdrop target\b", re.IGNORECASE), "drop target"),
    (re.compile(r"\bbutton\b", re.IGNORECASE), "button"),
)


@attrs.frozen(kw_only=True)
class Line:
    """One line of the table: its number in the file, and its text or what is wrong with it."""

    number: int
    text: str
    fault: str = ""


def lines(data: bytes) -> Iterator[Line]:
    """Yield the lines that say something; a quoted cell may run over a few of them.

    UTF-8, with or without a mark at its start, or UTF-16 with one.
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        data = data.decode("utf-16", errors="replace").encode()
    data = data.removeprefix(b"\xef\xbb\xbf")
    pieces = re.split(rb"\r\n|\n|\r", data)
    index = 0
    while index < len(pieces):
        first = index
        line = _line(first + 1, pieces[index])
        index += 1
        if not line.fault and line.text.count('"') % 2:
            for more in range(1, min(6, len(pieces) - first)):
                added = _line(first + 1 + more, pieces[first + more])
                if not added.fault and added.text.count('"') % 2:
                    texts = [one.decode() for one in pieces[first : first + more + 1]]
                    line = Line(number=first + 1, text="\n".join(texts))
                    index = first + more + 1
                    break
        words = line.text.strip()
        if line.fault or (words and not _RULER.match(words) and not _remark(words)):
            yield line


def _remark(words: str) -> bool:
    """Whether a line is a remark after a #; a # can also head the column of numbers."""
    return words.startswith("#") and not re.match(r"#\s*(\d|[\t;,|]|\s{2,}\S)", words)


def _line(number: int, raw: bytes) -> Line:
    if len(raw) > LONGEST_LINE:
        return Line(number=number, text="", fault=f"found more than {LONGEST_LINE} bytes in a line")
    try:
        text = raw.decode()
    except UnicodeDecodeError as error:
        found = f"found the byte {raw[error.start]:#04x}; save the list as CSV UTF-8"
        return Line(number=number, text="", fault=found)
    if any(ord(sign) < 0x20 and sign != "\t" for sign in text):
        return Line(
            number=number, text="", fault="found control signs; wanted a line of plain text"
        )
    return Line(number=number, text=text.rstrip())


def separator(found: Sequence[Line]) -> str | None:
    """Return what separates the cells of most lines; None where nothing does."""
    best: tuple[float, str] | None = None
    for mark in SEPARATORS:
        counts = Counter(len(cells(line.text, mark)) for line in found if not line.fault)
        counts.pop(1, None)
        if not counts:
            continue
        lines_with = sum(counts.values())
        if lines_with * 2 < len(found):
            continue
        score = counts.most_common(1)[0][1] + 0.5 * lines_with
        if best is None or score > best[0]:
            best = score, mark
    return best[1] if best else None


def cells(text: str, mark: str) -> list[str]:
    """Cut one line into cells, without the spaces and quotes around them."""
    if mark == "  ":
        return _RUN.split(text.strip())
    if mark == "|":
        text = text.strip().removeprefix("|").removesuffix("|")
    parts = text.split(mark)
    if '"' in text:
        try:
            (parts,) = csv.reader([text], delimiter=mark, skipinitialspace=True, strict=True)
        except (csv.Error, ValueError):
            parts = text.split(mark)
    return [" ".join(part.split()) if "\n" not in part else part.strip() for part in parts]


def role(cell: str) -> str | None:
    """Return what a heading heads; None for no heading."""
    plain = re.sub(r"[-_.:\s]+", " ", cell.lower()).strip()
    return _ROLE_OF.get(plain)


def is_colour(cell: str) -> bool:
    """Whether a cell holds wire colours and nothing else."""
    return bool(_COLOUR.match(cell))


def number(cell: str) -> int | None:
    """Return the number that a cell holds; None for anything else."""
    match = _NUMBER.match(cell)
    return int(match[1]) if match else None


def label(cell: str) -> tuple[str | None, int, str] | None:
    """Return the axis (None where it does not say), number and colours of a line of a grid."""
    match = _LINE.match(cell.strip())
    if match is None or (match[4] and not is_colour(match[4])):
        return None
    axis = "column" if match[1] else "row" if match[2] else None
    return axis, int(match[3]), match[4].strip("()")


def address(cell: str) -> addresses.Address | None:
    """Return the address that a cell holds."""
    return addresses.parse(cell.replace("col ", "column ").replace("col.", "column "))


def crossing(cell: str) -> addresses.Address | None:
    """Return the address that a cell holds if no name of a switch can look like it."""
    found = address(cell)
    return found if found is not None and found.board is None else None


def leading_address(cell: str) -> tuple[addresses.Address, str] | None:
    """Cut an address off the start of a line."""
    match = _LEADING_ADDRESS.match(cell)
    if match is None:
        return None
    words = re.sub(r"(?i)\b(?:column|col|c)\.?\s*(?=\d)", "column ", match[1])
    found = addresses.parse(re.sub(r"(?i)[\s,/.-]*(?:row|r)\.?\s*(?=\d)", " row ", words))
    return None if found is None else (found, match[2])


def leading_number(cell: str) -> tuple[int, str] | None:
    """Cut a number off the start of a cell, or off its end in brackets."""
    if match := _LEADING_NUMBER.match(cell):
        return int(match[1]), " ".join(match[2].split())
    if match := _TRAILING_NUMBER.match(cell):
        return int(match[2]), " ".join(match[1].split())
    return None


def trailing_colour(cell: str) -> tuple[str, str]:
    """Cut wire colours off the end of a name: the name, and the colours or nothing."""
    match = _LAST_COLOUR.match(cell)
    return (cell, "") if match is None else (match[1], match[2] or match[3])


def kind(words: str) -> str | None:
    """Return the kind of sensor that words name; None where they do not say."""
    return next((name for pattern, name in KINDS if pattern.search(words)), None)
