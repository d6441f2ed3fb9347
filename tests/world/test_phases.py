"""Legal positions of a phase, worked out by hand on one small machine."""

from __future__ import annotations

import attrs
import pytest

from simrig.profile.layout import Balls, Phase
from simrig.world.balls import Fact
from simrig.world.phases import (
    Conditions,
    legal_placements,
    mechanism_states,
    phase_of,
    phase_placements,
    row_counts,
)
from tests.world.small_layouts import layout, place

STORE = Fact("balls", "", "store")
EXTRA = Fact("balls", "", "extra")


def _spots(profile, **conditions):
    found = legal_placements(profile, Conditions(**conditions))
    return [" ".join(sorted(one.spots)) for one in found]


def _rows(*rows, **changes):
    return layout(phase=(Phase(id="play", placements=rows),), **changes)


def test_the_phase_meant():
    """By its name; without one idle, wherever it stands; without idle the first."""
    profile = layout()
    assert phase_of(profile, "play").id == "play"
    assert phase_of(profile, None).id == "idle"
    assert phase_of(attrs.evolve(profile, phase=profile.phase[:1]), None).id == "play"
    other = Phase(id="other", placements=({"trough": "rest"},))
    assert phase_of(attrs.evolve(profile, phase=(profile.phase[0], other)), None).id == "play"
    with pytest.raises(ValueError, match='no phase called "tilt"; this machine has: play, idle'):
        phase_of(profile, "tilt")
    with pytest.raises(ValueError, match="states no phase yet"):
        phase_of(attrs.evolve(profile, phase=()), "idle")


def test_rows_that_add_up():
    """One on the field, none or one in the lock, the rest in the trough: two ways of three."""
    profile = layout()
    (row,) = profile.phase[0].placements
    assert list(map(dict, row_counts(profile, row))) == [
        {"trough": 1, "lock": 1, "field": 1},
        {"trough": 2, "field": 1},
    ]


def test_a_row_that_cannot_add_up_gives_no_way():
    """Two at most are not three; three at least are not two; nothing is none."""
    assert list(row_counts(layout(), {"lock": "0-1", "lane": "0-1"})) == []
    assert list(row_counts(layout(), {"trough": 3, "field": 1})) == []
    assert list(row_counts(layout(), {})) == []


@pytest.mark.parametrize(
    ("row", "ways"),
    [
        ({"trough": "1-2", "field": "1-2"}, [(1, 2), (2, 1)]),
        ({"trough": "0-3", "field": "0-3"}, [(0, 3), (1, 2), (2, 1), (3, 0)]),
        ({"lane": "rest", "trough": "rest"}, [(0, 3), (1, 2)]),
        ({"lane": "rest", "trough": "0-4"}, [(0, 3), (1, 2)]),
    ],
)
def test_ranges_that_add_up(row, ways):
    """Each number within its range, and within the seats where it is the rest."""
    names = list(row)
    found = [tuple(dict(way).get(name, 0) for name in names) for way in row_counts(layout(), row)]
    assert found == ways


def test_rows_that_overlap_give_each_position_once():
    """Two rows that allow the same numbers are one position."""
    profile = _rows({"trough": "rest"}, {"trough": "rest", "lock": "0-1"})
    assert _spots(profile) == [
        "trough.1 trough.2 trough.3",
        "lock.1 trough.1 trough.2",
    ]


def test_with_all_balls_there_a_position_rests_on_nothing():
    """Neither where balls would be missing nor where one too many would lie is asked."""
    profile = _rows({"trough": 2, "lock": 1}, balls=Balls(installed=3))
    (found,) = legal_placements(profile, Conditions())
    assert (found.spots, found.rests_on) == ({"trough.1", "trough.2", "lock.1"}, frozenset())


def test_the_store_is_short_first():
    """A ball too few is missing from the store, whatever lies elsewhere."""
    (found,) = legal_placements(_rows({"trough": 2, "lock": 1}), Conditions(balls=2))
    assert (found.spots, found.rests_on) == ({"trough.1", "lock.1"}, frozenset())


def test_what_the_store_cannot_give_is_missing_anywhere():
    """Of one in the store, two in the lock, one on the field and two balls fewer: the store
    is empty, and one more is missing from the lock or from the field."""
    profile = _rows({"trough": 1, "lock": 2, "field": 1}, balls=Balls(installed=4, store="trough"))
    assert _spots(profile, balls=2) == ["lock.1 lock.2", "field.1 lock.1"]
    assert _spots(profile, balls=4) == ["field.1 lock.1 lock.2 trough.1"]
    assert _spots(profile, balls=0) == [""]


