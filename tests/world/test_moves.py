"""Balls on the move: conserved, one to a position, no gap at rest."""

from __future__ import annotations

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.profile.machine import Profile
from simrig.scan.scanner import links, readings
from simrig.sensing.chain import sense
from simrig.strategies import profiles
from simrig.world import moves
from simrig.world.balls import Placement, count_by_place, fill
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds
from tests.world.small_layouts import layout
from tests.world.small_layouts import place as made_place


def _play(data: st.DataObject, profile: Profile) -> tuple[list[Placement], list[moves.Move]]:
    placement = legal_placements(profile, Conditions())[0]
    passed, made, hand = [placement], [], 0
    for _ in range(data.draw(st.integers(1, 8))):
        possible = moves.moves(profile, placement, in_hand=hand)
        if not possible:
            break
        move = data.draw(st.sampled_from(possible))
        placement = moves.apply(profile, placement, move)
        hand += (move.verb == "remove") - (move.verb == "feed")
        passed.append(placement)
        made.append(move)
    return passed, made


@given(profiles(), st.data())
@settings(deadline=None, max_examples=60)
def test_balls_are_conserved(profile: Profile, data: st.DataObject) -> None:
    """Balls in the machine and balls in the hand always add up to those installed."""
    passed, made = _play(data, profile)
    hand = sum((m.verb == "remove") - (m.verb == "feed") for m in made)
    assert passed[-1].balls + hand == profile.balls.installed


@given(profiles(), st.data())
@settings(deadline=None, max_examples=60)
def test_no_gap_at_rest(profile: Profile, data: st.DataObject) -> None:
    """After any moves the balls of a place lie together, from its exit end."""
    passed, _ = _play(data, profile)
    for placement in passed:
        counts = count_by_place(profile, placement)
        for place in profile.place:
            here = {spot for spot in placement.spots if profile.spots[spot].place == place.id}
            first_to_last = list(range(1, place.capacity + 1))
            if place.position_1 == "far end" and not place.open_area:
                first_to_last.reverse()
            taken = counts.get(place.id, 0)
            assert here == {f"{place.id}.{number}" for number in first_to_last[:taken]}


@given(profiles(), st.data())
@settings(deadline=None, max_examples=60)
def test_contacts_change_only_where_the_move_touches(profile: Profile, data: st.DataObject) -> None:
    """A move changes contacts only at the two places it joins, and readings elsewhere only
    through positions without diodes."""
    passed, made = _play(data, profile)
    table = links(profile)
    many = worlds(profile, passed)
    contacts = sense(profile, table.chains, many)
    frame = readings(profile, table, many)
    for index, move in enumerate(made):
        touched = {move.subject}
        route = profile.row("route", move.subject)
        if route is not None:
            touched |= {route.from_, *route.to}
        for sensor in profile.sensor:
            cause = next(iter(sensor.follows or ()), None)
            if sensor.spots:
                cause = profile.spots[sensor.spots[0]].place
            before, after = (contacts[sensor.id].surely >> (index + k) & 1 for k in (0, 1))
            if cause not in touched:
                assert before == after
            if before == after and profile.matrix and profile.matrix.diodes == "all":
                cell = frame.cells[sensor.id].surely
                assert cell >> index & 1 == cell >> (index + 1) & 1


@given(profiles())
@settings(deadline=None, max_examples=30)
def test_an_empty_place_gives_no_ball(profile: Profile) -> None:
    """A move out of an empty place is refused, and says which place is empty."""
    nothing = Placement(spots=frozenset())
    with pytest.raises(moves.IllegalMoveError, match=r"launcher is empty"):
        moves.apply(profile, nothing, "launch")


def test_more_balls_than_seats_do_not_fit() -> None:
    """A place refuses more balls than it holds, and says how many it holds."""
    from simrig.profile.layout import Place

    place = Place(id="lock", kind="lock", seats=2, position_1="exit end")
    with pytest.raises(ValueError, match="lock holds 2; 3 do not fit"):
        fill(place, 3)


def _spots(placement: Placement) -> list[str]:
    return sorted(placement.spots)


def test_every_move_of_a_small_machine() -> None:
    """By hand: with three balls in the trough and none in the hand these can be made."""
    profile = layout()
    placement = moves.start(profile, Placement(spots={"trough.1", "trough.2", "trough.3"}))
    assert placement.states == (("gate", frozenset({"up"})),)
    still = ["remove trough", "set gate up", "set gate down", "set post in", "set post out"]
    made = [str(move) for move in moves.moves(profile, placement)]
    assert made == ["take serve", *still]
    fed = [str(move) for move in moves.moves(profile, placement, in_hand=1)]
    assert fed == [
        "take serve",
        "remove trough",
        "feed lane",
        "feed lock",
        "feed field",
        *still[1:],
    ]
    lane = moves.apply(profile, placement, "serve")
    assert _spots(lane) == ["lane.1", "trough.1", "trough.2"]
    assert lane.states == placement.states
    made = [str(move) for move in moves.moves(profile, lane)]
    assert made[:3] == ["take shot field", "take shot lock", "remove trough"]


