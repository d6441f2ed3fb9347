"""Where balls lie at rest, worked out by hand on places of three and four positions."""

from __future__ import annotations

import attrs
import pytest

from simrig.profile.machine import Profile
from simrig.world.balls import (
    Fact,
    Placement,
    captive_spots,
    count_by_place,
    fill,
    order_matters,
    settled,
    spot_place,
)
from tests.world.small_layouts import layout, place


@pytest.mark.parametrize(
    ("position_1", "first", "balls", "spots"),
    [
        ("exit end", "exit end", 2, ("lock.1", "lock.2")),
        ("far end", "exit end", 2, ("lock.3", "lock.2")),
        (None, "exit end", 2, ("lock.1", "lock.2")),
        (None, "far end", 1, ("lock.3",)),
        ("exit end", "far end", 1, ("lock.1",)),
        ("exit end", "exit end", 0, ()),
        ("far end", "far end", 3, ("lock.3", "lock.2", "lock.1")),
    ],
)
def test_balls_fill_a_place_from_its_exit(position_1, first, balls, spots):
    """What is stated of the numbering holds before what is supposed of it."""
    assert fill(place(position_1=position_1), balls, first=first) == spots


def test_where_nothing_is_said_position_1_is_supposed_at_the_exit():
    """Without an order stated, or one supposed, the first numbers are filled."""
    assert fill(place(position_1=None), 1) == ("lock.1",)


@pytest.mark.parametrize("balls", [-1, 4])
def test_balls_that_do_not_fit(balls):
    """Fewer than none and more than the seats are refused with both numbers."""
    with pytest.raises(ValueError, match=f"lock holds 3; {balls} do not fit"):
        fill(place(), balls)


def test_the_open_field_has_no_far_end():
    """In the open the numbers are names only, and the first are taken."""
    field = place("field", "any", position_1="far end")
    assert fill(field, 2) == ("field.1", "field.2")
    assert len(fill(field, 20)) == 20


@pytest.mark.parametrize(
    ("changes", "balls", "matters"),
    [
        ({"position_1": None}, 0, False),
        ({"position_1": None}, 1, True),
        ({"position_1": None}, 2, True),
        ({"position_1": None}, 3, False),
        ({"position_1": "far end"}, 1, False),
        ({"position_1": None, "seats": 1}, 1, False),
        ({"position_1": None, "seats": "any"}, 1, False),
    ],
)
def test_an_unknown_end_matters_where_some_seats_stay_empty(changes, balls, matters):
    """An empty place, a full one and a single seat look the same from either end."""
    assert order_matters(place(**changes), balls) is matters


def test_one_placement_for_each_way_that_is_not_known():
    """Two places of unknown numbering, one ball in each: four ways, each with both facts."""
    profile = layout(
        place=(place("a", 2, position_1=None), place("b", 3, position_1=None), place("c", 2))
    )
    found = list(settled(profile, {"a": 1, "b": 1, "c": 1}, missing=2))
    assert [sorted(one.spots) for one in found] == [
        ["a.1", "b.1", "c.1"],
        ["a.1", "b.3", "c.1"],
        ["a.2", "b.1", "c.1"],
        ["a.2", "b.3", "c.1"],
    ]
    facts = {Fact("place", "a", "position_1"), Fact("place", "b", "position_1")}
    assert {(one.rests_on, one.missing, one.balls) for one in found} == {(frozenset(facts), 2, 3)}


def _unordered(number: int) -> Profile:
    """So many places of three seats, none with a stated order."""
    return layout(place=tuple(place(f"p{n}", 3, position_1=None) for n in range(1, number + 1)))


@pytest.mark.parametrize("number", [4, 5, 6])
def test_of_many_places_of_unknown_order_some_are_left_unsure(number):
    """Two balls at each: 2 to the 4th ways for four places; of the fifth and sixth the middle
    seat is held either way, and which of the outer two is not known."""
    counts = dict.fromkeys([f"p{n}" for n in range(1, number + 1)], 2)
    found = list(settled(_unordered(number), counts))
    unsure = {f"p{n}.{end}" for n in range(5, number + 1) for end in (1, 3)}
    assert len({one.spots for one in found}) == len(found) == 16
    for one in found:
        assert one.unsure == unsure
        assert one.rests_on == {Fact("place", name, "position_1") for name in counts}
        assert {f"{name}.2" for name in counts} <= one.spots
        assert {spot for spot in one.spots if spot[1] > "4"} == {
            f"p{n}.{seat}" for n in range(5, number + 1) for seat in (1, 2)
        }
    assert {frozenset(s for s in one.spots if s.startswith("p4")) for one in found} == {
        frozenset({"p4.1", "p4.2"}),
        frozenset({"p4.2", "p4.3"}),
    }


