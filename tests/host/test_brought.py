"""What a plug-in brings besides machines: each kind of thing is at work in the commands."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from simrig.cli.main import main
from simrig.errors import PluginError
from simrig.host import index, making
from simrig.host.catalogue import Catalogue
from tests.host import plugin_site
from tests.host.plugin_site import ROOT

CODE = """from pathlib import Path
from simrig.diagnosis.bench_case import Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_state import needs_of
from simrig.faults.modes import FaultKind
from simrig.host import hookimpl
from simrig.training.question import Question
from simrig.vetting.rule import Found, Rule

@hookimpl
def simrig_profiles():
    return [Path(__file__).with_name("harbour-lights.toml")]

@hookimpl
def simrig_fault_kinds():
    return [
        FaultKind(
            id="reed-magnetised", title="reed magnetised", part="contact", effect="forces",
            odds=5e-3, why="it stays closed", repair="fit a new one",
        )
    ]

@hookimpl
def simrig_checks(profile):
    if profile.id != "harbour-lights":
        return []
    return [
        Check(
            id="compass-at-the-reed", title="Hold a compass to the reed", work="look",
            needs=needs_of("look"), minutes=1.0, results={"still": "it is still", "turns": "it turns"},
            caution="", ground=Ground.of(profile), judge=lambda case: frozenset(("still",)),
        )
    ]

def no_beacon(subject):
    if subject.profile.row("place", "beacon") is None:
        yield Found(path=(), message="no place is called beacon; add it")

@hookimpl
def simrig_rules():
    return [
        Rule(
            code="HL-01", name="no-beacon", level="warning", what="A beacon.", why="Ships.",
            example="none", mend="Add it.", limits="None.", look=no_beacon,
        )
    ]

class Clipboard:
    id = "harbour-clipboard"

    def reads(self, data, file):
        return data.startswith(b"HARBOUR")

    def read(self, data, file):
        return dict(line.split("=") for line in data.decode().splitlines()[1:])

@hookimpl
def simrig_readers():
    return [Clipboard()]

@hookimpl
def simrig_questions(profile):
    return [
        Question(
            id="why-a-reed", topic="reeds", level=2, form="choice",
            text="What works a reed?", choices=("a magnet", "light"),
            right=frozenset("a"), why="its blades pull together",
        )
    ]
"""


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str, str], None]:
    """Install a plug-in with the machine harbour-lights, and make it the only index there is."""

    def put(name: str, code: str) -> None:
        site = tmp_path / "site"
        plugin_site.alone(monkeypatch, site)
        plugin_site.put(site, name, code, "harbour-lights")
        monkeypatch.syspath_prepend(str(site))
        found = making.make([str(site), str(ROOT), *sys.path], seconds=20).found
        assert not found.problems, [str(one) for one in found.problems]
        monkeypatch.setattr(index, "current", lambda: found)

    return put


def _json(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    main([*words, "--json"])
    return json.loads(capsys.readouterr().out)


def test_each_thing_is_at_work(
    install: Callable[[str, str], None], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A kind of fault is injected and blamed, a check is in the catalogue, a rule finds and has its
    page, a reader takes its files, a question is asked."""
    install("brings-all", CODE)
    profile = Catalogue().load("harbour-lights")
    contact = next(one for one in profile.sensor if one.contact == "normally open" and one.spots)
    fault = f"reed-magnetised:{contact.id}"
    injected = _json(capsys, "expect", "harbour-lights", "--seats", "none", "--fault", fault)
    readings = {one["sensor"]: one["reading"] for one in injected["readings"]}
    assert readings[contact.id] == "closed"
    closed = ",".join(name for name, reading in readings.items() if reading == "closed")
    found = _json(
        capsys, "diagnose", "harbour-lights", "--seats", "none", "--closed", closed, "--faults", "1"
    )
    kinds = {one["kind"] for cause in found["explanations"] for one in cause["faults"]}
    assert "reed-magnetised" in kinds
    checks = {one["id"] for one in _json(capsys, "checks", "harbour-lights")["checks"]}
    assert "compass-at-the-reed" in checks
    findings = _json(capsys, "vet", "harbour-lights")["findings"]
    (mine,) = [one for one in findings if one["code"] == "HL-01"]
    assert mine["message"] == "no place is called beacon; add it"
    assert main(["vet", "--explain", "no-beacon"]) == 0
    assert "Ships." in capsys.readouterr().out
    sheet = tmp_path / "seen.clip"
    sheet.write_text(f"HARBOUR\n{contact.id}=closed\n")
    words = ("--seats", "none", "--sheet", str(sheet))
    compared = _json(capsys, "compare", "harbour-lights", *words)
    assert [one["sensor"] for one in compared["differences"]] == [contact.id]
    drilled = _json(capsys, "drill", "harbour-lights", "--topic", "reeds", "--seed", "1")
    (asked,) = drilled["questions"]
    assert asked == {
        "id": "reeds:harbour-lights:why-a-reed", "topic": "reeds", "level": 2,
        "text": "What works a reed?", "choices": ["a magnet", "light"],
        "answer": "a magnet", "right": ["a"], "why": "its blades pull together",
    }  # fmt: skip
    assert main(["drill", "--topic", "help"]) == 0
    assert "reeds            level 2" in capsys.readouterr().out


