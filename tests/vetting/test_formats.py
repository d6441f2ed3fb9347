"""Findings as table, JSON and SARIF, through the command; the pages of rules."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import Phase, given, settings

from simrig.cli.main import main
from simrig.interchange.findings import sarif
from simrig.vetting.rule import Finding
from simrig.vetting.table import RULES
from simrig.vetting.vet import Vetted, vet
from tests.generated_profiles import profiles
from tests.profile_text import document, written
from tests.published import published

DATA = Path(__file__).parent / "data"
Capture = pytest.CaptureFixture[str]


def _minimal() -> dict[str, Any]:
    """The smallest log that FMT-10 states."""
    return {
        "version": "2.1.0",
        "runs": [{"tool": {"driver": {"name": "simrig"}}, "results": [{"message": {"text": "x"}}]}],
    }


@pytest.fixture(scope="module")
def schema() -> Any:
    """The validator that the published SARIF schema names."""
    stated = json.loads(published("sarif-schema-2.1.0.json").read_text())
    return jsonschema.validators.validator_for(stated)(stated)


def _without() -> Iterator[tuple[str, dict[str, Any]]]:
    for name in ("version", "runs"):
        log = _minimal()
        del log[name]
        yield name, log
    log = _minimal()
    del log["runs"][0]["tool"]
    yield "tool", log
    log = _minimal()
    del log["runs"][0]["tool"]["driver"]
    yield "driver", log
    log = _minimal()
    del log["runs"][0]["tool"]["driver"]["name"]
    yield "name", log
    log = _minimal()
    del log["runs"][0]["results"][0]["message"]
    yield "message", log
    log = _minimal()
    log["runs"][0]["results"][0]["message"] = {}
    yield "empty message", log


def test_the_schema_says_what_it_is_known_to_say(schema: Any) -> None:
    """The minimal log is valid, and no longer without any required property (FMT-10, SAR)."""
    assert schema.is_valid(_minimal())
    for name, log in _without():
        assert not schema.is_valid(log), name


def test_levels_and_kinds_of_the_schema(schema: Any) -> None:
    """Level and kind of a result are the schema's own words (FMT-11, SAR)."""
    result = schema.schema["definitions"]["result"]["properties"]
    assert set(result["level"]["enum"]) == {"none", "note", "warning", "error"}
    assert result["level"]["default"] == "warning"
    assert set(result["kind"]["enum"]) == {
        "notApplicable", "pass", "fail", "review", "open", "informational",
    }  # fmt: skip
    assert result["kind"]["default"] == "fail"
    assert {rule.level for rule in RULES} <= set(result["level"]["enum"])


def test_every_finding_validates(schema: Any) -> None:
    """All breaking profiles, silenced findings and a clean file in one valid log."""
    files = [*sorted(DATA.glob("*/breaks.toml")), *sorted(DATA.glob("QUIET-02/sound.toml"))]
    log = sarif([vet(path.read_bytes(), str(path)) for path in files], RULES, "0")
    errors = [error.message for error in schema.iter_errors(log)]
    assert errors == []
    run = log["runs"][0]
    rules = run["tool"]["driver"]["rules"]
    assert len(run["results"]) > len(RULES)
    for result in run["results"]:
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"]
    reasons = [
        one["justification"] for res in run["results"] for one in res.get("suppressions", ())
    ]
    assert reasons == ["it has none"]


def test_what_sarif_requires_without_the_schema() -> None:
    """A log has version, runs, tool, driver, name, and a text for every result (FMT-10)."""
    finding = Finding(
        code="POS-03", name="position-unwatched", level="warning", file="a b/ö#1.toml", line=None,
        where="place x", message="m", help="h", silenced="why",
    )  # fmt: skip
    log = sarif([Vetted(file="f", findings=(), silenced=(finding,))], RULES, "1.2")
    run = log["runs"][0]
    assert (log["version"], run["tool"]["driver"]["name"]) == ("2.1.0", "simrig")
    (result,) = run["results"]
    assert result["message"]["text"] == "place x: m"
    place = result["locations"][0]["physicalLocation"]
    assert place == {"artifactLocation": {"uri": "a%20b/%C3%B6%231.toml"}}
    assert result["suppressions"] == [{"kind": "inSource", "justification": "why"}]


def _run(capsys: Capture, *words: str) -> tuple[int, str]:
    code = main([*words])
    return code, capsys.readouterr().out


