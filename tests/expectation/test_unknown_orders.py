"""Places of which nobody knows at which end position 1 is: few are tried each way, many are wide."""

from __future__ import annotations

import itertools

import attrs
import pytest

import simrig
from simrig.expectation.comparison import compare
from simrig.expectation.location import locate
from simrig.expectation.observation import Observation
from simrig.expectation.prediction import expect
from simrig.profile.reader import read
from simrig.world.balls import MOST_UNORDERED
from simrig.world.phases import Conditions, legal_placements


def machine(places, *, seats=3):
    """One ball, or two in the first six, at each of some places in no known order."""
    text = ['format = 1\nid = "many-locks"\n[balls]\ninstalled = 20\nstore = "p-1"\n']
    text += [
        f'[[place]]\nid = "p-{n}"\nkind = "lock"\nseats = {seats}\n' for n in range(1, places + 1)
    ]
    left = 20 - sum(2 if n < 7 else 1 for n in range(1, places + 1))
    row = ", ".join(f"p-{n} = {2 if n < 7 else 1}" for n in range(1, places + 1))
    row += f", playfield = {left}" if left else ""
    text.append('[[place]]\nid = "playfield"\nkind = "playfield"\nseats = "any"\n')
    text.append(f'[[phase]]\nid = "idle"\nplacements = [{{ {row} }}]\n')
    text += [
        f'[[sensor]]\nid = "s-{n}-{k}"\nkind = "micro-switch"\nat = ["p-{n}.{k}"]\n'
        f'contact = "normally open"\naddress = "direct {n * 10 + k}"\n'
        for n in range(1, places + 1)
        for k in range(1, seats + 1)
    ]
    return read("\n".join(text).encode(), "many-locks")


def test_the_number_of_ways_is_bounded():
    """Fourteen places of unknown order are not 2 to the 14th placements."""
    assert len(legal_placements(machine(14), Conditions())) == 2**MOST_UNORDERED


@pytest.mark.parametrize("places", [2, MOST_UNORDERED, MOST_UNORDERED + 1, 14])
def test_what_must_be_read_is_the_same_however_many_there_are(places):
    """By hand: of two balls in three positions the middle one is surely there, of one ball surely
    not; the two ends are either, for want of position 1's end and of nothing else."""
    found = {one.sensor: one for one in expect(machine(places), Conditions()).readings}
    for n in range(1, places + 1):
        assert found[f"s-{n}-2"].reading == ("closed" if n < 7 else "open")
        for k in (1, 3):
            assert found[f"s-{n}-{k}"].reading == "either"
            assert [*found[f"s-{n}-{k}"].depends_on] == [
                f"not known: at which end of the p {n} position 1 is"
            ]


def test_compare_and_locate_take_any_of_the_ends():
    """Filled from the one end at some places and from the other at others: it agrees."""
    profile = machine(14)
    closed = set()
    for n in range(1, 15):
        end = 1 if n % 2 else 3
        closed |= {f"s-{n}-{end}"} | ({f"s-{n}-2"} if n < 7 else set())
    seen = Observation(
        readings={one.id: "closed" if one.id in closed else "open" for one in profile.sensor}
    )
    assert compare(profile, seen, Conditions()).agrees
    (found,) = locate(profile, seen, Conditions()).placements
    assert found.at == {f"p-{n}": 2 if n < 7 else 1 for n in range(1, 15)}
    # Two in a place never leave the middle one out.
    readings = {**seen.readings, "s-1-2": "open", "s-1-3": "closed"}
    assert not compare(profile, Observation(readings=readings), Conditions()).agrees
    assert not locate(profile, Observation(readings=readings), Conditions()).placements


def test_locating_by_each_place_alone_leaves_nothing_out():
    """Against every way to share out the balls of a demo machine, for readings that can be."""
    for name in ("orchard-signal", "basalt-freight"):
        profile = simrig.load(name)
        for phase in profile.phase:
            found = expect(profile, Conditions(phase=phase.id))
            for world in range(len(found.placements)):
                seen = Observation(
                    readings={
                        one.sensor: found.frame.reading(one.sensor, 1 << world)
                        for one in found.readings
                        if found.frame.reading(one.sensor, 1 << world) in ("open", "closed")
                    }
                )
                here = attrs.evolve(Conditions(), phase=phase.id)
                spots = {
                    spot
                    for spot in found.placements[world].spots
                    if not spot.startswith(("playfield.", "tunnel.", "ladder."))
                }
                ways = locate(profile, seen, here).placements
                assert any(spots <= set(one.spots) for one in itertools.islice(ways, 400)), spots
