"""The commands for other tools: export and schema."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from simrig.cli.main import main
from simrig.host.catalogue import Catalogue
from simrig.interchange import profile_json


def _out(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    assert main(list(words)) == code
    return capsys.readouterr().out


def test_show_json_is_the_export(capsys: pytest.CaptureFixture[str]) -> None:
    """The document of show equals that of export, byte for byte, and says its version first."""
    exported = _out(capsys, "export", "orchard-signal", "--format", "json")
    assert _out(capsys, "show", "orchard-signal", "--json") == exported
    assert next(iter(json.loads(exported).items())) == ("format", 1)


def test_an_exported_profile_is_a_machine(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A JSON or TOML export answers as the profile it came from."""
    expected = _out(capsys, "expect", "orchard-signal", "--json")
    for kind in ("json", "toml"):
        path = str(tmp_path / f"machine.{kind}")
        assert _out(capsys, "export", "orchard-signal", "--format", kind, "-o", path) == ""
        assert _out(capsys, "expect", path, "--json") == expected


def test_csv_lines_end_as_the_standard_says(tmp_path: Path) -> None:
    """Through a pipe every line of CSV ends in CR LF, and each has the same number of fields.

    Source: RFC 4180, section 2, rules 1 and 4.
    """
    ended = subprocess.run(
        [sys.executable, "-m", "simrig", "export", "basalt-freight", "--format", "csv"],
        capture_output=True, check=True, env=os.environ,
    )  # fmt: skip
    text = ended.stdout.decode()
    assert text.endswith("\r\n")
    assert text.count("\n") == text.count("\r\n")
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert len({len(row) for row in rows}) == 1
    assert rows[0][:4] == ["table", "row", "key", "value"]


def test_csv_tables_go_into_a_folder(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """With -o each table is a file; --table prints one of them."""
    folder = tmp_path / "tables"
    _out(capsys, "export", "tidal-clockwork", "--format", "csv", "-o", str(folder))
    sensors = (folder / "sensor.csv").read_bytes().decode()
    assert _out(capsys, "export", "tidal-clockwork", "--format", "csv", "--table", "sensor") in (
        sensors,
        sensors.replace("\r\n", "\n"),
    )
    ids = [row["id"] for row in csv.DictReader(io.StringIO(sensors, newline=""))]
    assert ids == [sensor.id for sensor in Catalogue().load("tidal-clockwork").sensor]
    assert {"place.csv", "matrix.column.csv", "machine.csv"} <= set(os.listdir(folder))


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--format", "csv", "--table", "sensors"], 'found "sensors"; wanted one of machine'),
        (["--table", "sensor"], "it goes with --format csv"),
        (["--format", "yaml"], "invalid choice"),
        (["-o", "/nowhere/at/all.json"], "it cannot be written"),
        (["--format", "csv", "-o", "/dev/null/tables"], "it cannot be written"),
    ],
)
def test_wrong_options_are_told(
    words: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wrong table, format or place to write ends with 2 and one line."""
    assert main(["export", "tidal-clockwork", *words]) == 2
    told = capsys.readouterr().err
    assert message in told
    assert len(told.splitlines()) == 1


def test_a_broken_json_profile_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A profile in JSON that is wrong ends with 2 and says where, as one in TOML does."""
    document = profile_json.document(Catalogue().load("orchard-signal"))
    document["place"][0]["kind"] = "through"
    path = tmp_path / "wrong.json"
    path.write_text(json.dumps(document))
    assert main(["expect", str(path)]) == 2
    assert 'did you mean "trough"?' in capsys.readouterr().err


@pytest.mark.parametrize("of", ["profile", "scenario", "sheets"])
def test_schema_prints_a_schema(of: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each format has a schema, printed as JSON, that allows no unknown key."""
    found = json.loads(_out(capsys, "schema", of))
    assert found["title"] == f"simrig {of}, format 1"
    assert found["additionalProperties"] is False


def test_the_plain_schema_is_the_committed_one(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a word, the schema of profiles is printed, as it lies in the repository."""
    kept = Path(profile_json.__file__).with_name("profile.schema.json").read_text()
    assert _out(capsys, "schema") == kept


def test_diff_ends_with_one_where_something_changed(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The same profile twice is 0; another revision is 1, with its facts and readings as JSON."""
    assert "say the same" in _out(capsys, "diff", "orchard-signal", "orchard-signal")
    text = _out(capsys, "export", "orchard-signal", "--format", "toml")
    path = tmp_path / "after.toml"
    path.write_text(text.replace('position_1 = "exit end"', 'position_1 = "far end"', 1))
    found = json.loads(_out(capsys, "diff", "orchard-signal", str(path), "--json", code=1))
    assert (found["format"], found["same"]) == (1, False)
    (change,) = found["changes"]
    assert (change["key"], change["before"], change["after"]) == (
        "position_1",
        "exit end",
        "far end",
    )
    assert set(found["readings"][0]) == {"phase", "balls", "sensor", "before", "after"}


def test_diff_of_a_missing_file_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """A profile that is not there ends with 2, not with 1."""
    assert main(["diff", "orchard-signal", "/nowhere.toml"]) == 2
    assert "it cannot be read" in capsys.readouterr().err
