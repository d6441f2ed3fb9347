"""Where the balls lie on the bench, as many worlds at once: empty, fed one by one, all home.

A machine whose balls lie as they should comes once more for each sensor, with that
sensor worked by hand, so that one look at the readings under a fault answers for all of
them.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from typing import Final

import attrs

from simrig.faults.candidates import Fault
from simrig.faults.dispositions import SHAPES, placements_with
from simrig.faults.effects import Effects
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links, scan
from simrig.sensing.chain import contact
from simrig.world.balls import Placement, settled
from simrig.world.phases import Conditions, mechanism_states, phase_of
from simrig.world.worlds import Value, worlds

EMPTY: Final = 0
"""The number of balls that stands for: all loose balls out."""


@attrs.frozen(kw_only=True, eq=False)
class Scene:
    """Positions of the balls on the bench: ``masks`` gives the worlds of each number of balls.

    ``contacts`` and ``cells`` are those of a sound machine.  Where there are ``effects``,
    the positions come once more for each sensor, with that sensor worked by hand: the
    masks of these worlds stand under the sensor and the number.
    """

    everything: int
    worked: Mapping[str, Value]
    masks: Mapping[Hashable, int]
    contacts: Mapping[str, Value] = attrs.field(repr=False)
    cells: Mapping[str, Value] = attrs.field(repr=False)
    effects: Effects | None = attrs.field(default=None, repr=False)


def made_scene(
    profile: Profile, table: Links, store: Place | None, faults: frozenset[Fault]
) -> Scene:
    """Return the positions of the balls on the bench under ball faults.

    ``store`` is the place into which balls are put by hand.
    """
    ordered = sorted(faults, key=lambda fault: fault.name)
    placements: list[Placement] = []
    masks: dict[Hashable, int] = {}

    def add(key: int | str, made: Iterable[Placement]) -> None:
        for placement in made:
            masks[key] = masks.get(key, 0) | 1 << len(placements)
            placements.append(placement)

    phase = phase_of(profile, None) if profile.phase else None
    states = mechanism_states(profile, phase)
    add(EMPTY, [Placement(spots=frozenset(), states=states)])
    if store is not None:
        for number in range(1, min(store.capacity, profile.balls.installed) + 1):
            made = list(settled(profile, {store.id: number}))
            for fault in ordered:
                shape = SHAPES.get(fault.kind.id)
                if shape is not None and fault.part == store.id:
                    made = [other for one in made for other in (list(shape(one, store)) or [one])]
            add(number, [attrs.evolve(one, states=states) for one in made])
    if phase is not None:
        add("home", placements_with(profile, Conditions(), ordered)[:64])
    many = worlds(profile, placements)
    worked = {sensor.id: many.works(sensor) for sensor in profile.sensor}
    if not faults:
        return _by_hand_too(profile, table, worked, masks, len(placements))
    contacts = {
        name: contact(chain, worked[name], many.everything) for name, chain in table.chains.items()
    }
    cells = scan(profile, table, contacts, many.everything).cells
    return Scene(
        everything=many.everything, worked=worked, masks=masks, contacts=contacts, cells=cells
    )


def _by_hand_too(
    profile: Profile,
    table: Links,
    worked: Mapping[str, Value],
    masks: Mapping[Hashable, int],
    count: int,
) -> Scene:
    """Return the scene of a machine whose balls lie as they should."""
    copies = {name: count * number for number, name in enumerate(worked, 1)}
    at_each = sum(1 << shift for shift in (0, *copies.values()))
    held = (1 << count) - 1
    everything = held * at_each
    every = {
        name: Value(
            value.surely * at_each | held << copies[name],
            value.maybe * at_each | held << copies[name],
        )
        for name, value in worked.items()
    }
    effects = Effects.over(profile, every, everything, table)
    return Scene(
        everything=everything,
        worked=every,
        masks={
            **masks,
            **{
                (name, balls): mask << shift
                for name, shift in copies.items()
                for balls, mask in masks.items()
            },
        },
        contacts=effects.contacts,
        cells=effects.healthy.cells,
        effects=effects,
    )
