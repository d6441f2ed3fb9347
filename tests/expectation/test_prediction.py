"""Predictions widen with what is unknown, and name it; locating equals brute force."""

from __future__ import annotations

import itertools

import attrs
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.expectation.comparison import compare
from simrig.expectation.location import compositions, home_places, locate
from simrig.expectation.observation import Observation
from simrig.expectation.prediction import expect
from simrig.host.catalogue import Catalogue
from simrig.profile.machine import Profile
from simrig.scan.scanner import links, readings
from simrig.strategies import profiles
from simrig.world.balls import settled
from simrig.world.phases import Conditions
from simrig.world.worlds import worlds

REMOVABLE = {
    "sensor": ("at", "contact", "board", "diode", "address"),
    "place": ("position_1",),
    "board": ("output_closes",),
    "balls": ("store", "extra"),
    "matrix": ("diodes",),
}


def _facts(profile: Profile) -> list[tuple[str, int, str]]:
    found = []
    for table, names in REMOVABLE.items():
        rows = getattr(profile, table)
        for index, row in enumerate(rows if isinstance(rows, tuple) else (rows,)):
            found += [(table, index, name) for name in names if getattr(row, name) is not None]
    return found


def _without(profile: Profile, facts: list[tuple[str, int, str]]) -> Profile:
    for table, index, name in facts:
        rows = getattr(profile, table)
        if isinstance(rows, tuple):
            row = attrs.evolve(rows[index], **{name: None})
            profile = attrs.evolve(profile, **{table: (*rows[:index], row, *rows[index + 1 :])})
        else:
            profile = attrs.evolve(profile, **{table: attrs.evolve(rows, **{name: None})})
    return profile


@given(profiles(), st.data())
@settings(deadline=None, max_examples=300)
def test_unknown_facts_only_widen(profile: Profile, data: st.DataObject) -> None:
    """Facts left out turn readings to either, and never into another definite one; each
    reading that becomes either names what is not known."""
    facts = data.draw(
        st.lists(st.sampled_from(_facts(profile)), min_size=1, max_size=4, unique=True)
    )
    balls = data.draw(st.integers(0, profile.balls.installed + 1))
    conditions = Conditions(phase=data.draw(st.sampled_from(("idle", "locked"))), balls=balls)
    whole = {one.sensor: one for one in expect(profile, conditions).readings}
    less = {one.sensor: one for one in expect(_without(profile, facts), conditions).readings}
    for name, one in whole.items():
        assert less[name].reading in (one.reading, "either")
        if less[name].reading != one.reading:
            assert any(note.startswith("not known") for note in less[name].depends_on)


@given(profiles(), st.data())
@settings(deadline=None, max_examples=60)
def test_a_sound_sheet_agrees(profile: Profile, data: st.DataObject) -> None:
    """The readings of any legal position agree; with all symbols swapped they fit swapped."""
    conditions = Conditions(phase=data.draw(st.sampled_from(("idle", "locked"))))
    found = expect(profile, conditions)
    world = data.draw(st.integers(0, len(found.placements) - 1))
    seen = {one.sensor: found.frame.reading(one.sensor, 1 << world) for one in found.readings}
    sheet = Observation(readings=seen)
    assert compare(profile, sheet, conditions).agrees
    swapped = compare(profile, sheet.inverted(), conditions)
    assert swapped.agrees or swapped.fits[0].differences == 0


def test_a_missing_ball_is_wherever_no_reading_speaks_against_it() -> None:
    """With one ball missing, locate names exactly the spots that a trial of every one allows."""
    for machine in ("tidal-clockwork", "basalt-freight", "orchard-signal"):
        profile = Catalogue().load(machine)
        table = links(profile)
        less = expect(profile, Conditions(balls=profile.balls.installed - 1))
        seen = {one.sensor: one.reading for one in less.readings}
        found = locate(profile, Observation(readings=seen), Conditions())
        (one,) = [way for way in found.placements if way.missing == 1]
        (settled_here,) = less.placements
        allowed = set()
        for spot in profile.spots.values():
            place = profile.row("place", spot.place)
            if spot.id in settled_here.spots or (place is not None and place.captive):
                continue
            if place is not None and place in home_places(profile) and spot.resting:
                continue  # a ball at rest there is one that is not missing
            if place is not None and not place.open_area and (spot.number or 1) > 1:
                continue  # unwatched places fill from their exit end
            trial = attrs.evolve(settled_here, spots=settled_here.spots | {spot.id})
            frame = readings(profile, table, worlds(profile, (trial,)))
            if all(frame.reading(name) == reading for name, reading in seen.items()):
                named = spot.route if spot.id.endswith(".way") else spot.id
                allowed.add(place.id if place is not None and place.open_area else named)
        assert set(one.missing_at) == allowed


def test_placements_equal_brute_force() -> None:
    """Locate keeps exactly the settled positions that give the readings, of all there are."""
    profile = Catalogue().load("basalt-freight")
    table = links(profile)
    ready = expect(profile, Conditions(phase="ready"))
    seen = {one.sensor: one.reading for one in ready.readings}
    found = {
        one.spots for one in locate(profile, Observation(readings=seen), Conditions()).placements
    }
    places = home_places(profile)
    expected = set()
    for numbers in itertools.product(*(range(place.capacity + 1) for place in places)):
        if sum(numbers) > profile.balls.installed:
            continue
        counts = {place.id: number for place, number in zip(places, numbers, strict=True)}
        for placement in settled(profile, counts):
            frame = readings(profile, table, worlds(profile, (placement,)))
            if all(frame.reading(name) == reading for name, reading in seen.items()):
                expected.add(tuple(name for name in profile.spots if name in placement.spots))
    assert found == expected


def test_compositions_count() -> None:
    """The ways to share out balls are as many as a convolution of the places' capacities says."""
    profile = Catalogue().load("basalt-freight")
    places = home_places(profile)
    ways = [1] + [0] * 7
    for place in places:
        ways = [sum(ways[n - k] for k in range(min(n, place.capacity) + 1)) for n in range(8)]
    assert sum(1 for _ in compositions(profile, places, 7, {})) == sum(ways)
