"""The parts behind one sensor in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from simrig.expectation.parts_behind import Behind
from simrig.expectation.reasons import spots_words
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.reports import wording

MOST_VOLTS: Final = 24.0
SAFETY: Final = (
    "Local codes, the machine's own manual and licensed practice come first. Ohms, plugs and "
    "the iron: only unplugged, stored charge waited out and measured gone."
)


def lines(profile: Profile, found: Behind) -> Iterator[str]:
    """Yield what a technician wants to know before the playfield goes up."""
    sensor = found.sensor
    where = spots_words(profile, sensor) or "no ball works it"
    address = profile.address_of.get(sensor.id)
    kind = profile.kind_of(sensor)
    named = kind.title if kind else "kind not known"
    yield wording.folded(f"{sensor.id}: {sensor.title}, {named}; {where}.")
    yield wording.folded(f"Address: {address or 'not known'}. {_wire(found)}")
    yield ""
    chain = " > ".join(_link(kind, name, sensor.id) for kind, name in found.links)
    yield wording.folded(f"On the way to the reading: {chain}.", "  ")
    for what, names in found.mates:
        yield wording.folded(f"Shares the {what} with {', '.join(names)}.", "  ")
    yield from _resistor(found)
    yield from _setting(found)
    if found.missing:
        yield ""
        yield wording.folded(f"Not stated in the profile: {'; '.join(found.missing)}.", "  ")


def _wire(found: Behind) -> str:
    sensor = found.sensor
    parts = []
    if sensor.connector not in (None, NONE):
        pin = "" if sensor.pin is None else f" pin {sensor.pin}"
        parts.append(f"plug {sensor.connector}{pin}")
    if sensor.wire:
        parts.append(f"wire {sensor.wire}")
    if sensor.beside not in (None, NONE):
        parts.append(f"its parts stand beside the kicker of {sensor.beside}")
    return f"{'; '.join(parts)}." if parts else "Wires not known."


def _link(kind: str, name: str, sensor: str) -> str:
    return kind if name == sensor else f"{kind} {name}"


def _resistor(found: Behind) -> Iterator[str]:
    resistor = found.resistor
    if resistor is None or found.supply_v is None or found.forward_v is None:
        return
    yield ""
    how = "as fitted" if resistor.source == "fitted" else "calculated, next value up"
    yield wording.folded(f"Series resistor ({how}): {resistor.label}.", "  ")
    yield wording.folded(
        f"Emitter: {resistor.current_ma:.0f} mA; the resistor dissipates "
        f"{resistor.dissipation_w:.2f} W. Never bridge across the resistor: the emitter dies. A "
        "lead soldered to its stub is temporary: it owes a follow-up with a new one.",
        "  ",
    )
    if found.supply_v <= MOST_VOLTS:
        yield wording.folded(
            f"Between resistor and emitter, against the return: about {found.forward_v:g} V sound; "
            f"about {found.supply_v:g} V with the emitter open; about 0 V with the resistor or "
            "the bank open. Coils dead, probes clipped on with the power off.",
            "  ",
        )
    else:
        yield "Its supply is above 24 V: it is not measured with the power on."
    yield wording.folded(SAFETY, "  ")


def _setting(found: Behind) -> Iterator[str]:
    if not found.setting:
        return
    yield ""
    yield "To set it:"
    for number, step in enumerate(found.setting, 0):
        yield wording.folded(f"  {step}" if not number else f"  {number}. {step}", "     ")
    if found.window is not None:
        yield wording.folded(f"Pot: {found.window.why()}.", "  ")
        if not found.window.empty:
            margin = found.window.margin(found.window.best_mm)
            yield wording.folded(
                f"There the distance may move by {margin:.0%} either way before it fails, by "
                "estimate.",
                "  ",
            )
    if found.reach is not None:
        low, high = found.reach.usable_mm
        yield wording.folded(
            f"Rated distance {found.sensor.sensing_mm:g} mm: by IEC 60947-5-2 one specimen turns "
            f"on somewhere from {low:.1f} to {high:.1f} mm, surely on up to "
            f"{found.reach.assured_mm[1]:.1f} mm (flat steel plate).",
            "  ",
        )
