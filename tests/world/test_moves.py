"""Balls on the move: conserved, one to a position, no gap at rest."""

from __future__ import annotations

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