@pytest.mark.parametrize(
    ("case", "words", "code"),
    [
        ("POS-03/breaks.toml", [], 1),
        ("POS-03/breaks.toml", ["--fail-on", "error"], 0),
        ("PHASE-03/breaks.toml", [], 1),
        ("PHASE-03/breaks.toml", ["--fail-on", "warning"], 0),
        ("READ-01/breaks.toml", ["--fail-on", "error"], 1),
        ("FORM-01/breaks.toml", ["--fail-on", "error"], 1),
        ("QUIET-02/sound.toml", ["--fail-on", "warning"], 0),
    ],
)
def test_how_it_ends(capsys: Capture, case: str, words: list[str], code: int) -> None:
    """1 for a finding of the level asked for or worse, as a table, as JSON and as SARIF."""
    for form in ("table", "json", "sarif"):
        assert _run(capsys, "vet", str(DATA / case), "--format", form, *words)[0] == code


def test_json_has_the_keys_of_the_contract(capsys: Capture) -> None:
    """Each finding has code, level, file, line, where, message and help; silenced ones stand apart."""
    path = str(DATA / "QUIET-02/sound.toml")
    code, out = _run(capsys, "vet", path, str(DATA / "FORM-05/breaks.toml"), "--json")
    found = json.loads(out)
    assert (code, found["format"]) == (1, 1)
    one = next(one for one in found["findings"] if one["code"] == "FORM-05")
    assert {"code", "level", "file", "line", "where", "message", "help"} <= one.keys()
    assert [(one["code"], one["reason"]) for one in found["silenced"]] == [
        ("POS-03", "it has none")
    ]
    assert json.loads(_run(capsys, "vet", path, "--format", "json")[1])["format"] == 1


def test_the_table_fits_the_screen_and_counts(capsys: Capture) -> None:
    """At most 80 columns; the last lines say how many of which level, and what to ask next."""
    _, out = _run(
        capsys, "vet", str(DATA / "GRID-02/breaks.toml"), str(DATA / "FORM-05/breaks.toml")
    )
    long = [line for line in out.splitlines() if len(line) > 80 and not line.startswith("/")]
    assert long == []
    assert "looked at once these are mended" in out
    assert "1 error, 1 warning, 1 note." in out
    assert "simrig vet --explain" in out


def test_very_many_findings_are_cut(capsys: Capture, tmp_path: Path) -> None:
    """Sixty are shown and the rest is counted; the reader stops at five hundred and says so."""
    path = tmp_path / "many.toml"
    path.write_text('format = 1\nid = "x"\n[balls]\ninstalled = 1\n' + "\n".join(
        f"key-{n} = 1" for n in range(2000)))  # fmt: skip
    code, out = _run(capsys, "vet", str(path))
    assert code == 1
    assert "and 441 more; --json tells all" in out
    assert len(out.splitlines()) < 260
    found = json.loads(_run(capsys, "vet", str(path), "--json")[1])["findings"]
    assert len(found) == 501
    assert any("more than 500 faults" in one["message"] for one in found)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_every_page_can_be_read(capsys: Capture, rule: Any) -> None:
    """By code and by name, 80 columns, with every heading and the example."""
    for name in (rule.code, rule.name):
        code, out = _run(capsys, "vet", "--explain", name)
        assert code == 0
        assert rule.example.splitlines()[0] in out
        for heading in ("What:", "Why:", "Mend:", "Limits:"):
            assert heading in out
        assert max(map(len, out.splitlines())) <= 80


def test_all_pages_in_a_list(capsys: Capture) -> None:
    """--explain all lists every rule; as JSON, every page."""
    _, out = _run(capsys, "vet", "--explain", "all")
    assert all(rule.code in out for rule in RULES)
    assert max(map(len, out.splitlines())) <= 80
    found = json.loads(_run(capsys, "vet", "--explain", "all", "--json")[1])
    assert [one["code"] for one in found["rules"]] == [rule.code for rule in RULES]


def test_wrong_words_are_told(capsys: Capture) -> None:
    """An unknown rule, and no profile at all, end with 2 and say what is wanted."""
    assert main(["vet", "--explain", "pos-99"]) == 2
    assert "there is no rule" in capsys.readouterr().err
    assert main(["vet"]) == 2
    assert "no profile is named" in capsys.readouterr().err


@given(text=profiles(unknown=True).map(lambda profile: written(document(profile))[0]))
@settings(max_examples=40, phases=(Phase.generate,))
def test_any_profile_can_be_vetted(text: str) -> None:
    """No profile, however little is known of it, makes a rule fail; each finding has a line."""
    found = vet(text.encode(), "made")
    assert not found.unread
    assert all(one.line and one.message and one.where for one in found.findings)
