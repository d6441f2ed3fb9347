"""Checks of beams: emitter, resistor, aim, receiver, with what each link lets through."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from simrig.diagnosis.bench_answers import answers
from simrig.diagnosis.bench_case import Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_scene import EMPTY
from simrig.diagnosis.bench_state import MOST_VOLTS, needs_of
from simrig.diagnosis.checks_reading import ANSWERS, BEAM_EYES, STICK, below, reached
from simrig.diagnosis.measuring import (
    CLIPPED,
    LOOSE,
    RAISED,
    cured,
    measured,
    position,
    replaced,
    stated,
)
from simrig.faults.candidates import Fault
from simrig.profile.components import Sensor
from simrig.sensing.chain import Link, Part, contact
from simrig.world.worlds import Value

FORWARD_VOLTS = 1.2
"""About what stands across a lit infra-red emitter: common practice, no source."""


def beam_checks(ground: Ground) -> Iterator[Check]:
    """Yield the checks of every beam."""
    for sensor in ground.profile.sensor:
        if ground.profile.technology(sensor) != "light":
            continue
        yield from _by_eye(ground, sensor)
        yield from _emitter(ground, sensor)
        yield _receiver(ground, sensor)
        if ground.profile.row("bank", sensor.bank) is None:
            yield tapped(
                ground, f"tap-{sensor.id}", f"Tap the emitter of {sensor.title}",
                [Part("emitter joint", sensor.id)],
            )  # fmt: skip
    for bank in ground.profile.bank:
        sensors = [sensor for sensor in ground.profile.sensor if sensor.bank == bank.id]
        if sensors:
            yield tapped(
                ground, f"tap-{bank.id}", f"Tap the emitter boards of {bank.name or bank.id}",
                [Part("emitter joint", sensor.id) for sensor in sensors]
                + ([Part("connector", str(bank.plug))] if stated(bank.plug) else []),
            )  # fmt: skip


def tapped(
    ground: Ground,
    name: str,
    title: str,
    parts: list[Part],
    where: Mapping[str, str] = RAISED,
) -> Check:
    """Return the check that taps a board or a plug and watches for a reading that changes."""
    among = frozenset(parts)

    def judge(case: Case) -> frozenset[str]:
        loose = any(
            fault.kind.id in LOOSE and Part(*fault.component) in among
            for fault in (*case.faults, *case.hidden)
        )
        return frozenset(("changes" if loose else "steady",))

    return Check(
        id=name, title=title + " with the handle of a screwdriver and watch the readings",
        work="reach", needs=needs_of("reach", **where), minutes=1.0,
        results={"changes": "a reading changes", "steady": "nothing changes"},
        caution=STICK, ground=ground, judge=judge, parts=among, may_stay="steady",
    )  # fmt: skip


def _by_eye(ground: Ground, sensor: Sensor) -> Iterator[Check]:
    beam = Part("beam", sensor.id)

    def seen(case: Case) -> frozenset[str]:
        fault = case.failed(*beam)
        return frozenset(("object" if fault is not None and obstructs(fault) else "clear",))

    def obstructs(fault: Fault) -> bool:
        return fault.component == beam and fault.kind.id == "beam-obstructed"

    where = {"balls": "out"} if below(ground, sensor) else {}
    yield Check(
        id=f"look-{sensor.id}", title=f"Look along the beam of {sensor.title} with a torch",
        work="look", needs=needs_of("look", **where), minutes=0.5,
        results={"object": "something is in it: coils proven dead, take it out with a stick",
                 "clear": "nothing is in it"},
        caution="", ground=ground, judge=seen, parts=frozenset((beam,)), heals=obstructs,
    )  # fmt: skip
    yield cured(
        ground, f"wipe-{sensor.id}",
        f"Wipe emitter and receiver of {sensor.title} with a cloth on a stick; watch the reading",
        "reach", {"door": "open", "balls": "out", "playfield": "down"}, 1.0,
        lambda fault: fault.component == beam and fault.kind.id == "beam-dirty",
        (sensor.id,), caution=STICK,
    )  # fmt: skip
    yield cured(
        ground, f"aim-{sensor.id}",
        f"Move emitter and receiver of {sensor.title} a little in their holders; watch the reading",
        "reach", reached(ground, sensor), 3.0,
        lambda fault: fault.component == beam and fault.kind.id == "beam-misaligned",
        (sensor.id,), caution=f"{STICK} {BEAM_EYES}",
    )  # fmt: skip


def _lit(sensor: str) -> Callable[[Case], frozenset[str]]:
    """The judge of a camera: the emitter is lit if every link up to it passes."""

    def judge(case: Case) -> frozenset[str]:
        chain = case.table.chains[sensor]
        place = position(chain, ("emitter",))
        assert place is not None
        value = contact(chain[: place + 1], Value(0, 0), 1)
        return frozenset(
            [word for word, there in (("lit", value.maybe), ("dark", not value.surely)) if there]
        )

    return judge


def _volts(sensor: str) -> Callable[[Case], frozenset[str]]:
    """The judge of the volts behind the resistor.

    Where no current comes through the resistor there is nothing; where the emitter or
    its joint lets none go on, the full supply stands; a shorted emitter takes it all.
    """

    def judge(case: Case) -> frozenset[str]:
        chain = case.table.chains[sensor]
        resistor, emitter = position(chain, ("resistor",)), position(chain, ("emitter",))
        assert resistor is not None
        assert emitter is not None
        if not contact(chain[: resistor + 1], Value(0, 0), 1).surely:
            return frozenset(("none",))
        if contact(chain[resistor + 1 : emitter + 1], Value(1, 1), 1).surely:
            return frozenset(("forward",))
        fault = case.failed("emitter", sensor)
        joint = case.failed("emitter joint", sensor)
        shorted = fault is not None and fault.kind.id == "emitter-shorted" and joint is None
        return frozenset(("none" if shorted else "full",))

    return judge


def _emitter(ground: Ground, sensor: Sensor) -> Iterator[Check]:
    profile, chain = ground.profile, ground.table.chains[sensor.id]
    place = position(chain, ("emitter",))
    assert place is not None
    up_to = frozenset(link.part for link in chain[: place + 1])
    yield Check(
        id=f"camera-{sensor.id}",
        title=f"Look at the emitter of {sensor.title} through a camera that sees near "
        "infra-red; prove the camera first on a beam that works",
        work="reach", needs=needs_of("reach", **reached(ground, sensor)), minutes=1.0,
        results={"lit": "the emitter glows", "dark": "it is dark, and the other beam glowed"},
        caution=BEAM_EYES, ground=ground, judge=_lit(sensor.id), parts=up_to,
    )  # fmt: skip
    bank = profile.row("bank", sensor.bank)
    supply = profile.row("supply", bank.supply) if bank is not None else None
    if supply is not None and supply.volts is not None and supply.volts <= MOST_VOLTS:
        forward = bank.forward_volts or FORWARD_VOLTS
        yield Check(
            id=f"volts-{sensor.id}",
            title=f"Volts between resistor and emitter of {sensor.title}, against the return",
            work="volts", needs=needs_of("volts", **RAISED), minutes=2.0,
            results={"forward": f"about {forward:g} V", "full": f"about {supply.volts:g} V, "
                     "the full supply", "none": "nothing"},
            caution=f"Only here, at {supply.volts:g} V d.c. {CLIPPED}", ground=ground,
            judge=_volts(sensor.id), parts=up_to, volts=supply.volts,
        )  # fmt: skip
    if bank is not None or sensor.resistor_ohm is not None:
        value = f"{sensor.resistor_ohm:g} ohm" if sensor.resistor_ohm else "the value on its rings"
        yield measured(
            ground, f"resistor-{sensor.id}", f"Meter across the series resistor of {sensor.title}",
            [Part("resistor", sensor.id)], RAISED, 1.0,
            sound=("value", f"about {value}"), words={"open": "open"},
        )  # fmt: skip
    yield measured(
        ground, f"emitter-{sensor.id}", f"Diode test across the emitter of {sensor.title}",
        [Part("emitter", sensor.id)], RAISED, 1.5,
        sound=("conducts", "about a volt one way, nothing the other"),
        words={"open": "nothing both ways", "short": "a short both ways"},
    )  # fmt: skip
    joint = Part("emitter joint", sensor.id)

    def cracked(case: Case) -> frozenset[str]:
        return frozenset(("cracked" if joint in case.parts else "sound",))

    yield Check(
        id=f"joint-{sensor.id}",
        title=f"Look at the solder joints of {sensor.title}'s emitter through a magnifier",
        work="plugs", needs=needs_of("plugs", **RAISED), minutes=1.5,
        results={"cracked": "a ring around a lead: cracked", "sound": "all joints are sound"},
        caution="", ground=ground, judge=cracked, parts=frozenset((joint,)),
    )  # fmt: skip


def _receiver(ground: Ground, sensor: Sensor) -> Check:
    """Hold an emitter that is known good to the receiver, then take it away."""

    def behind_beam(chain: tuple[Link, ...]) -> int:
        place = position(chain, ("beam",))
        assert place is not None
        return place + 1

    dark = replaced(sensor.id, behind_beam, "cuts")
    lit = replaced(sensor.id, behind_beam, "forces")

    def judge(case: Case) -> frozenset[str]:
        return answers(case, sensor.id, dark, lit, (EMPTY,))

    return Check(
        id=f"light-{sensor.id}",
        title=f"Hold a known-good lit emitter to the receiver of {sensor.title}, then cover it; "
        "watch the reading",
        work="reach", needs=needs_of("reach", **reached(ground, sensor)), minutes=2.0,
        results=ANSWERS, caution=f"{STICK} {BEAM_EYES}", ground=ground, judge=judge,
        sensors=frozenset((sensor.id,)),
    )  # fmt: skip
