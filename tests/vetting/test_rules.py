"""Every rule: a profile that breaks it, found once at its line, and a sound neighbour."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from simrig.profile.reader import read
from simrig.vetting.rule import LEVELS, Finding
from simrig.vetting.table import RULES, rule_named
from simrig.vetting.vet import vet

ROOT = Path(__file__).parents[2]
DATA = Path(__file__).parent / "data"
CASES = sorted(path.parent for path in DATA.glob("*/breaks.toml"))
MACHINES = sorted((ROOT / "plugins/simrig_machines").glob("*.toml"))

ASIDE = frozenset(("FACT-01", "PHASE-03", "TELL-03"))
"""Notes that sum a whole profile up; they are left aside where another rule is looked at."""


def _told(path: Path, rule: str) -> list[Finding]:
    found = vet(path.read_bytes(), str(path)).findings
    return [one for one in found if one.code not in ASIDE - {rule}]


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.name)
def test_a_breach_is_found_once_at_its_line(case: Path) -> None:
    """The breaking profile has one finding: this rule's, at its line, in its words."""
    expected = tomllib.loads((case / "expected.toml").read_text())
    (found,) = _told(case / "breaks.toml", case.name)
    assert expected.pop("says") in found.message
    assert {key: getattr(found, key) for key in expected} == expected
    assert found.code == case.name
    assert found.help == rule_named(case.name).mend


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.name)
def test_a_sound_neighbour_is_not_flagged(case: Path) -> None:
    """The neighbour that differs in little breaks no rule."""
    assert _told(case / "sound.toml", case.name) == []


def test_every_rule_has_its_data() -> None:
    """No rule is without a breaking profile, and no data is without a rule."""
    assert {case.name for case in CASES} == {rule.code for rule in RULES}
    assert len(RULES) >= 40


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_the_example_of_a_page_is_what_breaks_it(rule) -> None:
    """Each line of a page's example stands in the breaking profile."""
    text = (DATA / rule.code / "breaks.toml").read_text()
    for line in rule.example.splitlines():
        assert line.startswith("#") or line.rstrip(",") in text


def test_codes_and_names_are_unique_and_pages_complete() -> None:
    """No code or name is used twice; every part of every page says something."""
    assert len({rule.code for rule in RULES}) == len({rule.name for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert rule.level in LEVELS
        for part in (rule.what, rule.why, rule.mend, rule.limits):
            assert len(part) > 15
            assert part.endswith(".")


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_the_machines_vet_clean(path: Path) -> None:
    """The demo machines have no finding; what they silence has a reason."""
    found = vet(path.read_bytes(), str(path))
    assert found.findings == ()
    assert all(one.silenced for one in found.silenced)


def test_a_silence_about_one_id_leaves_the_others() -> None:
    """A silence with an id hides the finding about it and no other of the same rule."""
    data = (DATA / "POS-03/breaks.toml").read_bytes().replace(
        b'[[sensor]]\nid = "trough-3"', b'[[silence]]\nrule = "position-unwatched"\n'
        b'about = "launcher"\nreason = "it has none"\n\n[[sensor]]\nid = "trough-3"'
    ).replace(b'at = ["trough.3"]', b'at = ["trough.2", "trough.1"]')  # fmt: skip
    found = vet(data, "made")
    assert [one.about[0] for one in found.silenced] == ["launcher"]
    assert [one.silenced for one in found.silenced] == ["it has none"]
    assert ["trough" in one.about for one in found.findings if one.code == "POS-03"] == [True]


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_bugs_in_a_machine_are_caught(path: Path) -> None:
    """Two positions exchanged, one polarity lost, a ball too many: each is one finding."""
    text = path.read_text()
    swapped = text.replace('at = ["trough.1"]', "at = [#]", 1)
    swapped = swapped.replace('at = ["trough.2"]', 'at = ["trough.1"]', 1)
    swapped = swapped.replace("at = [#]", 'at = ["trough.2"]', 1)
    start = text.index("\n[[sensor]]")
    at = text.index("worked_reads = ", start)
    was = text[at:].splitlines()[0]
    other = was.replace("closed", "#").replace("open", "closed").replace("#", "open")
    polarity = text[:at] + other + text[at + len(was) :]
    rest = text.rindex("rest_reads = ", start, at)
    stated = text[rest:].splitlines()[0]
    opposite = stated.replace("closed", "#").replace("open", "closed").replace("#", "open")
    polarity = polarity[:rest] + opposite + polarity[rest + len(stated) :]
    (installed,) = [line for line in text.splitlines() if line.startswith("installed = ")]
    number = int(installed.split()[-1])
    counted = text.replace(installed, f"installed = {number + 1}")
    for made, code in ((swapped, "POS-07"), (polarity, "READ-01"), (counted, "PHASE-01")):
        told = [one.code for one in vet(made.encode(), str(path)).findings]
        assert code in told
        if code == "READ-01":
            assert told == ["READ-01"]


def test_a_board_the_wrong_way_round_is_told_at_the_board() -> None:
    """Where every sensor of a board says the other, the board is told, once."""
    path = next(path for path in MACHINES if path.stem == "basalt-freight")
    text = path.read_text()
    assert text.count('output_closes = "lit"') == 1
    found = vet(text.replace('output_closes = "lit"', 'output_closes = "dark"').encode(), "f")
    assert [(one.code, one.where) for one in found.findings] == [
        ("READ-01", "board magazine-board, output_closes")
    ]


def test_what_the_reader_refuses_cannot_be_silenced() -> None:
    """A silence of a reader's rule is an error at its line."""
    data = (DATA / "QUIET-01/breaks.toml").read_bytes().replace(b"POS-99", b"NAME-01")
    (found,) = [one for one in vet(data, "made").findings if one.code == "QUIET-01"]
    assert "cannot be silenced" in found.message


def test_what_the_reader_refuses_comes_alone() -> None:
    """With a contradiction in the file the other rules are not looked at."""
    data = (DATA / "POS-03/breaks.toml").read_bytes().replace(b"seats = 3", b'seats = "3"')
    found = vet(data, "made")
    assert found.unread
    assert [one.code for one in found.findings] == ["FORM-05"]


def test_rules_are_found_by_code_and_name() -> None:
    """Code or name, in any case; a near miss is offered what was probably meant."""
    assert rule_named("pos-03") is rule_named(" Position-Unwatched ")
    with pytest.raises(ValueError, match='did you mean "position-unwatched"'):
        rule_named("position-unwached")
    with pytest.raises(ValueError, match="--explain all"):
        rule_named("%%%")


def test_every_sound_neighbour_is_a_profile() -> None:
    """Sound neighbours can be read and used like any profile."""
    for case in CASES:
        assert read((case / "sound.toml").read_bytes(), "sound").id == "sample"
