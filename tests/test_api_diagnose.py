"""``simrig.diagnose`` from Python: the same meanings as the command."""

from __future__ import annotations

import pytest

import simrig
from tests.diagnosis.small_machine import machine

MACHINE = machine()


def test_one_sheet() -> None:
    """The sensors that read closed, or the reading of each, with the conditions beside them."""
    found = simrig.diagnose(MACHINE, ["t2"], balls=0)
    same = simrig.diagnose(
        MACHINE, {"t1": "open", "t2": "closed", "t3": "open", "launcher-ball": "open"}, balls=0
    )
    assert not found.as_assumed
    assert [one.members for one in found.explanations] == [one.members for one in same.explanations]
    first = found.explanations[0]
    assert first.placements == ({},)
    assert first.folded.count == first.folded_count


def test_as_assumed() -> None:
    """All balls home: nothing is wrong, and one text of names is taken as a list of them."""
    assert simrig.diagnose(MACHINE, "t1,t2,t3").as_assumed


def test_several_sheets() -> None:
    """Sheets with their own conditions are evidence together."""
    sheets = [
        simrig.sheet(MACHINE, ["t1", "t2"]),
        simrig.sheet(MACHINE, ["t1"], balls=2),
    ]
    best = simrig.diagnose(MACHINE, sheets, faults=1).explanations[0]
    assert [fault.name for fault in best.faults] == ["ball-missing:any"]
    assert best.at == (({"trough": 2},), ({"trough": 1},))


@pytest.mark.parametrize(
    ("seen", "options", "words"),
    [
        (["t9"], {}, 'no sensor is called "t9"'),
        ({"t1": "shut"}, {}, "is no reading"),
        (["t1"], {"phase": "noon"}, 'no phase is called "noon"'),
        (["t1"], {"seats": ["trough.9"]}, 'there is no position "trough.9"; did you mean "trough.'),
        (
            ["t1"],
            {"at": {"cellar": 1}},
            'no place or way is called "cellar"; known: trough, launcher',
        ),
        (
            ["t1"],
            {"state": {"door": "ajar"}},
            'no mechanism is called "door"; the profile states none',
        ),
        ([], {"faults": -1}, "0 or more wanted"),
    ],
)
def test_wrong_input(seen: object, options: dict, words: str) -> None:
    """What cannot be is refused in words."""
    with pytest.raises(ValueError, match=words):
        simrig.diagnose(MACHINE, seen, **options)


def test_sheets_carry_their_own_conditions() -> None:
    """Conditions beside sheets, or sheets mixed with names, would say two things."""
    one = simrig.sheet(MACHINE, ["t1"])
    with pytest.raises(ValueError, match="leave them out here"):
        simrig.diagnose(MACHINE, [one], balls=2)
    with pytest.raises(ValueError, match="mixed"):
        simrig.diagnose(MACHINE, [one, "t1"])


def test_the_empty_machine_as_the_eye_saw_it() -> None:
    """No position holds a ball: certain, so no count and no phase is doubted."""
    found = simrig.diagnose(MACHINE, ["t2"], seats=[])
    assert {one.kind for cause in found.explanations for one in cause.assumes}.isdisjoint(
        ("phase", "count", "passing")
    )


def test_what_a_fault_makes_of_the_readings() -> None:
    """Faults are named as on the command line, one or several."""
    found = simrig.expect(MACHINE, balls=0, fault="emitter-dead:t2")
    assert [one.sensor for one in found.readings if one.reading == "closed"] == ["t2"]
    found = simrig.expect(MACHINE, fault=["ball-missing:any", "channel-open:t1"])
    assert [one.sensor for one in found.readings if one.reading == "closed"] == ["t2"]
    with pytest.raises(ValueError, match="emitter-dead can concern here"):
        simrig.expect(MACHINE, fault="emitter-dead:t9")
