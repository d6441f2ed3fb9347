"""The words of a diagnosis: groups, shared causes first, what a group is called."""

from __future__ import annotations

from simrig.diagnosis.diagnose import diagnose
from simrig.diagnosis.suspects import Sheet
from simrig.reports import diagnosis_text as report
from simrig.world.phases import Conditions
from tests.diagnosis.small_machine import machine, sheet

MACHINE = machine()


def test_what_wrong_readings_share_comes_first() -> None:
    """Two wrong readings: among the groups shown, one part for both stands before the others."""
    seen = sheet(MACHINE, ["t1", "t2"], unknown=["t3"])
    empty = Sheet(observation=seen.observation, conditions=Conditions(spots=frozenset()))
    found = diagnose(MACHINE, [empty])
    shown = report.top_groups(found)
    assert sorted(shown) == [1, 2, 3]
    shared = []
    for number in shown:
        faults = found.group(number)[0].faults
        touched = [found.whys.grouping.touches(fault) for fault in faults]
        shared.append(len(touched) == 1 and touched[0] >= {"t1", "t2"})
    assert shared == sorted(shared, reverse=True)
    assert shared[0]
    assert 1 not in shown[:1]


def test_a_group_at_one_sensor_names_it_once() -> None:
    """What fails at one sensor and shows alike is told in one breath."""
    seen = sheet(MACHINE, ["t2"], balls=0)
    found = diagnose(MACHINE, [seen], limit=1, apart=lambda fault: None)
    group = next(one.group for one in found.causes if one.faults and one.faults[0].sensor == "t2")
    words = report.group_words(found, group)
    assert words.count("t2") == 1
    assert words.startswith("at t2: ")
    assert " or " in words


def test_the_sensor_that_holds_most_of_the_chance_is_told() -> None:
    """Many things at one sensor, each unlikely, are together likely; the screen says so."""
    found = diagnose(MACHINE, [sheet(MACHINE, ["t2"], balls=0)])
    assert "All that can fail at t2 alone, together: about 8 in 10." in report.screen(found)


def test_a_single_cause_left_is_named() -> None:
    """Only where one thing is left does the verdict name it.

    Exchanged columns would show the full machine alike, the empty one rules them out.
    """
    full = sheet(MACHINE, ["launcher-ball"])
    empty = sheet(MACHINE, ["t1", "t2", "t3", "launcher-ball"], balls=0)
    swapped = diagnose(MACHINE, [full, empty], limit=1)
    assert "Only this is left: all symbols taken the wrong way round." in report.verdict(swapped)
    several = diagnose(MACHINE, [sheet(MACHINE, ["t2"], balls=0)], limit=1)
    assert "none is sure yet" in report.verdict(several)


def test_readings_that_are_right() -> None:
    """A missing ball leaves every reading right: the verdict does not speak of wrong sensors."""
    seen = [sheet(MACHINE, ["t1", "t2"]), sheet(MACHINE, ["t1"], balls=2)]
    found = diagnose(MACHINE, seen, limit=1)
    lines = report.screen(found)
    assert any("count the balls" in line for line in lines)
    assert any("a ball is missing" in line for line in lines)


def test_another_look_comes_before_any_check() -> None:
    """Where symbols may be swapped, making sure of that costs nothing and stands first."""
    found = diagnose(MACHINE, [sheet(MACHINE, ["launcher-ball"])], limit=1)
    lines = report.screen(found, next_lines=lambda most: ["Bench now: as it is.", "Next: a check."])
    assert lines.index(
        "First, it costs nothing: make sure which symbol means closed."
    ) < lines.index("Bench now: as it is.")


def test_a_long_way_to_the_next_check_is_cut_to_the_screen() -> None:
    """Whatever must be done before the next check, the first screen keeps to its 20 lines."""
    found = diagnose(MACHINE, [sheet(MACHINE, ["t2"], balls=0)], limit=1)
    asked = []

    def long(most: int) -> list[str]:
        asked.append(most)
        return ["do this"] * most

    assert len(report.screen(found, next_lines=long)) <= 20
    assert min(asked) >= 5
