"""The JSON Schemas, held against the meta-schema and against the reader, both ways."""

from __future__ import annotations

import contextlib
import copy
import datetime
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, validators

from simrig.errors import ProfileError
from simrig.interchange import profile_data, profile_json, scenarios, sheets
from simrig.interchange.schema import DIALECT, schema
from simrig.profile.keys import Key, keys_of
from simrig.profile.machine import Profile
from simrig.profile.reader import examine, read
from simrig.profile.tables import faults_of
from simrig.strategies import profiles

ROOT = Path(__file__).parents[2]
COMMITTED = ROOT / "simrig/interchange/profile.schema.json"
MACHINES = sorted((ROOT / "plugins/simrig_machines").glob("*.toml"))
SCHEMA = schema(Profile, "simrig profile, format 1")


def _pattern(validator: Any, wanted: str, found: Any, _: Any) -> Iterator[Exception]:
    # ECMA-262, the dialect of JSON Schema, lets $ match at the very end only.
    if isinstance(found, str) and not re.search(re.sub(r"\$\Z", r"\\Z", wanted), found):
        yield jsonschema.ValidationError(f"{found!r} does not match {wanted!r}")


Strict = validators.extend(Draft202012Validator, {"pattern": _pattern})
VALIDATOR = Strict(SCHEMA, format_checker=Draft202012Validator.FORMAT_CHECKER)


@pytest.mark.parametrize("rows", [Profile, scenarios.Scenario, sheets.SheetFile])
def test_the_schemas_are_schemas(rows: type[Any]) -> None:
    """Each satisfies the meta-schema that it names.

    Source: JSON Schema 2020-12, the meta-schema that jsonschema ships.
    """
    made = schema(rows, "a format")
    assert made["$schema"] == DIALECT == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(made)


def test_the_committed_copy_is_current() -> None:
    """The copy that editors fetch is the schema that the key tables give today."""
    assert json.loads(COMMITTED.read_text()) == SCHEMA, "write simrig schema into the copy anew"


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_the_demo_machines_satisfy_it(path: Path) -> None:
    """Each demo machine's document is valid."""
    VALIDATOR.validate(profile_json.document(read(path.read_bytes(), str(path))))


@pytest.mark.parametrize("path", sorted((ROOT / "scenarios").rglob("*.scenario.toml")), ids=str)
def test_the_scenarios_satisfy_theirs(path: Path) -> None:
    """Each scenario of the project is valid, and one with a wrong key is not."""
    made = schema(scenarios.Scenario, "scenario")
    found = profile_data.stated(scenarios.read(path.read_bytes(), str(path)))
    validator = Draft202012Validator(made)
    validator.validate(json.loads(json.dumps(found)))
    assert not validator.is_valid({**found, "titel": "x"})


@given(profiles(unknown=True))
@settings(max_examples=30)
def test_whatever_the_reader_accepts_satisfies_the_schema(profile: Profile) -> None:
    """The document of any profile that can be made is valid."""
    VALIDATOR.validate(profile_json.document(profile))


_JUNK = (
    None, True, 0, 1, -1, 21, 3.5, 1e16, "", " ", "none", "any", "rest", "0-2", "2-0", "0-21",
     "Trough", "a_b", "trough.1", "trough.0", "trough.1000", "a" * 65, "x\n", "exit end", "gravity",
     "2025-02-28", "2025-2-28", [], {}, ["a"], [1], {"a": 1}, {"a": "b"}, ["a"] * 9, ["a"] * 700,
     [{}], [{"trough": "rest"}], [{"trough": 21}], {"id": "reason"}, {"title": ""}, {"colour": "x"},
)  # fmt: skip
JUNK = st.sampled_from(_JUNK)


def _short(value: Any) -> Any:
    """The first rows of each table: rows that refer to others matter to neither side here."""
    if isinstance(value, dict):
        return {name: _short(member) for name, member in value.items()}
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [_short(row) for row in value[:2]]
    return value


BASES = [_short(profile_json.document(read(path.read_bytes(), str(path)))) for path in MACHINES]


