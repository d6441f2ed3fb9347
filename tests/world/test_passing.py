"""Where a ball can be caught on the move, worked out by hand."""

from __future__ import annotations

from simrig.profile.layout import Route
from simrig.world.balls import Placement
from simrig.world.passing import one_passing
from tests.world.small_layouts import layout, place, sensor

ROUTE = (Route(id="serve", from_="trough", to=("lane",), by="coil", points=2),)


def _caught(profile, *spots):
    found = one_passing(profile, Placement(spots=spots))
    return sorted((where, " ".join(sorted(one.spots))) for where, one in found)


def test_the_ball_at_the_far_end_leaves_and_the_rest_close_up():
    """Of two balls in a trough one can be on the covered point of the route, or, in a place of
    three, on the last seat beyond the one that has stayed."""
    profile = layout(
        place=(place("trough", 3), place("lane", 1)),
        route=ROUTE,
        sensor=(sensor("s1", "trough.1"), sensor("s3", "trough.3"), sensor("p", "serve.1")),
    )
    assert _caught(profile, "trough.1", "trough.2") == [
        ("serve", "serve.1 trough.1"),
        ("trough", "trough.1 trough.3"),
    ]


def test_the_seat_next_to_the_row_is_rest_and_not_passage():
    """With one ball left the second seat would be rest; only a seat further out is passage."""
    profile = layout(
        place=(place("trough", 3), place("lock", 3)),
        route=(),
        sensor=(sensor("t2", "trough.2"), sensor("k1", "lock.1"), sensor("k2", "lock.2")),
    )
    assert _caught(profile, "trough.1") == [
        ("lock", "lock.2"),
        ("trough", "trough.2"),
    ]
    assert _caught(profile, "trough.1", "trough.2") == [("lock", "lock.2 trough.1")]


def test_an_unknown_end_is_taken_both_ways():
    """One ball on the middle seat of three cannot lie at rest from either end, one on the
    first seat can from one of them."""
    profile = layout(
        place=(place("trough", 3, position_1=None),), route=ROUTE, sensor=(sensor("p", "serve.2"),)
    )
    assert _caught(profile, "trough.2") == []
    assert _caught(profile, "trough.1") == [("serve", "serve.2")]
    assert _caught(profile, "trough.2", "trough.3") == [("serve", "serve.2 trough.3")]
    assert _caught(profile, "trough.1", "trough.2", "trough.3") == [
        ("serve", "serve.2 trough.1 trough.2"),
        ("serve", "serve.2 trough.2 trough.3"),
    ]


def test_a_stated_end_is_taken_one_way():
    """A row at the far end does not rest in a place that fills from the exit."""
    profile = layout(place=(place("trough", 3),), route=ROUTE, sensor=(sensor("p", "serve.2"),))
    assert _caught(profile, "trough.2", "trough.3") == []
    assert _caught(profile, "trough.1", "trough.2", "trough.3") == [
        ("serve", "serve.2 trough.1 trough.2")
    ]


def test_a_ball_leaves_the_open_field():
    """In the open any ball can go: the last is taken for it."""
    profile = layout(
        place=(place("field", "any", position_1=None),), route=ROUTE,
        sensor=(sensor("p", "serve.1"),),
    )  # fmt: skip
    assert _caught(profile, "field.1", "field.2") == [("serve", "field.1 serve.1")]


def test_no_ball_passes_a_place_of_captive_ones():
    """A place that keeps captive balls lets no other in."""
    profile = layout(
        place=(place("trough", 3), place("well", 3, captive=1)), route=(),
        sensor=(sensor("w3", "well.3"),),
    )  # fmt: skip
    assert _caught(profile, "trough.1") == []


def test_an_empty_place_before_a_full_one_is_passed_over():
    """What comes first in the profile need not hold a ball."""
    profile = layout(
        place=(place("lane", 1), place("trough", 1)), route=ROUTE, sensor=(sensor("p", "serve.1"),)
    )
    assert _caught(profile, "trough.1") == [("serve", "serve.1")]


def test_no_ball_is_caught_where_one_is_already():
    """A point that holds a ball takes no second; a jam is no way in."""
    profile = layout(
        place=(place("trough", 2, jam=True),), route=ROUTE,
        sensor=(sensor("p1", "serve.1"), sensor("p2", "serve.2"), sensor("j", "trough.jam")),
    )  # fmt: skip
    assert _caught(profile, "trough.1", "serve.1") == [("serve", "serve.1 serve.2")]
