"""Checks of what carries a signal: supplies, fuses, plugs, wires, contacts, lines, diodes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from simrig.diagnosis.bench_answers import answers
from simrig.diagnosis.bench_case import Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_scene import EMPTY
from simrig.diagnosis.bench_state import MOST_VOLTS, needs_of
from simrig.diagnosis.checks_optical import tapped
from simrig.diagnosis.checks_reading import ANSWERS, GAP, PRESSED, STICK, reached
from simrig.diagnosis.measuring import (
    CLIPPED,
    OHMS,
    OPEN_DOOR,
    RAISED,
    cured,
    measured,
    position,
    replaced,
    stated,
)
from simrig.profile.components import Sensor
from simrig.sensing.chain import Link, Part, contact
from simrig.world.worlds import Value


def supply_checks(ground: Ground) -> Iterator[Check]:
    """Yield the checks of supplies, fuses and common returns."""
    profile = ground.profile
    for supply in profile.supply:
        feeding = [Part("supply", supply.id)]
        if stated(supply.fuse):
            feeding.append(Part("fuse", str(supply.fuse)))
        if supply.volts is not None and supply.volts <= MOST_VOLTS:

            def there(case: Case, parts: tuple[Part, ...] = tuple(feeding)) -> frozenset[str]:
                return frozenset(
                    ("none" if any(case.failed(*part) for part in parts) else "volts",)
                )

            yield Check(
                id=f"supply-{supply.id}",
                title=f"Volts of the {supply.name or supply.id} where its wires come up",
                work="volts", needs=needs_of("volts", **RAISED), minutes=1.5,
                results={"volts": f"about {supply.volts:g} V", "none": "nothing"},
                caution=f"Only here, at {supply.volts:g} V d.c. {CLIPPED}", ground=ground,
                judge=there, parts=frozenset(feeding), volts=supply.volts,
            )  # fmt: skip
    coil_fuses = {bank.fuse for bank in profile.coil_bank}
    for fuse in profile.fuse:
        kind = "coil fuse" if fuse.id in coil_fuses else "fuse"
        yield measured(
            ground, f"fuse-{fuse.id}", f"Take out {fuse.id.replace('-', ' ')} and measure it",
            [Part(kind, fuse.id)], OPEN_DOOR, 0.7, sound=("good", "it conducts"),
            words={"open": "blown: find why before one of the same value and kind goes in"
                   + (f" ({fuse.rating})" if fuse.rating else "")},
        )  # fmt: skip
    for common in profile.return_:
        yield measured(
            ground, f"return-{common.id}", f"Ring the common return {common.id} through",
            [Part("common return", common.id)], RAISED, 2.0,
        )  # fmt: skip
    for bank in profile.bank:
        wire = f" ({bank.return_wire})" if bank.return_wire else ""
        yield measured(
            ground, f"bank-return-{bank.id}",
            f"Ring the return of {bank.name or bank.id}{wire} through",
            [Part("bank return", bank.id)], RAISED, 2.0,
        )  # fmt: skip
    for board in profile.board:
        plugs = [Part("connector", str(plug)) for plug in (board.sensor_plug, board.output_plug)
                 if stated(plug)]  # fmt: skip
        if plugs:
            title = f"Tap the {board.name or board.id} and its plugs"
            yield tapped(ground, f"tap-{board.id}", title, plugs)


def wire_checks(ground: Ground) -> Iterator[Check]:
    """Yield the checks of each sensor's own wire, contact and input."""
    for sensor in ground.profile.sensor:
        if sensor.id not in ground.profile.address_of:
            continue
        chain = ground.table.chains[sensor.id]
        colour = f" ({sensor.wire})" if sensor.wire else ""
        yield measured(
            ground, f"wire-{sensor.id}",
            f"Ring the wire of {sensor.title}{colour} through, to the pin at the controller",
            [Part("wire", sensor.id)], RAISED, 2.0,
        )  # fmt: skip
        if position(chain, ("contact",)) is not None:
            yield _contact(ground, sensor)
        if position(chain, ("sensing head",)) is not None:
            yield from _inductive(ground, sensor)
        yield _bridged(
            ground, f"bridge-{sensor.id}", sensor, _behind_sensor,
            f"Lift the output of {sensor.title} at its terminals, then bridge it with a clip lead "
            "on a switch; read both", RAISED,
        )  # fmt: skip
        if position(chain, ("channel",)) is not None:
            yield _bridged(
                ground, f"channel-{sensor.id}", sensor, _behind_receiver,
                f"Lift the receiver of {sensor.title} at its board, then bridge its pins with a "
                "clip lead on a switch; read both", RAISED,
            )  # fmt: skip
        if position(chain, ("input",)) is not None:
            yield _bridged(
                ground, f"bridge-input-{sensor.id}", sensor, _behind_wire,
                f"Lift the input of {sensor.title} at the controller, then bridge it with a clip "
                "lead on a switch; read both", OPEN_DOOR,
            )  # fmt: skip


