"""A profile written as TOML, JSON and CSV, and read back."""

from __future__ import annotations

import csv
import io
import json
import tomllib
from pathlib import Path

import pytest

from simrig.errors import ProfileError
from simrig.interchange import profile_csv, profile_data, profile_json, toml_writer
from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.profile.reader import read

MACHINES = sorted((Path(__file__).parents[2] / "plugins/simrig_machines").glob("*.toml"))


def _profile(path: Path) -> Profile:
    return read(path.read_bytes(), str(path))


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_toml_and_json_read_back_as_the_same_profile(path: Path) -> None:
    """Written as TOML or JSON and read again, a profile says the same facts."""
    profile = _profile(path)
    text = toml_writer.written(profile)
    assert tomllib.loads(text) == tomllib.loads(path.read_text())
    assert read(text.encode(), "again") == profile
    assert profile_json.read(profile_json.write(profile).encode(), "again") == profile


BROKEN = {
    '{"format": 1,\n"id": }': ("broken:2", "not JSON"),
    "[1]": ("broken:", "no object"),
    '{"format": 1, "format": 1}': ("broken:", 'the key "format" is given twice'),
    '{"format": 1, "id": "a", "balls": {"installed": null}}': ("balls, installed", "found null"),
    '{"format": 1, "id": "\\ud800", "balls": {}}': ("id", "half of a sign"),
    '{"format": 1, "id": "a", "balls": {"installed": 3.0}}': ("balls, installed", "whole number"),
    '{"format": 1, "id": "a", "dated": "2025-02-30", "balls": {"installed": 1}}': (
        "dated",
        "wanted a date",
    ),
    '{"format": 2, "id": "a", "balls": {"installed": 1}}': ("format", "found 2"),
    '{"x": ' + "[" * 100000 + "]" * 100000 + "}": ("JSON", "too deep"),
    '{"x": ' + "1" * 5000 + "}": ("JSON", "too long"),
    '{"format": 1, "id": "a", "\\ud800": 1}': ("profile", "half of a sign"),
    '{"format": 1, "id": "a", "balls": {"\\udc00x": 1}}': ("balls", "half of a sign"),
    '{"format": 1, "id": "a", "balls": {"installed": 1}, "place": 5}': ("place", "wanted a list"),
    '{"x": NaN}': ("JSON", "found NaN"),
    '{"x": 1e999}': ("x", "too large"),
}


@pytest.mark.parametrize("text", BROKEN, ids=lambda text: text[:30])
def test_a_broken_document_is_refused_in_words(text: str) -> None:
    """What is not JSON, or no profile, is refused with where it is and what is wanted."""
    with pytest.raises(ProfileError) as refused:
        profile_json.read(text.encode(), "broken")
    assert all(words in str(refused.value) for words in BROKEN[text])


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_csv_tables_hold_every_fact(path: Path) -> None:
    """Each table has one line a row, every field reads back, and all facts are in one table."""
    profile = _profile(path)
    document = profile_data.stated(profile, defaults=True)
    tables = profile_csv.tables(profile)
    found = list(csv.DictReader(io.StringIO(tables["sensor"], newline=""), strict=True))
    assert len(found) == len(profile.sensor)
    for row, sensor in zip(found, document["sensor"], strict=True):
        assert {key: text for key, text in row.items() if text} == {
            key: profile_csv.cell(value) for key, value in sensor.items()
        }
    facts = list(csv.reader(io.StringIO(profile_csv.facts(profile), newline=""), strict=True))
    assert {len(row) for row in facts} == {7}
    cells = sum(
        bool(text)
        for table in tables.values()
        for row in csv.DictReader(io.StringIO(table, newline=""))
        for text in row.values()
    )
    assert len(facts) - 1 == cells


def test_csv_quotes_as_the_standard_says() -> None:
    """Commas, quotes and line ends within a field are quoted (RFC 4180, rules 6 and 7).

    Source: RFC 4180, section 2; the two examples from memory.
    """
    rows = [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"], ["aaa", 'b"bb', "ccc"]]
    text = profile_csv._text(rows[0], rows[1:])
    assert text == 'aaa,"b\r\nbb",ccc\r\nzzz,yyy,xxx\r\naaa,"b""bb",ccc\r\n'
    assert list(csv.reader(io.StringIO(text, newline=""), strict=True)) == rows
    quoted = '"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx\r\n"aaa","b""bb","ccc"\r\n'
    assert list(csv.reader(io.StringIO(quoted, newline=""), strict=True)) == rows


def test_values_that_a_cell_cannot_hold_as_text_are_json() -> None:
    """Lists and pairs are JSON text, truth is true or false, an unknown fact is empty."""
    assert profile_csv.cell(["a", "b"]) == '["a", "b"]'
    assert json.loads(profile_csv.cell({"a": "0-2"})) == {"a": "0-2"}
    assert (profile_csv.cell(True), profile_csv.cell(None)) == ("true", "")


def test_what_a_key_has_anyway_is_not_stated() -> None:
    """A value that a key has when it is left out is left out, unless it is asked for."""
    sensor = Sensor(id="one", counted=True)
    assert profile_data.stated(sensor) == {"id": "one"}
    assert profile_data.stated(sensor, defaults=True)["counted"] is True
    assert profile_data.stated(Sensor(id="one", counted=False))["counted"] is False


def test_pairs_of_a_machine_are_a_table() -> None:
    """How often faults happen here is written as a table of its own, and read again."""
    text = 'format = 1\nid = "small"\nballs = { installed = 1 }\npriors = { wire-open = 2.0 }\n'
    profile = read(text.encode(), "small.toml")
    again = toml_writer.written(profile)
    assert "[priors]\nwire-open = 2.0\n" in again
    assert read(again.encode(), "again") == profile
