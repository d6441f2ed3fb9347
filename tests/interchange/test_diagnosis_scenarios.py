"""Scenarios that diagnose: every key is judged, and a wrong one is told."""

from __future__ import annotations

import pytest

from simrig.errors import InputError
from simrig.interchange.running import run
from simrig.interchange.scenarios import read
from tests.diagnosis.small_machine import machine

MACHINE = machine()
DARK = 'balls = 0\nseen = { closed = ["t2"] }\n'
"""The trough empty, and the middle beam reads as if a ball were there."""


def _failures(step: str) -> tuple[str, ...]:
    text = f'format = 1\ntitle = "t"\nmachine = "copper-lantern"\n[[step]]\n{step}'
    (result,) = run(MACHINE, read(text.encode(), "t.scenario.toml"))
    return result.failures


@pytest.mark.parametrize(
    "wanted",
    [
        'as_assumed = false, told_apart = false, conflict = false, among = ["emitter-dead:t2"]',
        'absent = ["fuse-blown", "emitter-dead:t1"], nowhere = ["coil-open"]',
        'ranked = ["emitter-dead:t2", "emitter-shorted:t2"], first = ["misread:t2"]',
        'alike = ["emitter-dead:t2", "receiver-dead:t2"], no_part = false',
        'one_group = ["emitter-dead:t2"]',
        'at = {}, ruled_out_by = { "row-held:1" = "t1" }',
        "faults = 0, conflict = true, groups = 0",
        'among = ["emitter-dead:t1 & leads-exchanged:t1+t2"]',
        'found = ["work-t2=answers"], nowhere = ["emitter-dead:t2"]',
        'faults = 1, found = ["look-t2=object"], next_check = "none", '
        'singles = ["beam-obstructed:t2"]',
    ],
)
def test_what_is_so_passes(wanted: str) -> None:
    """A verdict that diagnosing gives passes."""
    assert _failures(f"{DARK}diagnosis = {{ {wanted} }}") == ()


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ("as_assumed = true", "as assumed: no, expected yes"),
        ("told_apart = true", "told apart: no, expected yes"),
        ("conflict = true", "conflict: no, expected yes"),
        ("groups = 1", "groups: "),
        ("no_part = true", "no part: no: "),
        ("at = { trough = 1 }", "the balls lie {}, expected {'trough': 1}"),
        ('singles = ["emitter-dead:t2"]', "by itself, too many: "),
        ('singles = ["fuse-blown:f1"]', "missing: fuse-blown:f1"),
        ('among = ["fuse-blown:f1"]', "not offered: fuse-blown:f1"),
        ('absent = ["emitter-dead"]', "offered although it must not be: emitter-dead:t2"),
        ('nowhere = ["leads-exchanged"]', "must not be: leads-exchanged:t1+t2"),
        ('first = ["emitter-dead:t2"]', "the likeliest is misread:t2"),
        ('ranked = ["emitter-shorted:t2", "emitter-dead:t2"]', "is not likelier than"),
        ('ranked = ["emitter-dead:t2", "fuse-blown:f1"]', "fuse-blown:f1 is not offered"),
        ('one_group = ["emitter-dead:t2", "beam-dirty:t2"]', "in 2 groups, expected in one"),
        ('alike = ["emitter-dead:t2", "beam-dirty:t2"]', "show otherwise than others"),
        ('ruled_out_by = { "row-held:1" = "t3" }', "ruled out by t1, expected by t3"),
        ('next_check = "none"', "the next check is "),
        ('next_check = ["no-such-check"]', 'there is no check "no-such-check"'),
        ('found = ["work-t2=purple"]', 'work-t2 has no result "purple"'),
        ('found = ["work-t2"]', "wanted CHECK=RESULT"),
        ('complaints = ["sings"]', "the profile does not say how the controller counts balls"),
        ('absent = ["no-such-kind"]', "what this machine can have"),
        ('among = ["emitter-dead:t9"]', "emitter-dead can concern here: t1, t2, t3"),
    ],
)
def test_what_is_not_so_is_told(wanted: str, words: str) -> None:
    """A verdict that diagnosing does not give fails, in words, and so does a name of no part."""
    found = _failures(f"{DARK}diagnosis = {{ {wanted} }}")
    assert any(words in failure for failure in found), found


def test_several_sheets_are_judged_together() -> None:
    """Sheets of a step carry their own conditions and are evidence together."""
    step = (
        'diagnosis = { faults = 1, first = ["ball-missing:any"] }\n'
        '[[step.sheets]]\nclosed = ["t1", "t2"]\n'
        '[[step.sheets]]\nballs = 2\nclosed = ["t1"]\n'
    )
    assert _failures(step) == ()


def test_nothing_to_diagnose_is_told() -> None:
    """A verdict without anything seen is the author's slip."""
    (failure,) = _failures("diagnosis = { conflict = true }")
    assert "nothing to diagnose" in failure


def test_a_sheet_with_wrong_conditions_is_told() -> None:
    """The conditions of each sheet are checked, and the sheet named."""
    step = 'diagnosis = { faults = 1 }\n[[step.sheets]]\nphase = "noon"\nclosed = []\n'
    (failure,) = _failures(step)
    assert "sheet 1" in failure
    assert "noon" in failure


def test_a_misspelt_key_is_refused() -> None:
    """The table of keys guards what can be said about a diagnosis."""
    with pytest.raises(InputError, match="amongst"):
        _failures(f'{DARK}diagnosis = {{ amongst = ["emitter-dead:t2"] }}')