def test_places_whose_order_does_not_matter_are_not_counted_among_the_many():
    """Four are tried beside two that are full or empty; nothing is unsure."""
    counts = {"p1": 3, "p2": 2, "p3": 2, "p4": 0, "p5": 2, "p6": 2}
    found = list(settled(_unordered(6), counts))
    assert len(found) == 16
    assert {one.unsure for one in found} == {frozenset()}


def test_a_full_place_rests_on_no_fact():
    """Where all ways look alike there is one placement, and nothing it rests on."""
    (found,) = settled(layout(place=(place("a", 2, position_1=None),)), {"a": 2})
    assert (found.spots, found.rests_on, found.missing) == ({"a.1", "a.2"}, frozenset(), 0)


def test_a_place_that_is_none():
    """Balls at a place that the machine does not have are refused by its name."""
    with pytest.raises(ValueError, match='there is no place called "attic"'):
        list(settled(layout(), {"attic": 1}))


def test_balls_are_counted_by_place_and_route():
    """A ball on a point of a route counts for the route, one over a jam for its place; in
    the order of the profile."""
    profile = layout(place=(place("trough", 3, jam=True), place("lane", 1)))
    placement = Placement(spots=["serve.2", "lane.1", "trough.3", "trough.jam", "serve.way"])
    assert list(count_by_place(profile, placement).items()) == [
        ("trough", 2),
        ("lane", 1),
        ("serve", 2),
    ]
    assert spot_place(profile, "trough.jam") == "trough"
    assert spot_place(profile, "serve.1") is None


def test_a_placement_is_the_same_however_it_is_written():
    """States come in the order of their names, once each; spots as a set; none are missing."""
    states = [("post", frozenset(("in",))), ("gate", frozenset(("up",)))]
    one = Placement(spots=["a.1", "a.2"], states=states)
    assert one == Placement(spots={"a.2", "a.1"}, states=states[::-1])
    assert [name for name, _ in one.states] == ["gate", "post"]
    assert (one.missing, one.rests_on, Placement(spots=()).states) == (0, frozenset(), ())
    assert attrs.evolve(one, missing=0) == one
    with pytest.raises(ValueError, match="missing"):
        Placement(spots=(), missing=-1)


@pytest.mark.parametrize(
    ("changes", "surely", "maybe", "key"),
    [
        ({"captive": 1, "rest_end": "exit end"}, ["well.1"], [], ""),
        ({"captive": 1, "rest_end": "far end"}, ["well.3"], [], ""),
        ({"captive": 1, "rest_end": "far end", "position_1": "far end"}, ["well.1"], [], ""),
        ({"captive": 2, "rest_end": "exit end", "position_1": "far end"},
         ["well.2", "well.3"], [], ""),
        ({"captive": 1}, [], ["well.1", "well.3"], "rest_end"),
        ({"captive": 1, "position_1": None}, [], ["well.1", "well.3"], "rest_end"),
        ({"captive": 1, "position_1": None, "rest_end": "exit end"},
         [], ["well.1", "well.3"], "position_1"),
        ({"captive": 2}, ["well.2"], ["well.1", "well.3"], "rest_end"),
        ({"captive": 3}, ["well.1", "well.2", "well.3"], [], ""),
        ({"captive": 0, "kind": "captive"}, [], [], ""),
        ({"kind": "captive"}, [], ["well.1", "well.2", "well.3"], "captive"),
        ({}, [], [], ""),
    ],
)  # fmt: skip
def test_where_captive_balls_lie(changes, surely, maybe, key):
    """They lie at the end where they rest; where that, the numbering or their number is not
    known, at what all ways share for certain, and elsewhere perhaps."""
    profile = layout(place=(place("shut", 1), place("well", 3, **changes), place("open", 2)))
    certain, possible = captive_spots(profile)
    assert list(certain) == surely
    assert set(certain.values()) <= {None}
    assert possible == {spot: Fact("place", "well", key) for spot in maybe}
    assert list(possible) == maybe


def test_captive_balls_of_every_place_are_found():
    """A place of unknown captive balls does not hide those behind it in the profile."""
    wells = (place("a", 1, kind="captive"), place("b", 2), place("c", 1, captive=1))
    surely, maybe = captive_spots(layout(place=wells))
    assert (list(surely), list(maybe)) == (["c.1"], ["a.1"])
    wide = layout(place=(place("well", 8, captive=3),))
    assert list(captive_spots(wide)[1]) == [f"well.{n}" for n in (1, 2, 3, 6, 7, 8)]
