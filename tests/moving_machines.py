"""Machines whose balls can be timed, and runs of moves on them, made by Hypothesis."""

from __future__ import annotations

import attrs
from hypothesis import strategies as st

from simrig.profile.machine import Profile
from simrig.profile.wiring import Scan
from simrig.world.moves import apply, moves, start
from simrig.world.phases import Conditions, legal_placements
from tests.generated_profiles import profiles


def _some(draw, low, high):
    return draw(st.none() | st.floats(low, high).map(lambda value: round(value, 2)))


@st.composite
def machines(draw: st.DrawFn) -> Profile:
    """A made machine with any part of its lengths, slopes, heights and scan stated."""
    profile = draw(profiles())
    diameter = draw(st.none() | st.sampled_from((20.0, 27.0)))
    places = tuple(
        attrs.evolve(
            place,
            pitch_mm=diameter and _some(draw, diameter, 40),
            slope_deg=_some(draw, 1, 15),
            contact_width_mm=draw(st.sampled_from((None, "none", 10.0, 15.0))),
        )
        for place in profile.place
    )
    routes = tuple(
        attrs.evolve(
            route,
            length_mm=_some(draw, 20, 900),
            slope_deg=_some(draw, 1, 15),
            entry_speed_mm_s=_some(draw, 0, 4000),
        )
        for route in profile.route
    )
    sensors = tuple(
        attrs.evolve(sensor, beam_height_mm=_some(draw, 5, 20)) for sensor in profile.sensor
    )
    scan = Scan(
        period_ms=draw(st.sampled_from((None, 1, 2.5, 4))),
        debounce_readings=draw(st.sampled_from((None, 1, 3))),
    )
    return attrs.evolve(
        profile,
        balls=attrs.evolve(profile.balls, diameter_mm=diameter),
        place=places,
        route=routes,
        sensor=sensors,
        scan=draw(st.sampled_from((None, scan))),
    )


@st.composite
def runs(draw: st.DrawFn, profile: Profile, most: int = 6):
    """A placement at rest and moves that can be made from it, one after the other."""
    conditions = Conditions(phase=draw(st.sampled_from([row.id for row in profile.phase])))
    here = first = start(profile, draw(st.sampled_from(legal_placements(profile, conditions))))
    made = []
    hand = 1
    for _ in range(draw(st.integers(1, most))):
        possible = moves(profile, here, in_hand=hand)
        if not possible:
            break
        move = draw(st.sampled_from(possible))
        here = apply(profile, here, move)
        hand += (move.verb == "remove") - (move.verb == "feed")
        made.append(move)
    return first, made
