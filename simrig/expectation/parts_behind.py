"""Everything about the parts behind one sensor: its chain, its wires, what to order, how to set it."""

from __future__ import annotations

import attrs

from simrig.profile.components import Sensor
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.sensing.chain import chain
from simrig.sensing.inductive import Bands, PotWindow, bands, pot_window, procedure
from simrig.sensing.resistor import SeriesResistor, resistor_to_order


@attrs.frozen(kw_only=True)
class Behind:
    """The parts behind one sensor.

    ``links`` are its parts in signal order, as kind and id; ``mates`` sensors that share
    something with it, by what they share.  ``resistor`` is its emitter's, where the
    profile states enough; ``setting`` the steps to set an inductive sensor, ``window`` its
    pot's window where distances are stated, ``reach`` the bands of its sensing distance.
    ``missing`` names what the profile would have to state for more.
    """

    sensor: Sensor
    links: tuple[tuple[str, str], ...]
    mates: tuple[tuple[str, tuple[str, ...]], ...]
    resistor: SeriesResistor | None = None
    supply_v: float | None = None
    forward_v: float | None = None
    setting: tuple[str, ...] = ()
    window: PotWindow | None = None
    reach: Bands | None = None
    missing: tuple[str, ...] = ()


def behind(profile: Profile, name: str) -> Behind:
    """Return the parts behind a sensor; raises ValueError for an unknown one."""
    sensor: Sensor | None = profile.row("sensor", name)
    if sensor is None:
        raise ValueError(f'no sensor is called "{name}"')
    technology = profile.technology(sensor)
    links = tuple(dict.fromkeys((one.part.kind, one.part.id) for one in chain(profile, sensor)))
    found = Behind(sensor=sensor, links=links, mates=tuple(_mates(profile, sensor)))
    if technology == "light":
        return _optical(profile, found)
    return _inductive(found) if technology == "proximity" else found


def _mates(profile: Profile, sensor: Sensor) -> list[tuple[str, tuple[str, ...]]]:
    found = []
    for what, key in (
        ("emitter bank", "bank"),
        ("receiver board", "board"),
        ("common return", "common"),
        ("supply", "supply"),
        ("plug", "connector"),
    ):
        shared = getattr(sensor, key)
        if shared in (None, NONE):
            continue
        names = tuple(
            one.id for one in profile.sensor if one.id != sensor.id and getattr(one, key) == shared
        )
        if names:
            found.append((f"{what} {shared}", names))
    here = profile.address_of.get(sensor.id)
    if here is not None and here.in_matrix:
        for axis in ("column", "row"):
            names = tuple(
                name
                for name, other in profile.address_of.items()
                if name != sensor.id
                and other.in_matrix
                and getattr(other, axis) == getattr(here, axis)
            )
            if names:
                found.append((f"{axis} {getattr(here, axis)}", names))
    return found


def _optical(profile: Profile, found: Behind) -> Behind:
    bank = profile.row("bank", found.sensor.bank)
    supply = profile.row("supply", bank.supply) if bank is not None else None
    volts = None if supply is None else supply.volts
    forward = None if bank is None else bank.forward_volts
    current = None if bank is None else bank.current_ma
    fitted = found.sensor.resistor_ohm
    missing = [
        words
        for words, value in (
            ("the voltage of its emitter bank's supply", volts),
            ("the voltage across a lit emitter", forward),
            ("the resistor's value, or the emitter's current", fitted or current),
        )
        if value is None
    ]
    resistor = None
    if volts is not None and forward is not None and not missing:
        try:
            resistor = resistor_to_order(
                supply_v=volts, forward_v=forward, current_ma=current, fitted_ohm=fitted
            )
        except ValueError as error:
            missing.append(f"values that agree ({error})")
    return attrs.evolve(
        found, resistor=resistor, supply_v=volts, forward_v=forward, missing=tuple(missing)
    )


def _inductive(found: Behind) -> Behind:
    sensor = found.sensor
    missing = []
    lit = sensor.indicator
    if lit is None:
        missing.append("what its indicator means")
    steps = procedure(
        lit_when=lit if lit in ("ball near", "no ball near") else "ball near",
        rest_reads=sensor.rest_reads or "open",
        worked_reads=sensor.worked_reads or "closed",
    )
    reach = window = None
    if sensor.sensing_mm is None:
        missing.append("its rated sensing distance")
    else:
        reach = bands(sensor.sensing_mm)
    if sensor.ball_gap_mm is None:
        missing.append("the distance at which a ball passes it")
    elif reach is not None and sensor.ball_gap_mm > 0:
        # No profile states what metal lies near at rest: none nearer than keeps it surely off.
        window = pot_window(ball_gap_mm=sensor.ball_gap_mm, rest_gap_mm=reach.surely_off_mm)
    return attrs.evolve(
        found,
        setting=() if lit is None else steps,
        window=window,
        reach=reach,
        missing=tuple(missing),
    )
