"""Rules over what feeds sensors and coils: supplies, banks, boards, plugs, fuses, the interlock."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from simrig.profile.checking_names import uses
from simrig.profile.keys import NONE, attribute_of
from simrig.profile.naming import words
from simrig.profile.wiring import Connector
from simrig.vetting.rule import Found, Path, Rule
from simrig.vetting.subject import Subject

_TOLERANCE: Final = 0.25
"""Resistors, emitters and supplies spread; more than this is a wrong figure (common practice, no
source)."""

_MEASURED_VOLTS: Final = 24
"""Supplies above it are not measured at the bench."""

_COIL_OHMS: Final = (1.5, 250.0)  # common practice, no source
_PARTS: Final = ("supply", "fuse", "connector", "return", "inputs", "coil_bank")


def in_no_bank(subject: Subject) -> Iterator[Found]:
    if not subject.profile.bank:
        return
    for index, sensor in enumerate(subject.profile.sensor):
        if subject.technology(sensor) == "light" and sensor.bank is None:
            yield Found(
                path=("sensor", index),
                message="this opto is in none of the emitter banks; say which bank feeds it",
                about=(sensor.id,),
            )


def across_supplies(subject: Subject) -> Iterator[Found]:
    for key in ("plug", "fuse"):
        met: dict[str, tuple[str, str]] = {}
        for index, bank in enumerate(subject.profile.bank):
            shared = getattr(bank, key)
            if shared in (None, NONE) or bank.supply is None:
                continue
            supply, other = met.setdefault(shared, (bank.supply, bank.id))
            if supply != bank.supply:
                yield Found(
                    path=("bank", index, key),
                    message=f"{shared} feeds {other} from {supply} and this bank from {bank.supply}; "
                    f"one {key} lies in one supply: mend the supply or the {key}",
                    about=(bank.id, shared),
                )


def feeds_nothing(subject: Subject) -> Iterator[Found]:
    light = [sensor for sensor in subject.profile.sensor if subject.technology(sensor) == "light"]
    for table in ("bank", "board"):
        if any(getattr(sensor, table) is None for sensor in light):
            continue
        for index, row in enumerate(getattr(subject.profile, table)):
            if all(getattr(sensor, table) != row.id for sensor in light):
                yield Found(
                    path=(table, index),
                    message=f"no opto is on this {words(table)}; name it at its optos, or take it "
                    "out",
                    about=(row.id,),
                )


def current_wrong(subject: Subject) -> Iterator[Found]:
    for number, bank in enumerate(subject.profile.bank):
        supply = subject.profile.row("supply", bank.supply)
        volts = supply.volts if supply is not None else None
        forward, stated = bank.forward_volts, bank.current_ma
        if volts is None or forward is None or stated is None or forward >= volts:
            continue
        wrong = []
        for index, sensor in enumerate(subject.profile.sensor):
            if sensor.bank == bank.id and sensor.resistor_ohm is not None:
                flows = (volts - forward) / sensor.resistor_ohm * 1000
                if abs(flows - stated) > _TOLERANCE * stated:
                    wrong.append((index, sensor, flows))
        if not wrong:
            continue
        index, sensor, flows = wrong[0]
        fed = sum(one.bank == bank.id for one in subject.profile.sensor)
        whole = len(wrong) > 1 and len(wrong) == fed
        yield Found(
            path=("bank", number, "current_ma") if whole else ("sensor", index, "resistor_ohm"),
            message=f"through {sensor.resistor_ohm:g} ohm from {volts:g} V with {forward:g} V across "
            f"the emitter flow {flows:.3g} mA; the bank states {stated:g} mA; mend one of them",
            about=(bank.id, sensor.id),
        )


def supply_too_low(subject: Subject) -> Iterator[Found]:
    for index, bank in enumerate(subject.profile.bank):
        supply = subject.profile.row("supply", bank.supply)
        if supply is None or supply.volts is None or bank.forward_volts is None:
            continue
        if bank.forward_volts >= supply.volts:
            yield Found(
                path=("bank", index, "forward_volts"),
                message=f"found {bank.forward_volts:g}; {supply.id} has {supply.volts:g} V: no "
                "emitter would light; mend one of the two",
                about=(bank.id,),
            )


def supply_high(subject: Subject) -> Iterator[Found]:
    for index, supply in enumerate(subject.profile.supply):
        if supply.volts is not None and supply.volts > _MEASURED_VOLTS:
            yield Found(
                path=("supply", index, "volts"),
                message=f"found {supply.volts:g}; sensors are fed with at most {_MEASURED_VOLTS} V "
                "d.c., and more is not measured with the power on; is it a coil bank?",
                about=(supply.id,),
            )


def _likes(plug: Connector) -> tuple[str, ...]:
    return plug.alike if isinstance(plug.alike, tuple) else ()


def alike_one_way(subject: Subject) -> Iterator[Found]:
    for index, plug in enumerate(subject.profile.connector):
        for place, name in enumerate(_likes(plug)):
            other = subject.profile.row("connector", name)
            back = _likes(other)
            if name == plug.id or (other.alike is not None and plug.id not in back):
                yield Found(
                    path=("connector", index, "alike", place),
                    message=f"{name} is not said to be like {plug.id}"
                    if name != plug.id
                    else "a plug is not exchanged with itself; take it out",
                    about=(plug.id, name),
                )


def alike_differs(subject: Subject) -> Iterator[Found]:
    for index, plug in enumerate(subject.profile.connector):
        for place, name in enumerate(_likes(plug)):
            other = subject.profile.row("connector", name)
            if plug.pins is None or other.pins is None or plug.pins <= other.pins:
                continue
            yield Found(
                path=("connector", index, "alike", place),
                message=f"{plug.id} has {plug.pins} pins and {name} {other.pins}: they cannot be "
                "exchanged; mend the pins, or take it out",
                about=(plug.id, name),
            )


def not_used(subject: Subject) -> Iterator[Found]:
    named = {(table, use.name) for table, use in uses(subject.profile)}
    named |= {
        ("inputs", address.board)
        for address in subject.profile.address_of.values()
        if address.board is not None
    }
    for table in _PARTS:
        for index, row in enumerate(getattr(subject.profile, attribute_of(table))):
            if (table, row.id) not in named:
                yield Found(
                    path=(table, index),
                    message=f"nothing names this {words(table)}; name it where it belongs, or take "
                    "it out",
                    about=(row.id,),
                )


def interlock_denied(subject: Subject) -> Iterator[Found]:
    interlock = subject.profile.interlock
    if interlock is None or interlock.fitted is not False:
        return
    for index, bank in enumerate(subject.profile.coil_bank):
        if bank.interlocked:
            yield Found(
                path=("coil_bank", index, "interlocked"),
                message="found true; the machine is said to have no interlock; look: taken for "
                "there, an interlock that is not leaves coils live at the open door",
                about=(bank.id,),
            )


def interlock_idle(subject: Subject) -> Iterator[Found]:
    interlock, banks = subject.profile.interlock, subject.profile.coil_bank
    if interlock is not None and interlock.fitted and banks:
        said = [bank.interlocked for bank in banks]
        if not any(said) and None not in said:
            yield Found(
                path=("interlock", "fitted"),
                message="found true, but no coil bank says interlocked = true; say which it cuts",
            )


def door_unseen(subject: Subject) -> Iterator[Found]:
    interlock = subject.profile.interlock
    if interlock is None or not interlock.fitted or not subject.causes_known:
        return
    doors = {one.id for one in subject.profile.mechanism if one.kind == "door"}
    if not any(set(sensor.follows or ()) & doors for sensor in subject.profile.sensor):
        yield Found(
            path=("interlock", "fitted"),
            message="no sensor shows the door to the controller; bind the one that does to a "
            "mechanism of kind door, or silence this",
        )


def across_voltages(subject: Subject) -> Iterator[Found]:
    met: dict[str, tuple[float, str]] = {}
    for table in ("supply", "coil_bank"):
        for index, row in enumerate(getattr(subject.profile, table)):
            if row.fuse in (None, NONE) or row.volts is None:
                continue
            volts, other = met.setdefault(row.fuse, (row.volts, row.id))
            if volts != row.volts:
                path: Path = (table, index, "fuse")
                yield Found(
                    path=path,
                    message=f"{row.fuse} lies in {other} at {volts:g} V too, and this has "
                    f"{row.volts:g} V; one fuse lies in one feed: mend the fuse or the volts",
                    about=(row.id, row.fuse),
                )


def coil_odd(subject: Subject) -> Iterator[Found]:
    least, most = _COIL_OHMS
    for index, coil in enumerate(subject.profile.coil):
        if coil.ohms is not None and not least <= coil.ohms <= most:
            yield Found(
                path=("coil", index, "ohms"),
                message=f"found {coil.ohms:g}; a coil has {least:g} to "
                f"{most:g} ohms: meter it again, one lead off, and take off what the probes "
                "read held together",
                about=(coil.id,),
            )


RULES: Final = (
    Rule(
        code="BEAM-01",
        name="opto-in-no-bank",
        level="warning",
        what="Once emitter banks are described, every opto is in one.",
        why="Optos that go dark together are found by their bank; one left out is never suspected "
        "with the others.",
        example='kind = "opto"',
        mend="Say which bank feeds its emitter.",
        limits="Without any bank in the profile the fact is unknown, which is no fault.",
        look=in_no_bank,
    ),
    Rule(
        code="BEAM-02",
        name="bank-across-supplies",
        level="error",
        what="Banks that share a plug or a fuse have the same supply.",
        why="One feed cannot come from two supplies; what fails together would be wrong.",
        example='supply = "other-12"',
        mend="Mend the supply or the plug of one of the banks.",
        limits="A plug that really carries two feeds is described as two.",
        look=across_supplies,
    ),
    Rule(
        code="BEAM-03",
        name="feeds-no-opto",
        level="warning",
        what="Every emitter bank and receiver board has an opto.",
        why="One without is a name that was forgotten at its sensors.",
        example='id = "spare-bank"',
        mend="Name it at its optos, or take it out.",
        limits="Looked at once every opto states its bank, or its board.",
        look=feeds_nothing,
    ),
    Rule(
        code="BEAM-04",
        name="current-does-not-follow",
        level="warning",
        what="Supply, resistor and emitter give the current that the bank states, within a quarter.",
        why="Ohm's law: one of the four figures is wrong, and people measure by them.",
        example="resistor_ohm = 68",
        mend="Measure the resistor; read its bands again.",
        limits="Looked at where all four figures are known. The quarter is common practice, no "
        "source.",
        look=current_wrong,
    ),
    Rule(
        code="BEAM-05",
        name="supply-too-low",
        level="error",
        what="A supply has more volts than one of its emitters needs.",
        why="Otherwise none of them would light.",
        example="forward_volts = 3.5",
        mend="Mend the volts of one of the two.",
        limits="Emitters in series are not described by this format.",
        look=supply_too_low,
    ),
    Rule(
        code="BEAM-06",
        name="supply-above-24-volts",
        level="warning",
        what="Supplies of sensors have at most 24 V d.c.",
        why="Checks measure them with the power on. What lies higher is not measured, and is "
        "probably a coil bank.",
        example="volts = 48",
        mend="Describe coil feed in [[coil_bank]].",
        limits="The machine's own manual comes first.",
        look=supply_high,
    ),
    Rule(
        code="BEAM-07",
        name="alike-one-way",
        level="warning",
        what="Where one plug is said to be like another, the other says so too.",
        why="Exchanging them is a check, and a mistake that people make, both ways.",
        example='alike = ["p2"]',
        mend="Name each at the other.",
        limits="A plug that says nothing of its likes is unknown, which is no fault.",
        look=alike_one_way,
    ),
    Rule(
        code="BEAM-08",
        name="alike-differs",
        level="error",
        what="Plugs that are alike have as many pins.",
        why="Others cannot be exchanged.",
        example="pins = 5",
        mend="Mend the pins, or take the plug out of alike.",
        limits="It is told at the plug with more pins.",
        look=alike_differs,
    ),
    Rule(
        code="BEAM-09",
        name="part-not-used",
        level="note",
        what="Every supply, fuse, plug, return, input board and coil bank is named somewhere.",
        why="One that is not is a fact that never works.",
        example='id = "f9"',
        mend="Name it where it belongs, or take it out.",
        limits="Coils may stand alone: many move no ball.",
        look=not_used,
    ),
    Rule(
        code="COIL-01",
        name="interlock-denied",
        level="error",
        what="No coil bank is cut by an interlock that the machine does not have.",
        why="People rely on it at the open door. Even one that is there is never isolation.",
        example="interlocked = true",
        mend="Look at the machine, then mend the one that is wrong.",
        limits="Without an [interlock] table the fact is unknown.",
        look=interlock_denied,
    ),
    Rule(
        code="COIL-02",
        name="interlock-cuts-nothing",
        level="warning",
        what="An interlock cuts some coil bank.",
        why="One that cuts nothing is a statement forgotten.",
        example="fitted = true",
        mend="Say at each bank whether it is cut.",
        limits="A bank that says nothing is unknown; then this is silent.",
        look=interlock_idle,
    ),
    Rule(
        code="COIL-03",
        name="fuse-across-voltages",
        level="warning",
        what="All that lies behind a fuse has the same volts.",
        why="One fuse lies in one feed; a wrong one sends people to the wrong holder.",
        example='fuse = "f1"',
        mend="Mend the fuse or the volts.",
        limits="Feeds made from others behind the same fuse exist; silence it for them.",
        look=across_voltages,
    ),
    Rule(
        code="COIL-04",
        name="door-unseen",
        level="note",
        what="Where an interlock is fitted, some sensor shows the door.",
        why="Door and interlock are two switches; people take the one for the other.",
        example="fitted = true",
        mend="Add the door as a mechanism, and the sensor that follows it.",
        limits="Looked at once it is stated for every sensor what works it.",
        look=door_unseen,
    ),
    Rule(
        code="COIL-05",
        name="coil-ohms-odd",
        level="warning",
        what="A coil has 1.5 to 250 ohms.",
        why="Below, it is shorted or the probes were read; above, a lead is broken or another "
        "part was metered. What a meter is held against must be right.",
        example="ohms = 0.4",
        mend="Meter it again, or leave it out as unknown.",
        limits="Common practice, no source; the machine's own manual comes first.",
        look=coil_odd,
    ),
)
