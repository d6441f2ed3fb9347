"""Changing a profile file in place, so that everything else in it stays: comments, order, layout.

What is to be said arrives as a whole profile.  Only the keys and rows in which
it differs from what the file says are touched, and the result is read again
before it is handed out: it says exactly that profile, or nothing is changed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

import attrs

from simrig.errors import InputError, Problem, ProfileError
from simrig.interchange.toml_spans import Spans
from simrig.interchange.toml_writer import (
    in_order,
    mapping_text,
    pair,
    row_text,
    section_heading,
    value_text,
)
from simrig.profile.keys import attribute_of, keys_of
from simrig.profile.machine import Profile
from simrig.profile.positions import Array, Path, Table
from simrig.profile.reader import read


@attrs.frozen(kw_only=True)
class _Edit:
    start: int
    end: int
    text: str


@attrs.frozen(kw_only=True)
class _Key:
    """A key of the table at ``path`` that gets another value; None takes it away.

    ``order`` are the keys beside which it may stand: none that is taken away too.
    """

    path: Path
    name: str
    value: Any
    order: tuple[str, ...]


@attrs.frozen(kw_only=True)
class _Row:
    """A table that is not there yet; ``several`` for one more row of those at ``path``.

    It stands before the row with the number ``before``, or last.
    """

    path: Path
    row: Any
    several: bool
    before: int | None = None

    @property
    def name(self) -> str:
        """How a header names it."""
        return ".".join(step for step in self.path if isinstance(step, str))


def edited(text: str, before: Profile, after: Profile) -> str:
    """Return the text of a file that says ``before``, changed so that it says ``after``.

    Rows may be added, and keys added, changed or taken away; a row that is gone
    raises ValueError.  Raises InputError where the layout of the file does not
    let a change in.
    """
    file = before.origin.file
    windows = "\r\n" in text
    spans = Spans(text.replace("\r\n", "\n"))
    edits = [edit for change in _changes(before, after) for edit in _edits(spans, change, file)]
    lines = _applied(spans.text, edits)
    try:
        said = read(lines.encode(), file, kinds=before.kinds)
    except ProfileError as error:
        raise _cannot(file, None, str(error.problems[0].message)) from error
    if said != after:
        raise _cannot(file, None, "the file is laid out in a way that hides it")
    return lines.replace("\n", "\r\n") if windows else lines


@attrs.frozen(kw_only=True)
class _Pairs:
    """A mapping at ``path`` whose pairs change."""

    path: Path
    old: Mapping[str, Any]
    new: Mapping[str, Any]


_Change = _Key | _Row | _Pairs


def _changes(before: Profile, after: Profile) -> Iterator[_Change]:
    for name, key in in_order(Profile):
        old = getattr(before, attribute_of(name))
        new = getattr(after, attribute_of(name))
        if old == new:
            continue
        if key.shape == "tables" and key.table is not None:
            yield from _table_changes((name,), old, new)
        elif key.shape == "table" and old is not None and new is not None:
            yield from _row_changes(old, new, (name,))
        elif isinstance(old, Mapping) and isinstance(new, Mapping):
            yield _Pairs(path=(name,), old=old, new=new)
        elif key.shape in ("table", "mapping") and old is None:
            yield _Row(path=(name,), row=new, several=False)
        else:
            yield _Key(path=(), name=name, value=new, order=_staying(after))


def _table_changes(path: Path, old: tuple[Any, ...], new: tuple[Any, ...]) -> Iterator[_Change]:
    """Rows stay in their order; new ones may stand between them."""
    place = 0
    for row in new:
        if place < len(old) and _is_same(old[place], row):
            yield from _row_changes(old[place], row, (*path, place))
            place += 1
        else:
            before = place if place < len(old) else None
            yield _Row(path=path, row=row, several=True, before=before)
    if place < len(old):
        gone = _name(old[place]) or place + 1
        raise ValueError(f"the row {gone} is gone; rows are only added")


def _is_same(one: Any, other: Any) -> bool:
    return bool(_name(one) == _name(other) if _name(one) is not None else one == other)


def _name(row: Any) -> Any:
    """What tells a row from the others: its id, or its number where it has none."""
    return getattr(row, "id", None) or getattr(row, "number", None)


def _row_changes(old: Any, new: Any, path: Path) -> Iterator[_Change]:
    rows = type(new)
    for name, key in in_order(rows):
        was, now = getattr(old, attribute_of(name)), getattr(new, attribute_of(name))
        if was == now:
            continue
        if key.shape == "tables":
            yield from _table_changes((*path, name), was, now)
        elif isinstance(was, Mapping) and isinstance(now, Mapping):
            yield _Pairs(path=(*path, name), old=was, new=now)
        else:
            yield _Key(path=path, name=name, value=now, order=_staying(new))


def _staying(row: Any) -> tuple[str, ...]:
    """The keys that a table states when it is changed, in order."""
    return tuple(n for n, _ in in_order(type(row)) if getattr(row, attribute_of(n)) is not None)


def _edits(spans: Spans, change: _Change, file: str) -> Iterator[_Edit]:
    if isinstance(change, _Row):
        yield _new_row(spans, change, file)
        return
    if isinstance(change, _Pairs):
        yield from _pair_edits(spans, change, file)
        return
    table = spans.table(change.path)
    span = spans.pair(table, change.name)
    if span is None and change.name in table.items:
        line = spans.line_at(spans.reach((*change.path, change.name))[1])
        raise _cannot(file, line, f"{change.name} has a header of its own; write it on one line")
    if span is None:
        yield _new_key(spans, table, change, file)
    elif change.value is None:
        yield _removal(spans, table, change.name)
    else:
        value = pair("x", change.value).partition(" = ")[2]
        yield _Edit(start=span.value, end=span.end, text=value)


def _pair_edits(spans: Spans, change: _Pairs, file: str) -> Iterator[_Edit]:
    braces = spans.braces(spans.table(change.path))
    if braces is not None:
        # All on one line, where no remark can stand: it is written anew.
        yield _Edit(start=braces[0], end=braces[1], text=value_text(change.new))
        return
    order = (*(name for name in change.old if name in change.new), *change.new)
    for name in dict.fromkeys((*change.old, *change.new)):
        if change.old.get(name) != (value := change.new.get(name)):
            key = _Key(path=change.path, name=name, value=value, order=order)
            yield from _edits(spans, key, file)


def _new_key(spans: Spans, table: Table, change: _Key, file: str) -> _Edit:
    text = pair(change.name, change.value)
    braces, header = spans.braces(table), spans.header(table)
    place = change.order.index(change.name)
    # Where no header leads the table, a later sister is better than none.
    sisters = change.order[:place][::-1] + (change.order[place:] if header is None else ())
    near = next((span for name in sisters if (span := spans.pair(table, name))), None)
    if braces is not None:
        if near is not None:
            return _Edit(start=near.end, end=near.end, text=f", {text}")
        return _Edit(start=braces[0], end=braces[1], text=f"{{ {text} }}")
    if header is None and near is not None and near.start != near.key:
        # A dotted key: its sister takes the same way.
        text = spans.text[near.start : near.key] + text
    if near is None and header is None:
        why = f"{change.path[-1]} has no header of its own; write one above its tables"
        raise _cannot(file, spans.line_at(table.start), why)
    at = spans.line_end(near.end if near is not None else header[1] if header else 0)
    return _Edit(start=at, end=at, text=f"\n{text}")


def _removal(spans: Spans, table: Table, name: str) -> _Edit:
    span = spans.pair(table, name)
    assert span is not None
    if (braces := spans.braces(table)) is not None:
        # A row on one line: a comma goes with the pair, of the last one that before it.
        if rest := re.compile(r"[ \t]*,[ \t]*").match(spans.text, span.end):
            return _Edit(start=span.start, end=rest.end(), text="")
        comma = spans.text.rfind(",", braces[0], span.start)
        return _Edit(start=span.start if comma < 0 else comma, end=span.end, text="")
    end = min(spans.line_end(span.end) + 1, len(spans.text))
    return _Edit(start=spans.line_start(span.start), end=end, text="")


def _new_row(spans: Spans, change: _Row, file: str) -> _Edit:
    if isinstance(change.row, Mapping):
        text = mapping_text(change.name, change.row)
    else:
        header = f"[[{change.name}]]" if change.several else f"[{change.name}]"
        text = row_text(header, change.row)
    if change.before is not None:
        return _row_between(spans, change.path, change.before, text, file)
    section = str(change.path[0])
    first = section not in spans.root.items
    order = [name for name, _ in in_order(Profile)]
    ends = [_end_of(spans, name) for name in order[: order.index(section) + 1]]
    near = next(filter(None, reversed(ends)), 0)
    at = _past_comments(spans, max(near, spans.line_end(_root_end(spans))))
    words = section_heading(section) if first and section == change.name else ""
    return _Edit(start=at, end=at, text="".join(f"\n\n{one}" for one in (words, text) if one))


def _row_between(spans: Spans, path: Path, before: int, text: str, file: str) -> _Edit:
    table = spans.table((*path, before))
    header = spans.header(table)
    if header is None:
        why = f"the rows of {path[-1]} stand in brackets; write each under a header of its own"
        raise _cannot(file, spans.line_at(table.start), why)
    at = spans.line_start(header[0])
    while at and spans.text.startswith("#", above := spans.line_start(at - 1)):
        at = above  # remarks right above a row belong to it
    return _Edit(start=at, end=at, text=f"{text}\n\n")


def _end_of(spans: Spans, section: str) -> int:
    """The end of the last line of a section; 0 where there is none."""
    place = spans.root.items.get(section)
    rows = place.items if isinstance(place, Array) else [place]
    ends = [spans.end(row) for row in rows if isinstance(row, Table)]
    return spans.line_end(max(ends)) if ends else 0


def _root_end(spans: Spans) -> int:
    keys = keys_of(Profile)
    pairs = [span.end for name in keys if (span := spans.pair(spans.root, name))]
    return max(pairs, default=0)


def _past_comments(spans: Spans, at: int) -> int:
    """Comments right below a table, with nothing between, belong to it."""
    while spans.text[at : at + 2] == "\n#":
        at = spans.line_end(at + 1)
    return at


def _applied(text: str, edits: list[_Edit]) -> str:
    # A first row of a section brings its heading; the rows after it must not bring it again.
    pieces, at = [], 0
    headings: set[str] = set()
    for edit in sorted(edits, key=lambda one: one.start):
        words = edit.text
        heading = words.partition("\n\n[")[0] if words.startswith("\n\n# -") else ""
        if heading in headings:
            words = words[len(heading) :]
        elif heading:
            headings.add(heading)
        pieces += [text[at : edit.start], words]
        at = max(at, edit.end)
    pieces.append(text[at:])
    result = "".join(pieces)
    return result if result.endswith("\n") else result + "\n"


def _cannot(file: str, line: int | None, why: str) -> InputError:
    message = f"cannot be changed here: {why}; mend the file by hand, then go on"
    return InputError([Problem(file=file, line=line, where="profile", message=message)])