def test_without_a_store_stated_the_missing_ball_may_be_missing_anywhere():
    """Each way names the fact that would decide it."""
    profile = _rows({"trough": 2, "lock": 1}, balls=Balls(installed=3))
    found = list(legal_placements(profile, Conditions(balls=2)))
    assert [sorted(one.spots) for one in found] == [
        ["trough.1", "trough.2"],
        ["lock.1", "trough.1"],
    ]
    assert {one.rests_on for one in found} == {frozenset({STORE})}


def test_an_empty_store_gives_nothing():
    """A store that holds no ball in the row leaves the others short."""
    profile = _rows({"lock": 2}, balls=Balls(installed=2, store="trough"))
    assert _spots(profile, balls=1) == ["lock.1"]


def test_balls_too_many_lie_where_the_profile_says():
    """In the first place with room, positions too; each takes one, a place what it holds."""
    balls = Balls(installed=3, extra=("lock.1", "lane", "trough", "lock"))
    profile = _rows({"trough": 3}, balls=balls)
    assert _spots(profile, balls=4) == ["lock.1 trough.1 trough.2 trough.3"]
    assert _spots(profile, balls=5) == ["lane.1 lock.1 trough.1 trough.2 trough.3"]
    (found,) = legal_placements(profile, Conditions(balls=5))
    assert found.rests_on == frozenset()


def test_no_position_where_nothing_stated_has_room():
    """Two balls too many, and room for one where the profile says."""
    profile = _rows({"trough": 3}, balls=Balls(installed=3, extra=("lane",)))
    assert _spots(profile, balls=4) == ["lane.1 trough.1 trough.2 trough.3"]
    assert _spots(profile, balls=5) == []


def test_a_place_that_is_full_already_has_no_room():
    """The lane holds its ball in the row; the ball too many goes on to the next stated."""
    profile = _rows({"trough": 2, "lane": 1}, balls=Balls(installed=3, extra=("lane", "lock")))
    assert _spots(profile, balls=4) == ["lane.1 lock.1 trough.1 trough.2"]


def test_without_a_word_on_extra_balls_they_lie_anywhere_with_room():
    """On the trough's jam, in the lock; not in the full trough nor among captive balls."""
    profile = _rows(
        {"trough": "rest"},
        balls=Balls(installed=2),
        place=(place("trough", 2, jam=True), place("lock", 1), place("well", 2, captive=1)),
        route=(),
    )
    found = list(legal_placements(profile, Conditions(balls=3)))
    assert [sorted(one.spots) for one in found] == [
        ["lock.1", "trough.1", "trough.2"],
        ["trough.1", "trough.2", "trough.jam"],
    ]
    assert {one.rests_on for one in found} == {frozenset({EXTRA})}
    # One sits on the jam; two cannot.
    assert _spots(profile, balls=4) == ["lock.1 trough.1 trough.2 trough.jam"]
    assert _spots(profile, balls=5) == []


def test_what_rests_on_two_facts_names_both():
    """A ball missing somewhere from places of unknown numbering."""
    profile = _rows(
        {"trough": 1, "lock": 1}, balls=Balls(installed=2),
        place=(place("trough", 2, position_1=None), place("lock", 1)), route=(),
    )  # fmt: skip
    by_spots = {
        tuple(one.spots): one.rests_on for one in legal_placements(profile, Conditions(balls=1))
    }
    fact = Fact("place", "trough", "position_1")
    assert by_spots == {
        ("trough.1",): {STORE, fact},
        ("trough.2",): {STORE, fact},
        ("lock.1",): {STORE},
    }


def test_mechanisms_stand_as_the_phase_says_else_at_rest():
    """A state, several, or rest; one of unknown rest is left out."""
    profile = layout()
    one = Phase(id="one", placements=({"trough": "rest"},), states={"gate": "down"})
    several = Phase(id="several", placements=({"trough": "rest"},), states={"post": ["in", "out"]})
    assert mechanism_states(profile, None) == (("gate", frozenset({"up"})),)
    assert mechanism_states(profile, one) == (("gate", frozenset({"down"})),)
    assert mechanism_states(profile, several) == (
        ("gate", frozenset({"up"})),
        ("post", frozenset({"in", "out"})),
    )
    assert {found.states for found in phase_placements(profile, profile.phase[1], 3)} == {
        (("gate", frozenset({"up"})),)
    }


