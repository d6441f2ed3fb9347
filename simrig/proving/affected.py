"""Which sensors a repair concerns."""

from __future__ import annotations

from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.effects import Effects
from simrig.profile.machine import Profile
from simrig.profile.naming import near
from simrig.sensing.chain import Part, chains
from simrig.world.worlds import worlds


def concerned(profile: Profile, repaired: Fault | Part | str) -> frozenset[str]:
    """Return the sensors that a repaired part can have changed; none for the coil side.

    ``repaired`` is a fault, a part, KIND:PART with the kind of fault or of part, a part's id or a
    sensor's id.
    Raises ValueError, in words, where the machine has no such part.
    """
    if isinstance(repaired, str):
        return _named(profile, repaired)
    if isinstance(repaired, Fault):
        nowhere = Effects.of(profile, worlds(profile, ()))
        touched = nowhere.interaction(repaired, 1)
        return touched.reaches | touched.meets | frozenset(filter(None, (repaired.sensor,)))
    return frozenset(
        name
        for name, links in chains(profile).items()
        if any(one.part == repaired for one in links)
    )


def _named(profile: Profile, name: str) -> frozenset[str]:
    if profile.row("sensor", name) is not None:
        return frozenset((name,))
    possible = possible_faults(profile)
    faults = [
        one for one in possible if name in (one.name, one.part, f"{one.kind.part}:{one.part}")
    ]
    if not faults:
        known = {one.id for one in profile.sensor} | {one.part for one in possible}
        close = near(name, sorted(known | {one.name for one in possible}))
        hint = f'did you mean "{close}"? ' if close else ""
        raise ValueError(
            f'the machine has no part "{name}"; {hint}name a sensor, a part, or KIND:PART as '
            "simrig diagnose --all gives it"
        )
    found: frozenset[str] = frozenset()
    for fault in faults:
        found |= concerned(profile, fault)
    return found
