"""Rules over addresses, plugs and pins, and the lines and diodes of the matrix."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Final

from simrig.profile.keys import NONE
from simrig.profile.naming import listed
from simrig.vetting.rule import Found, Path, Rule
from simrig.vetting.subject import Subject


def holes(subject: Subject) -> Iterator[Found]:
    if any(sensor.address is None for sensor in subject.profile.sensor):
        return
    groups: dict[str, dict[int, str]] = {}
    for name, address in subject.profile.address_of.items():
        if address.direct is not None:
            groups.setdefault("direct", {})[address.direct] = name
        elif address.board is not None and address.input is not None:
            groups.setdefault(address.board, {})[address.input] = name
        elif address.column is not None and address.row is not None:
            groups.setdefault(f"column {address.column} row", {})[address.row] = name
    for group, used in groups.items():
        free = [number for number in range(min(used), max(used)) if number not in used]
        if free:
            after = used[min(number for number in used if number > free[0])]
            yield Found(
                path=("sensor", subject.index("sensor", after), "address"),
                message=f"{listed([f'{group} {number}' for number in free])} has no sensor, though "
                "those before and after have; is one forgotten?",
                about=(group.removesuffix(" row"), after),
            )


def _pins(subject: Subject) -> Iterator[tuple[str, int, Path, str]]:
    """Every pin that is stated: plug, number, where, and what lies on it."""
    for index, sensor in enumerate(subject.profile.sensor):
        if sensor.connector not in (None, NONE) and sensor.pin is not None:
            yield str(sensor.connector), sensor.pin, ("sensor", index, "pin"), sensor.id
    matrix = subject.profile.matrix
    for axis in ("column", "row") if matrix else ():
        for index, line in enumerate(getattr(matrix, axis)):
            if line.connector not in (None, NONE) and line.pin is not None:
                where: Path = ("matrix", axis, index, "pin")
                yield str(line.connector), line.pin, where, f"{axis} {line.number}"


def pin_used_twice(subject: Subject) -> Iterator[Found]:
    used: dict[tuple[str, int], str] = {}
    for plug, pin, path, what in _pins(subject):
        other = used.setdefault((plug, pin), what)
        if other != what:
            yield Found(
                path=path,
                message=f"pin {pin} of {plug} is also that of {other}; mend the wrong one",
                about=(what, plug),
            )


def pin_beyond(subject: Subject) -> Iterator[Found]:
    for plug, pin, path, what in _pins(subject):
        pins = subject.profile.row("connector", plug).pins
        if pins is not None and pin > pins:
            yield Found(
                path=path,
                message=f"found {pin}; {plug} has {pins} pins; mend one of the two",
                about=(what, plug),
            )


def order_incomplete(subject: Subject) -> Iterator[Found]:
    matrix = subject.profile.matrix
    for axis in ("column", "row") if matrix else ():
        for index, line in enumerate(getattr(matrix, axis)):
            on_line = [
                name
                for name, address in subject.profile.address_of.items()
                if getattr(address, axis) == line.number
            ]
            missing = [name for name in on_line if name not in (line.order or on_line)]
            if missing:
                yield Found(
                    path=("matrix", axis, index, "order"),
                    message=f"{listed(missing)} on {axis} {line.number} is not in it; put it where "
                    "the wire runs past it",
                    about=(f"{axis} {line.number}", *missing),
                )


def order_twice(subject: Subject) -> Iterator[Found]:
    matrix = subject.profile.matrix
    for axis in ("column", "row") if matrix else ():
        for index, line in enumerate(getattr(matrix, axis)):
            twice = [name for name, times in Counter(line.order or ()).items() if times > 1]
            for name in twice:
                again = list(line.order).index(name, list(line.order).index(name) + 1)
                yield Found(
                    path=("matrix", axis, index, "order", again),
                    message=f"{name} is in the order twice; the wire runs past it once",
                    about=(name,),
                )


def channel_without_board(subject: Subject) -> Iterator[Found]:
    for index, sensor in enumerate(subject.profile.sensor):
        if sensor.board == NONE and sensor.channel is not None:
            yield Found(
                path=("sensor", index, "channel"),
                message=f'found {sensor.channel}; the sensor says board = "none"; name the board, or '
                "take the channel out",
                about=(sensor.id,),
            )


def phantoms(subject: Subject) -> Iterator[Found]:
    met: dict[str, list[str]] = {}
    for phase, _, contacts, frame in subject.phases:
        for name, cell in frame.cells.items():
            if cell.surely & ~contacts[name].maybe:
                met.setdefault(name, []).append(phase.id)
    for name, phases in met.items():
        yield Found(
            path=("sensor", subject.index("sensor", name), "address"),
            message=f"it reads closed in {listed(phases)} while its own contact is open: a phantom of "
            "three closed positions without diodes; tell people in the phase's note, then silence "
            "this",
            about=(name,),
        )


def empty_line(subject: Subject) -> Iterator[Found]:
    matrix = subject.profile.matrix
    if matrix is None or any(sensor.address is None for sensor in subject.profile.sensor):
        return
    for axis, most in (("column", matrix.columns), ("row", matrix.rows)):
        used = {getattr(address, axis) for address in subject.profile.address_of.values()}
        free = [f"{axis} {number}" for number in range(1, most + 1) if number not in used]
        if free:
            yield Found(
                path=("matrix", f"{axis}s"),
                message=f"{listed(free)} has no sensor; state fewer {axis}s, or add what is missing",
                about=(f"{axis}s",),
            )


def some_means_one(subject: Subject) -> Iterator[Found]:
    matrix = subject.profile.matrix
    if matrix is None or matrix.diodes != "some":
        return
    said = {
        subject.profile.row("sensor", name).diode
        for name, address in subject.profile.address_of.items()
        if address.in_matrix
    }
    if len(said) == 1 and None not in said:
        general = "none" if said == {NONE} else "all"
        yield Found(
            path=("matrix", "diodes"),
            message=f'found "some"; every position says the same: write "{general}", or mend the '
            "position that differs",
        )


RULES: Final = (
    Rule(
        code="LINE-07",
        name="address-hole",
        level="note",
        what="Between two addresses in use none is left out.",
        why="A hole is often a sensor that was forgotten.",
        example='address = "direct 5"',
        mend="Add the sensor, or silence the note where the input is really not used.",
        limits="Looked at once every sensor has an address. What comes after the last address of a "
        "column, a board or the direct inputs is no hole.",
        look=holes,
    ),
    Rule(
        code="LINE-08",
        name="pin-used-twice",
        level="error",
        what="No two wires are on the same pin of a plug.",
        why="People measure there.",
        example="pin = 1",
        mend="Look both up and mend the wrong one.",
        limits="A pin that several sensors share is that of a line or a return: state it there.",
        look=pin_used_twice,
    ),
    Rule(
        code="LINE-09",
        name="pin-beyond-plug",
        level="error",
        what="A plug has the pin that is named.",
        why="Either the pin or the plug is wrong.",
        example="pin = 9",
        mend="Mend the pin, the plug, or how many pins it has.",
        limits="Plugs whose pins are not stated are left aside.",
        look=pin_beyond,
    ),
    Rule(
        code="LINE-10",
        name="order-incomplete",
        level="warning",
        what="The order of a column or row wire names every sensor on it.",
        why="A break in the wire cuts off what lies beyond it; who is not named is never among it.",
        example='order = ["trough-3"]',
        mend="Put the sensor where the wire runs past it.",
        limits="A line without an order is unknown, which is no fault.",
        look=order_incomplete,
    ),
    Rule(
        code="LINE-11",
        name="order-names-twice",
        level="error",
        what="The order of a wire names each sensor once.",
        why="A wire that comes back has two ends at the sensor; the order would say where neither is.",
        example='order = ["trough-3", "launcher-ball", "trough-3"]',
        mend="Take one of them out.",
        limits="It cannot tell which of the two is right.",
        look=order_twice,
    ),
    Rule(
        code="LINE-12",
        name="channel-without-board",
        level="error",
        what="A channel belongs to a board.",
        why="A bare receiver has no channel.",
        example='board = "none"\nchannel = 2',
        mend="Name the board, or take the channel out.",
        limits="A board that is left out is unknown; then the channel may stand alone.",
        look=channel_without_board,
    ),
    Rule(
        code="GRID-02",
        name="phantom-in-phase",
        level="warning",
        what="In no phase do three closed positions without diodes make a fourth read closed.",
        why="The reading is right and no part is faulty, yet it looks like a stuck switch.",
        example='diodes = "none"',
        mend="Nothing at the machine; say so in the phase's note and silence the rule for the sensor.",
        limits="Positions of the balls are looked at, phase by phase, with the mechanisms as the "
        "phase leaves them; buttons that somebody holds are not. Where a diode is unknown, only "
        "what is sure is told.",
        look=phantoms,
    ),
    Rule(
        code="GRID-03",
        name="line-without-sensor",
        level="note",
        what="Every column and row has a sensor.",
        why="A line that nobody uses is a wrong number of lines, or sensors that were forgotten.",
        example="columns = 3",
        mend="State fewer lines, or add the sensors.",
        limits="Looked at once every sensor has an address.",
        look=empty_line,
    ),
    Rule(
        code="GRID-04",
        name="some-means-all",
        level="warning",
        what='With diodes = "some", some positions differ from the others.',
        why="One of the statements was probably forgotten.",
        example='diodes = "some"',
        mend='Write "all" or "none", or mend the position that differs.',
        limits="Positions whose diode is unknown are not counted as differing or alike.",
        look=some_means_one,
    ),
)