def test_what_was_seen_leaves_the_legal_positions_that_agree():
    """Balls counted at a place, or on exact spots, within a phase."""
    profile = layout()
    assert _spots(profile, phase="play", at={"lock": 1}) == ["field.1 lock.1 trough.1"]
    assert _spots(profile, phase="play", at={"lock": 0, "trough": 2}) == [
        "field.1 trough.1 trough.2"
    ]
    assert _spots(profile, phase="play", at={"lock": 2}) == []
    seen = frozenset({"field.1", "trough.1", "trough.2"})
    assert _spots(profile, phase="play", spots=seen) == ["field.1 trough.1 trough.2"]
    assert _spots(profile, phase="play", spots=seen - {"field.1"}) == []


def test_states_that_were_seen_replace_those_taken_for_granted():
    """What the eye saw of a mechanism is certain; the others stay as they were."""
    found = legal_placements(layout(), Conditions(states={"post": "in"}))
    assert [one.states for one in found] == [
        (("gate", frozenset({"up"})), ("post", frozenset({"in"})))
    ]
    (found,) = legal_placements(layout(), Conditions(states={"gate": "down"}))
    assert found.states == (("gate", frozenset({"down"})),)


@pytest.mark.parametrize(
    ("conditions", "alone"),
    [
        ({}, False),
        ({"at": {}}, True),
        ({"spots": frozenset()}, True),
        ({"phase": "idle", "at": {"lock": 1}}, False),
        ({"balls": 3}, False),
    ],
)
def test_seen_alone(conditions, alone):
    """Balls seen with no phase supposed stand alone; an empty sight is a sight."""
    assert Conditions(**conditions).seen_only is alone


def test_seen_balls_stand_alone():
    """Seen at places without a phase: the rest lie on the open field, or are missing."""
    profile = layout()
    (found,) = legal_placements(profile, Conditions(at={"trough": 1}))
    assert (found.spots, found.missing) == ({"trough.1"}, 0)
    (found,) = legal_placements(profile, Conditions(at={"trough": 1, "field": 1}, balls=3))
    assert (found.spots, found.missing) == ({"trough.1", "field.1", "field.2"}, 0)
    assert found.states == (("gate", frozenset({"up"})),)
    (found,) = legal_placements(profile, Conditions(at={"trough": 1}, balls=2))
    assert found.spots == {"trough.1", "field.1"}
    (found,) = legal_placements(profile, Conditions(at={}, balls=20))
    assert found.spots == {f"field.{n}" for n in range(1, 21)}
    indoors = attrs.evolve(profile, place=profile.place[:3], route=profile.route[:1])
    (found,) = legal_placements(indoors, Conditions(at={"trough": 1}, balls=3))
    assert (found.spots, found.missing) == ({"trough.1"}, 2)
    (found,) = legal_placements(indoors, Conditions(spots=frozenset({"trough.2"}), balls=1))
    assert (found.spots, found.missing) == ({"trough.2"}, 0)
    with pytest.raises(ValueError, match="2 balls are named, but only 1 are in the machine"):
        legal_placements(profile, Conditions(at={"trough": 2}, balls=1))


def test_balls_seen_on_a_route_are_on_one_of_its_points():
    """Of three points (the way counts) one ball is on any, two on any pair; four do not fit."""
    profile = layout()
    assert _spots(profile, at={"serve": 1}) == ["serve.1", "serve.2", "serve.way"]
    assert _spots(profile, at={"serve": 2, "drain": 1, "trough": 1}) == [
        "drain.way serve.1 serve.2 trough.1",
        "drain.way serve.1 serve.way trough.1",
        "drain.way serve.2 serve.way trough.1",
    ]
    assert len(_spots(profile, at={"serve": 3})) == 1
    with pytest.raises(ValueError, match="serve has room for 3 balls on the way; found 4"):
        _spots(profile, at={"serve": 4})


def test_each_position_of_a_phase_comes_once():
    """A ball missing from two rows leaves a position that both of them give."""
    rows = ({"trough": 2, "lock": 1}, {"trough": 3})
    profile = _rows(*rows, balls=Balls(installed=3))
    found = list(phase_placements(profile, profile.phase[0], 2))
    assert [sorted(one.spots) for one in found] == [
        ["trough.1", "trough.2"],
        ["lock.1", "trough.1"],
    ]


def test_states_come_in_the_order_of_their_names():
    """Whatever the order of the mechanisms in the profile."""
    profile = layout()
    turned = tuple(attrs.evolve(one, rest=one.states[0]) for one in profile.mechanism[::-1])
    found = mechanism_states(attrs.evolve(profile, mechanism=turned), None)
    assert [name for name, _ in found] == ["gate", "post"]