def test_a_wrong_word_from_a_reader_is_the_sheets_fault(
    install: Callable[[str, str], None], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """An unknown sensor or reading in a file that a plug-in reads is told as in any sheet: 2."""
    install("brings-words", CODE)
    sheet = tmp_path / "seen.clip"
    sheet.write_text("HARBOUR\ntrough-1=on\nhatch=closed\n")
    assert main(["compare", "harbour-lights", "--sheet", str(sheet)]) == 2
    told = capsys.readouterr().err
    assert "trough-1: " in told
    assert 'no sensor is called "hatch"' in told


BROKEN = {
    "rule": (
        CODE.replace('    if subject.profile.row("place", "beacon") is None:', "    if 1 / 0:"),
        ["vet", "harbour-lights"],
        "in its rule HL-01: ZeroDivisionError",
    ),
    "reader": (
        CODE.replace("return dict(line", "exit(4); return dict(line"),
        ["compare", "harbour-lights", "--sheet", "SHEET"],
        "in its reader harbour-clipboard: it ends the whole program",
    ),
    "reader that returns junk": (
        CODE.replace("return dict(line.split", "return list(line.split"),
        ["compare", "harbour-lights", "--sheet", "SHEET"],
        "in its reader harbour-clipboard: it returned no readings",
    ),
    "check": (
        CODE.replace('lambda case: frozenset(("still",))', "lambda case: 1 / 0"),
        ["diagnose", "harbour-lights", "--closed", "trough-1"],
        "in its check compass-at-the-reed: ZeroDivisionError",
    ),
}


@pytest.mark.parametrize("part", BROKEN)
def test_a_thing_that_fails_in_use_is_named(
    part: str,
    install: Callable[[str, str], None],
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    """What a plug-in brought and what fails when it is used ends the command with 3, and is named
    with distribution, version and stage."""
    code, words, told = BROKEN[part]
    assert code != CODE
    name = f"breaks-{part.replace(' ', '-')}"
    install(name, code)
    sheet = tmp_path / "seen.clip"
    sheet.write_text("HARBOUR\ntrough-1=closed\n")
    ended = main([str(sheet) if word == "SHEET" else word for word in words])
    found = capsys.readouterr().err
    assert ended == 3, found
    assert f"{name} 0.3: plug-in {name}, {told}" in found


def test_no_plugin_is_loaded_where_none_is_needed(
    install: Callable[[str, str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With plug-ins that bring machines alone, none is imported."""
    from simrig.host import manager

    install("brings-a-machine", plugin_site.BRINGS.format(machine="harbour-lights"))
    monkeypatch.delattr(manager, "Host")
    catalogue = Catalogue()
    assert catalogue.load("harbour-lights").brought == {}
    assert catalogue.brought("simrig_rules") == ()


@pytest.mark.parametrize(
    ("replaced", "by", "words"),
    [
        ('id="reed-magnetised"', 'id="wire-open"', '"wire-open" is built in'),
        ('code="HL-01", name="no-beacon"', 'code="FACT-01", name="no-beacon"', "is built in"),
        ("return [Clipboard()]", "return [Clipboard]", "wanted a reader"),
        ("return [\n        Question(", "return [dict(", "wanted a Question"),
        ('topic="reeds"', 'topic="hands-on"', "for something else; give the topic another name"),
        ('id="why-a-reed"', 'id="reeds:7"', "its id is 'reeds:7'; wanted small letters"),
        ('form="choice"', 'form="number"', "its choices are ('a magnet', 'light'); wanted"),
        ('frozenset("a")', 'frozenset("c")', "every choice is right, or one that is not there"),
        ('frozenset("a")', 'frozenset("A")', "'A' is no choice as answers are compared"),
        ('frozenset("a")', '"a"', "wanted a frozenset of texts"),
        ('text="What works a reed?"', 'text=" "', "its text is ' '; wanted words"),
        ("return [\n        Rule(", "return [str(\n        Rule(", "wanted a Rule"),
    ],
)
def test_wrong_things_are_refused_at_the_door(
    replaced: str, by: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A thing of the wrong kind, or with a name that is built in, keeps its plug-in out."""
    code = CODE.replace(replaced, by)
    if by.startswith("return [str("):
        code = code.replace(
            "look=no_beacon,\n        )\n    ]", "look=no_beacon,\n        ))\n    ]"
        )
    plugin_site.put(tmp_path, "brings-wrong", code, "harbour-lights")
    plugin_site.alone(monkeypatch, tmp_path)
    found = making.make([str(tmp_path), str(ROOT), *sys.path], seconds=20).found
    (problem,) = found.problems
    assert words in problem.message
    assert [entry.distribution for entry in found.refused] == ["brings-wrong"]


def test_two_plugins_with_one_name_for_a_thing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of two kinds of fault with one id the first is taken, and the other plug-in is told."""
    for name in ("one-reed", "two-reeds"):
        start = CODE.index("@hookimpl\ndef simrig_profiles")
        end = CODE.index("@hookimpl\ndef simrig_fault_kinds")
        plugin_site.put(tmp_path, name, CODE[:start] + CODE[end:])
    monkeypatch.syspath_prepend(str(tmp_path))
    plugin_site.alone(monkeypatch, tmp_path)
    found = making.make([str(tmp_path), str(ROOT), *sys.path], seconds=20).found
    told: list[Any] = []
    catalogue = Catalogue(known=found, tell=told.append)
    assert [kind.id for kind in catalogue.brought("simrig_fault_kinds")] == ["reed-magnetised"]
    (problem,) = told
    assert problem.file == "two-reeds 0.3"
    assert '"reed-magnetised" is there already' in problem.message
    with pytest.raises(PluginError):
        Catalogue(known=found, strict=True).brought("simrig_fault_kinds")


def test_the_door_for_plugins() -> None:
    """Every name of the door leads to what it says, and no other name does."""
    import simrig.host

    assert simrig.host.FaultKind.__name__ == "FaultKind"
    with pytest.raises(AttributeError, match="has no attribute 'FaultKinds'"):
        _ = simrig.host.FaultKinds
