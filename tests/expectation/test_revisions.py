"""Two revisions of a profile compared: the facts that differ, and the readings that follow."""

from __future__ import annotations

from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.expectation.prediction import expect
from simrig.expectation.revisions import Change, Revision, changes, revision
from simrig.host.catalogue import Catalogue
from simrig.profile.layout import Phase
from simrig.profile.machine import Profile
from simrig.reports import revision_text
from simrig.strategies import profiles
from simrig.world.phases import Conditions

TIDAL = Catalogue().load("tidal-clockwork")


def _with(profile: Profile, table: str, row: str, **values: Any) -> Profile:
    rows = [
        attrs.evolve(one, **values) if one.id == row else one for one in getattr(profile, table)
    ]
    return attrs.evolve(profile, **{table: tuple(rows)})


@given(profiles(unknown=True))
@settings(max_examples=30)
def test_a_profile_is_the_same_as_itself(profile: Profile) -> None:
    """Nothing differs between a profile and a copy of it."""
    assert revision(profile, attrs.evolve(profile)) == Revision(changes=(), readings=())


@given(profiles(unknown=True), profiles(unknown=True))
@settings(max_examples=40)
def test_what_differs_is_told(one: Profile, other: Profile) -> None:
    """Two profiles that are not equal differ in at least one fact that is named, in words."""
    found = list(changes(one, other))
    assert bool(found) == (one != other)
    assert all(revision_text.fact(change).endswith(".") for change in found)


@given(profiles(), st.data())
@settings(max_examples=40)
def test_readings_told_are_those_that_expect_gives(profile: Profile, data: st.DataObject) -> None:
    """Where one fact is changed, the readings that change are exactly those of two predictions."""
    numbered = [place for place in profile.place if place.position_1]
    place = data.draw(st.sampled_from(numbered))
    other = {"exit end": "far end", "far end": "exit end"}[str(place.position_1)]
    after = _with(profile, "place", place.id, position_1=other)
    found = revision(profile, after)
    told = {(one.phase, one.balls, one.sensor): (one.before, one.after) for one in found.readings}
    for phase in profile.phase:
        for balls in range(profile.balls.installed + 1):
            conditions = Conditions(phase=phase.id, balls=balls)
            before = {one.sensor: one.reading for one in expect(profile, conditions).readings}
            now = {one.sensor: one.reading for one in expect(after, conditions).readings}
            for name, reading in before.items():
                wanted = (reading, now[name]) if reading != now[name] else None
                assert told.get((phase.id, balls, name)) == wanted


CASES = {
    "changed": (
        lambda: _with(TIDAL, "sensor", "lock-1", contact="normally closed"),
        "sensor lock-1: contact was unknown, now",
    ),
    "unknown": (
        lambda: _with(TIDAL, "place", "trough", position_1=None),
        'place trough: position 1 was "exit end", now unknown.',
    ),
    "assumed": (
        lambda: _with(TIDAL, "place", "trough", assumed={"jam": "as drawn"}),
        "place trough: jam is now only assumed (as drawn).",
    ),
    "added": (
        lambda: attrs.evolve(
            TIDAL, phase=(*TIDAL.phase, Phase(id="tilted", placements=({"trough": "rest"},)))
        ),
        "phase tilted: new.",
    ),
    "taken out": (
        lambda: attrs.evolve(TIDAL, phase=TIDAL.phase[:-1]),
        f"phase {TIDAL.phase[-1].id}: no longer there.",
    ),
    "renamed": (
        lambda: _with(TIDAL, "route", "pool-shot", id="pond-shot"),
        "route pool-shot: it is now called pond-shot.",
    ),
    "order": (
        lambda: attrs.evolve(TIDAL, phase=TIDAL.phase[::-1]),
        "phase: the rows stand in another order.",
    ),
    "one table": (
        lambda: attrs.evolve(TIDAL, interlock=None),
        "interlock: no longer there.",
    ),
    "the file's head": (
        lambda: attrs.evolve(TIDAL, version="1.3"),
        "version was 1.2, now 1.3.",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_each_kind_of_change_is_one_line(case: str) -> None:
    """One fact changed is one change, in plain words."""
    make, words = CASES[case]
    (change,) = changes(TIDAL, make())
    assert revision_text.fact(change).startswith(words)


def test_a_line_of_the_matrix_is_named() -> None:
    """A wire of the matrix is named by its axis and number."""
    assert TIDAL.matrix is not None
    first = attrs.evolve(TIDAL.matrix.column[0], wire="pink")
    matrix = attrs.evolve(TIDAL.matrix, column=(first, *TIDAL.matrix.column[1:]))
    (change,) = changes(TIDAL, attrs.evolve(TIDAL, matrix=matrix))
    assert change == Change(
        kind="changed", table="matrix.column", row="1", key="wire",
        before=TIDAL.matrix.column[0].wire, after="pink",
    )  # fmt: skip


def test_the_words_say_what_follows() -> None:
    """Lost polarity is one fact, and every reading of that sensor turns round."""
    after = _with(TIDAL, "sensor", "launcher-ball", contact="normally closed")
    found = revision(TIDAL, after)
    assert {one.sensor for one in found.readings} == {"launcher-ball"}
    text = list(revision_text.lines(found))
    assert text[0] == (f"1 fact differs; {len(found.readings)} expected readings change with it.")
    assert any(
        "launcher-ball was OPEN, now CLOSED: idle with 0 to 6 balls" in line for line in text
    )
    assert len("\n".join(text).splitlines()) <= 20


def test_a_row_that_becomes_impossible_is_told() -> None:
    """A phase that allows nothing any more for a number of balls says so at every sensor."""
    idle = _with(TIDAL, "phase", "idle", placements=({"trough": 4, "launcher": 1},))
    after = attrs.evolve(idle, balls=attrs.evolve(idle.balls, extra=("launcher",)))
    found = [one for one in revision(TIDAL, after).readings if one.phase == "idle"]
    assert {one.after for one in found if one.balls == 6} == {"impossible"}