def _behind_sensor(chain: tuple[Link, ...]) -> int:
    """Where what a sensor hands on begins: behind its contact, output or board."""
    wire = position(chain, ("wire",))
    assert wire is not None
    kinds = ("contact", "receiver", "channel", "output", "supply", "fuse", "board")
    place = position(chain[:wire], kinds, last=True)
    return 0 if place is None else place + 1


def _behind_receiver(chain: tuple[Link, ...]) -> int:
    """Where the board's channel begins: behind the receiver and its plug."""
    channel = position(chain, ("channel",))
    assert channel is not None
    return channel


def _behind_wire(chain: tuple[Link, ...]) -> int:
    """Where the input begins: behind the wire and every plug."""
    wire = position(chain, ("wire",))
    assert wire is not None
    plug = position(chain, ("connector",), last=True)
    place = wire if plug is None or plug < wire else plug
    fed = position(chain[wire:], ("supply", "fuse"))
    return place + 1 if fed is None else min(place + 1, wire + fed)


def _bridged(
    ground: Ground,
    name: str,
    sensor: Sensor,
    keep: Callable[[tuple[Link, ...]], int],
    title: str,
    where: Mapping[str, str],
) -> Check:
    lifted, joined = (replaced(sensor.id, keep, action) for action in ("cuts", "forces"))

    def judge(case: Case) -> frozenset[str]:
        return answers(case, sensor.id, lifted, joined, (EMPTY,))

    return Check(
        id=name, title=title, work="clip", needs=needs_of("clip", **where), minutes=2.0,
        results=ANSWERS, caution=CLIPPED, ground=ground, judge=judge,
        sensors=frozenset((sensor.id,)),
    )  # fmt: skip


def _contact(ground: Ground, sensor: Sensor) -> Check:
    part = Part("contact", sensor.id)

    def judge(case: Case) -> frozenset[str]:
        link = next(one for one in case.table.chains[sensor.id] if one.part == part)
        sound = next(one for one in ground.table.chains[sensor.id] if one.part == part)
        rest, worked = (contact((link,), Value(way, way), 1) for way in (0, 1))
        right = contact((sound,), Value(0, 0), 1)
        if rest.surely != rest.maybe or right.surely != right.maybe:
            return frozenset()
        if rest == worked:
            fault = case.failed(*part)
            wide = fault is not None and fault.kind.id == GAP
            open_ = PRESSED if wide else "stays-open"
            return frozenset(("stays-closed" if rest.surely else open_,))
        return frozenset(("works" if rest == right else "inverted",))

    return Check(
        id=f"contact-{sensor.id}",
        title=f"Meter across the contact of {sensor.title}; work it, then press it itself closed",
        work="ohms", needs=needs_of("ohms", **reached(ground, sensor, parts=True)), minutes=1.0,
        results={"works": "it opens and closes as it must", "stays-open": "it never closes",
                 "stays-closed": "it never opens", "inverted": "it works the other way round",
                 PRESSED: "it closes only when pressed itself: the gap"},
        caution=OHMS, ground=ground, judge=judge, parts=frozenset((part,)),
        sensors=frozenset((sensor.id,)),
    )  # fmt: skip


def _inductive(ground: Ground, sensor: Sensor) -> Iterator[Check]:
    head = Part("sensing head", sensor.id)
    feeding = [
        link.part
        for link in ground.table.chains[sensor.id]
        if link.part.kind in ("supply", "fuse") and link.part.id in (
            sensor.supply, getattr(ground.profile.row("supply", sensor.supply), "fuse", None))
    ]  # fmt: skip

    def judge(case: Case) -> frozenset[str]:
        dead = any(case.failed(*part) for part in feeding)
        return frozenset(("dark" if dead else "follows",))

    if sensor.indicator in ("ball near", "no ball near"):
        lit = "with a ball near" if sensor.indicator == "ball near" else "without a ball near"
        yield Check(
            id=f"indicator-{sensor.id}",
            title=f"Turn the pot of {sensor.title} to and fro and watch its indicator "
            f"(lit {lit}); set it back to where it was",
            work="reach", needs=needs_of("reach", door="open", playfield="down", balls="out"),
            minutes=1.5, results={"follows": "it goes on and off", "dark": "it stays dark"},
            caution=STICK, ground=ground, judge=judge, parts=frozenset(feeding),
        )  # fmt: skip
    yield cured(
        ground, f"set-{sensor.id}",
        f"Set {sensor.title} again by its pot, then roll a ball across", "reach",
        {"door": "open", "playfield": "down", "balls": "out"}, 3.0,
        lambda fault: fault.component == head, (sensor.id,), caution=STICK,
    )  # fmt: skip