def _places(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    members = value.items() if isinstance(value, dict) else enumerate(value)
    for step, member in members:
        yield (*path, step)
        if isinstance(member, dict | list):
            yield from _places(member, (*path, step))


PLACES = [list(_places(base)) for base in BASES]
_TABLE_RULES = {"unknown-key", "wrong-value", "missing-key", "too-many"}


def _what_the_schema_leaves_out(message: str) -> bool:
    return "it is called assumed, but the table does not state it" in message


@st.composite
def _changed(draw: st.DrawFn) -> dict[str, Any]:
    number = draw(st.integers(0, len(BASES) - 1))
    document = copy.deepcopy(BASES[number])
    *path, last = PLACES[number][draw(st.integers(0, len(PLACES[number]) - 1))]
    around: Any = document
    for step in path:
        around = around[step]
    action = draw(st.sampled_from(("junk", "take out", "add")))
    if action == "take out":
        del around[last]
    elif action == "add" and isinstance(around, dict):
        around[draw(st.sampled_from(("colour", "source", "number", "name", "id")))] = draw(JUNK)
    else:
        around[last] = draw(JUNK)
    return document


def _tables(rows: type[Any], found: dict[type[Any], None]) -> dict[type[Any], None]:
    found[rows] = None
    for key in keys_of(rows).values():
        if key.table is not None and key.table not in found:
            _tables(key.table, found)
    return found


VALUES = [value for value in _JUNK if value is not None]
VALUES += [{"a": "b", "c": "d"}, [["a"]], {"a": ["b"]}, {"a": "up"}, {"assumed": "x"}]
VALUES += [[{"number": 1}] * 601, {str(number): "x" for number in range(601)}]


def _as_read(key: Key, value: Any) -> Any:
    if key.shape == "date" and isinstance(value, str):
        with contextlib.suppress(ValueError):
            return datetime.date.fromisoformat(value)
    return value


@pytest.mark.parametrize("rows", _tables(Profile, {}), ids=lambda rows: rows.__name__)
def test_every_key_takes_the_same_values(rows: type[Any]) -> None:
    """Key by key, each of many awkward values is valid exactly where the reader takes it."""
    checker = Draft202012Validator.FORMAT_CHECKER
    validator = Strict(schema(rows, "a table"), format_checker=checker)
    for name, key in keys_of(rows).items():
        for value in VALUES:
            valid = not any(
                (error.path and error.path[0] == name) or error.validator == "additionalProperties"
                for error in validator.iter_errors({name: value})
            )
            faults = [
                message
                for path, message, _ in faults_of({name: _as_read(key, value)}, rows)[0]
                if path[:1] == (name,) and not _what_the_schema_leaves_out(message)
            ]
            assert valid == (not faults), (name, value, faults)


@given(_changed())
@settings(max_examples=100)
def test_schema_and_reader_refuse_the_same(document: dict[str, Any]) -> None:
    """A document with one place changed is valid exactly where the reader finds no fault in its
    tables, but for what the module says that a schema cannot say."""
    valid = VALIDATOR.is_valid(document)
    try:
        profile_json.read(json.dumps(document).encode(), "changed")
        problems = []
    except ProfileError as error:
        problems = [
            one
            for one in error.problems
            if (one.rule in _TABLE_RULES or not one.rule)
            and not _what_the_schema_leaves_out(one.message)
        ]
    assert valid == (not problems), [str(one) for one in problems]


def test_what_the_schema_cannot_say() -> None:
    """The rules that the module names as out of reach are out of reach, and the reader has them."""
    base = {"format": 1, "id": "made", "balls": {"installed": 3}}
    for change, rule in (
        ({"balls": {"installed": 3, "store": "trough"}}, "unknown-reference"),
        ({"assumed": {"title": "guessed"}}, "missing-key"),
        ({"balls": {"installed": 3.0}}, "wrong-value"),
    ):
        assert VALIDATOR.is_valid({**base, **change})
        with pytest.raises(ProfileError) as refused:
            profile_json.read(json.dumps({**base, **change}).encode(), "changed")
        assert [one.rule for one in refused.value.problems] == [rule]
    day = {**base, "dated": "2025-02-30"}
    assert Draft202012Validator(SCHEMA).is_valid(day)
    assert examine(b'format = 1\nid = "made"\n[balls]\ninstalled = 3\n', "made")[1] == ()