def test_a_route_that_needs_a_state() -> None:
    """The lock-shot wants the gate down: refused while it is up, or may be either."""
    profile = layout()
    placement = moves.start(profile, Placement(spots={"field.1"}))
    with pytest.raises(moves.IllegalMoveError, match="lock shot needs the gate to stand down"):
        moves.apply(profile, placement, "lock-shot")
    either = attrs.evolve(placement, states=[("gate", frozenset({"up", "down"}))])
    with pytest.raises(moves.IllegalMoveError, match="needs the gate to stand down"):
        moves.apply(profile, either, "lock-shot")
    down = moves.apply(profile, placement, "set gate down")
    assert down.states == (("gate", frozenset({"down"})),)
    assert _spots(moves.apply(profile, down, "lock-shot")) == ["lock.1"]


def test_where_a_route_may_end_in_two_places() -> None:
    """The one named, the first if none is named, and no other."""
    profile = layout()
    placement = Placement(spots={"lane.1"}, missing=2)
    assert _spots(moves.apply(profile, placement, "shot")) == ["field.1"]
    assert _spots(moves.apply(profile, placement, "shot lock")) == ["lock.1"]
    assert moves.apply(profile, placement, "shot").missing == 2
    with pytest.raises(moves.IllegalMoveError, match="shot ends at field or lock, not at trough"):
        moves.apply(profile, placement, "take shot trough")


@pytest.mark.parametrize(
    ("text", "move"),
    [
        ("take shot lock", ("take", "shot", "lock")),
        ("take shot", ("take", "shot", None)),
        ("shot lock", ("take", "shot", "lock")),
        ("serve", ("take", "serve", None)),
        ("feed  lane", ("feed", "lane", None)),
        ("set gate down", ("set", "gate", "down")),
    ],
)
def test_moves_as_people_write_them(text: str, move: tuple[str, str, str | None]) -> None:
    """A verb with what it concerns, or a route alone."""
    verb, subject, target = move
    assert moves.parse(layout(), text) == moves.Move(verb=verb, subject=subject, target=target)


@pytest.mark.parametrize("text", ["", "feed", "jump", "set gate down now", "shot lock now"])
def test_what_is_no_move(text: str) -> None:
    """Anything else is refused with the routes that there are."""
    with pytest.raises(
        moves.IllegalMoveError,
        match=r"is not a move; wanted a route \(serve, shot, drain, lock-shot\), feed PLACE",
    ):
        moves.parse(layout(), text)
    with pytest.raises(moves.IllegalMoveError, match=r"a route \(none yet\)"):
        moves.parse(layout(route=()), text)


@pytest.mark.parametrize(
    ("verb", "subject", "target", "message"),
    [
        ("take", "leap", None, 'no route called "leap"'),
        ("feed", "attic", None, 'no place called "attic"'),
        ("remove", "attic", None, 'no place called "attic"'),
        ("remove", "lock", None, "the lock is empty; no ball can leave it"),
        ("feed", "lane", None, "the lane is full; it holds 1"),
        ("feed", "well", None, "the well keeps its captive ball; no other goes in"),
        ("set", "hatch", "open", 'no mechanism called "hatch"'),
        ("set", "gate", "left", "the gate can stand: up, down"),
        ("set", "gate", None, "the gate can stand: up, down"),
    ],
)
def test_moves_that_cannot_be_made(
    verb: str, subject: str, target: str | None, message: str
) -> None:
    """Each says in words why not."""
    profile = layout()
    wells = (made_place("well", 2, captive=1, rest_end="exit end"), *profile.place)
    profile = attrs.evolve(profile, place=wells)
    placement = Placement(spots={"lane.1"})
    move = moves.Move(verb=verb, subject=subject, target=target)
    with pytest.raises(moves.IllegalMoveError, match=message):
        moves.apply(profile, placement, move)
    assert not any(one.subject == "well" for one in moves.moves(profile, placement, in_hand=1))


def test_a_ball_on_the_way_is_let_settle_first() -> None:
    """No move is made past a ball that hangs on a route."""
    placement = Placement(spots={"trough.1", "serve.2", "serve.way"})
    with pytest.raises(
        moves.IllegalMoveError, match=r"still at serve\.2, serve\.way; let it settle"
    ):
        moves.apply(layout(), placement, "serve")


def test_the_last_seat_is_a_seat() -> None:
    """A place takes balls until it is full, and gives them until it is empty."""
    profile = layout()
    placement = Placement(spots=())
    for number in (1, 2):
        placement = moves.apply(profile, placement, "feed lock")
        assert _spots(placement) == [f"lock.{n}" for n in range(1, number + 1)]
    with pytest.raises(moves.IllegalMoveError, match="the lock is full; it holds 2"):
        moves.apply(profile, placement, "feed lock")
    assert _spots(moves.apply(profile, placement, "remove lock")) == ["lock.1"]
