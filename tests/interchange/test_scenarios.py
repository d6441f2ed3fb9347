"""Scenario files that cannot be run as they stand: every fault told at its line."""

from __future__ import annotations

import pytest

from simrig.errors import InputError
from simrig.interchange.scenarios import read

HEAD = 'format = 1\ntitle = "a walk"\nmachine = "sample"\n'


def _told(text: str) -> list[tuple[int | None, str, str]]:
    with pytest.raises(InputError) as refused:
        read(text.encode(), "walk.scenario.toml")
    return [(one.line, one.where, one.message) for one in refused.value.problems]


def test_a_sound_scenario_knows_the_lines_of_its_steps() -> None:
    """Each step stands on the line of its header."""
    scenario = read((HEAD + '\n[[step]]\nphase = "idle"\n\n[[step]]\nballs = 2\n').encode(), "w")
    assert [scenario.line(number) for number in range(len(scenario.step))] == [5, 8]


def test_a_scenario_without_steps() -> None:
    """A file that says nothing to do is refused."""
    assert _told(HEAD) == [(1, "step", "found no [[step]]; wanted one or more; add it")]


def test_faults_of_form() -> None:
    """A misspelt key and a wrong value are told together; that no step is left is not told too."""
    assert _told(HEAD.replace("title", "titel") + "[[stpe]]\n[[step]]\nballs = 99\n") == [
        (2, "titel", 'this key is not known; did you mean "title"?'),
        (4, "stpe", 'this key is not known; did you mean "step"?'),
        (6, "step 1, balls", "found 99; wanted a whole number from 0 to 21"),
    ]


def test_a_scenario_that_is_no_toml() -> None:
    """Text that is no TOML is told at its line, in plain words."""
    ((line, where, message),) = _told(HEAD + "[[step]\n")
    assert (line, where) == (4, "TOML")
    assert message.startswith("found [[step]: the brackets round the name of a table do not close")
