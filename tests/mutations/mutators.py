"""Files made wrong: bytes, lines, splices of two files, and near misses that the key tables give."""

from __future__ import annotations

import re
from collections.abc import Sequence
from random import Random
from typing import Any, Final

from simrig.profile.keys import Key, keys_of

_LINE: Final = re.compile(rb"(?m)^([a-z_0-9]+)( *= *)(.*)$")
_HEADER: Final = re.compile(rb"(?m)^\[\[?([a-z_.]+)\]\]?$")
_WORD: Final = re.compile(rb'"([^"\n]{2,40})"')

WORDS: Final = (
    b'"', b"'", b'"""', b"\n", b"\r\n", b"\0", b"#", b"[", b"]", b"[[", b"{", b"}", b"=", b",",
    b".", b"-", b"\\", b"\xff", b"\xef\xbb\xbf", b"nan", b"inf", b"9" * 400, b"1e400", b"0x1f",
    b"1979-05-27", b"true", b"none", "ä".encode(), "𝄞".encode(), b"[" * 70, b"a." * 70, b"\t",
)  # fmt: skip


def mutant(data: bytes, chance: Random, others: Sequence[bytes], rows: type[Any] | None) -> bytes:
    """Return a file with one to four things wrong in it.

    ``others`` are files to splice from; ``rows`` is the class of the file's
    format, where it is one of tables of keys.
    """
    known = _all_keys(rows) if rows is not None else {}
    for _ in range(chance.choice((1, 1, 1, 2, 3, 4))):
        if not data:
            break
        kind = chance.randrange(8)
        if kind < 4 and known:
            data = _near_miss(data, chance, known)
        elif kind < 5:
            data = _bytes(data, chance)
        elif kind < 7:
            data = _lines(data, chance)
        else:
            data = _splice(data, chance, chance.choice(others))
    return data


def _bytes(data: bytes, chance: Random) -> bytes:
    broken = bytearray(data)
    at = chance.randrange(len(broken))
    match chance.randrange(5):
        case 0:
            broken[at] = chance.randrange(256)
        case 1:
            del broken[at : at + chance.randint(1, 40)]
        case 2:
            broken[at:at] = chance.choice(WORDS)
        case 3:
            broken[at:at] = broken[max(0, at - 60) : at]
        case _:
            del broken[at:]
    return bytes(broken)


def _lines(data: bytes, chance: Random) -> bytes:
    lines = data.splitlines(keepends=True)
    at, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    match chance.randrange(5):
        case 0:
            del lines[at]
        case 1:
            lines.insert(other, lines[at])
        case 2:
            lines[at], lines[other] = lines[other], lines[at]
        case 3:
            del lines[at : at + chance.randint(2, 12)]
        case _:
            lines[other:other] = lines[at : at + chance.randint(2, 12)]
    return b"".join(lines)


def _splice(data: bytes, chance: Random, other: bytes) -> bytes:
    here, there = data.splitlines(keepends=True), other.splitlines(keepends=True)
    at = chance.randrange(len(here) + 1)
    start = chance.randrange(len(there) + 1)
    return b"".join(here[:at] + there[start : start + chance.randint(1, 30)] + here[at:])


def _near_miss(data: bytes, chance: Random, known: dict[str, Key]) -> bytes:
    kind = chance.randrange(6)
    found = list((_HEADER if kind == 0 else _WORD if kind == 1 else _LINE).finditer(data))
    if not found:
        return data
    match = chance.choice(found)
    if kind < 2:
        return _put(data, match.span(1), _misspelt(match[1], chance))
    if kind == 2:
        return _put(data, match.span(1), _misspelt(match[1], chance))
    if kind == 3:
        return _put(data, match.span(1), chance.choice(list(known)).encode())
    key = known.get(match[1].decode())
    value = chance.choice(_values(key, chance)) if key is not None else chance.choice(WORDS)
    return _put(data, match.span(3), value)


def _put(data: bytes, span: tuple[int, int], new: bytes) -> bytes:
    return data[: span[0]] + new + data[span[1] :]


def _misspelt(word: bytes, chance: Random) -> bytes:
    at = chance.randrange(len(word))
    match chance.randrange(4):
        case 0:
            return word[:at] + word[at + 1 :]
        case 1:
            return word[:at] + word[at : at + 1] * 2 + word[at + 1 :]
        case 2:
            return word[:at] + bytes([chance.choice(b"abcdexyz-_. 0129")]) + word[at + 1 :]
        case _:
            return word[:at] + word[at + 1 : at + 2] + word[at : at + 1] + word[at + 2 :]


def _values(key: Key, chance: Random) -> list[bytes]:
    """Values that are nearly, or not at all, what a key takes."""
    found = [b"5", b'"5"', b"2.5", b"true", b'""', b"[]", b"{}", b'["trough.1"]', b"1979-05-27",
             b'{ trough = "rest", lock = "0-20" }', b"[[1, 2], {}]", b'"none"', b"-1"]  # fmt: skip
    for bound in (key.low, key.high):
        if bound is not None:
            found += [f"{bound + step:g}".encode() for step in (-1, 0, 1)]
    found += [f'"{choice}"'.encode() for choice in (*key.choices, *key.words)]
    found += [f'"{choice[:-1]}"'.encode() for choice in key.choices]
    if key.refers or key.shape in ("identifier", "spot", "list", "mapping"):
        found += [b'"trough"', b'"Trough"', b'"trough.9"', b'"x"', b'["x", "x"]', b'{ x = "y" }']
    return found


def _all_keys(rows: type[Any]) -> dict[str, Key]:
    found: dict[str, Key] = {}
    for name, key in keys_of(rows).items():
        found[name] = key
        if key.table is not None:
            found |= _all_keys(key.table)
    return found
