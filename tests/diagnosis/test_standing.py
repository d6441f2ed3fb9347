"""What stands apart from other faults: laid beside them, never worked out with them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.effects import Effects
from simrig.profile.machine import Profile
from simrig.scan.scanner import links
from simrig.world.worlds import Value
from tests.diagnosis.small_machines import machines

LINES = ("shorts diode", "reverses diode", "bridges lines", "exchanges lines", "holds line",
         "cuts line", "opens line", "exchanges leads")  # fmt: skip
CONTACTS = ("forces", "opens", "breaks", "inverts", "opens diode")


def _effects(profile: Profile, chance: Random) -> Effects:
    """Over eight worlds in each of which any switches are worked, surely or perhaps."""
    worked = {}
    for sensor in profile.sensor:
        surely = chance.getrandbits(8)
        worked[sensor.id] = Value(surely, surely | chance.choice((0, 0, chance.getrandbits(8))))
    return Effects.over(profile, worked, 0xFF, links(profile))


def _within(effects: Effects, cells: Mapping[str, Value], asked: int) -> dict[str, Value]:
    """The cells that read otherwise in some of the worlds asked for."""
    found = {}
    for name, value in cells.items():
        sound = effects.healthy.cells[name]
        if (value.surely ^ sound.surely | value.maybe ^ sound.maybe) & asked:
            found[name] = Value(value.surely & asked, value.maybe & asked)
    return found


def _stands_apart(effects: Effects, one: Fault, others: Sequence[Fault], asked: int) -> bool:
    change = effects.change(one)
    own = effects.standing.own(change)
    exposure = effects.exposed([effects.change(other) for other in others], asked)
    if not effects.standing.plain(change) or own & exposure.bears:
        return False
    return len(own & exposure.near) < 2 or not effects.interaction(one, 3).closes


@given(profile=machines(), seed=st.integers(0, 2**16))
@settings(max_examples=100)
def test_what_stands_apart_changes_what_it_changes_alone(profile: Profile, seed: int) -> None:
    """Beside one or two others it changes its cells as by itself, and they change theirs, in the
    worlds that were asked for: faults of lines with faults that close and open switches."""
    chance = Random(seed)
    effects = _effects(profile, chance)
    every = possible_faults(profile)
    lines = [one for one in every if one.kind.effect in LINES] or list(every)
    contacts = [one for one in every if one.kind.effect in CONTACTS]
    for _ in range(60):
        drawn = [chance.choice(lines), chance.choice(contacts), chance.choice((*lines, *contacts))]
        faults = list({one.component: one for one in drawn}.values())
        asked = effects.everything & chance.choice((-1, chance.getrandbits(8)))
        for one in faults:
            others = [other for other in faults if other is not one]
            if others and _stands_apart(effects, one, others, asked):
                apart = {**effects.changed(others), **effects.changed([one])}
                together = _within(effects, effects.changed(faults), asked)
                assert together == _within(effects, apart, asked), [fault.name for fault in faults]
