"""Why a sensor reads as it does: its chain, link by link, in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Final

from simrig.faults.candidates import Fault
from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links
from simrig.scan.tracing import Hop, trace
from simrig.sensing.chain import Chain, Link, contact, sense
from simrig.signals import CLOSED, OPEN
from simrig.world.worlds import Value, Worlds

_ON_LINES: Final = ("line", "lines", "diode")
"""The last word of what a fault does to the matrix."""


def place_words(profile: Profile, spot_id: str) -> str:
    """Return a spot in words: ``trough position 2``, ``the ball trough, above the kicker``."""
    spot = profile.spots[spot_id]
    if spot.place is not None:
        place = profile.row("place", spot.place)
        if spot_id.endswith(".jam"):
            return f"{place.title}, above the kicker"
        if place.open_area or place.capacity == 1:
            return str(place.title)
        return f"{place.title} position {spot.number}"
    route = profile.row("route", spot.route)
    if spot_id.endswith(".way"):
        return f"on the way: {route.title}"
    return f"passing: {route.title}"


def spots_words(profile: Profile, sensor: Sensor) -> str:
    """Return all positions of a sensor in words, those of one place together, then the ways."""
    places: dict[str, list[str]] = {}
    for spot_id in sensor.spots:
        spot = profile.spots[spot_id]
        places.setdefault(spot.place or "", []).append(spot_id)
    passed = dict.fromkeys(place_words(profile, one) for one in places.pop("", ()))
    words = []
    for spots in places.values():
        numbers = [str(profile.spots[one].number) for one in spots if one[-4:] != ".jam"]
        first = place_words(profile, spots[0])
        if len(numbers) > 1 and len(numbers) == len(spots):
            title = first.removesuffix(f" position {numbers[0]}")
            words.append(f"{title} positions {', '.join(numbers[:-1])} and {numbers[-1]}")
        else:
            words += [place_words(profile, one) for one in spots]
    start, _, _ = next(iter(passed), "").partition(": ")
    ways = [one.partition(": ")[2] for one in passed]
    if ways:
        words.append(f"{start}: {', '.join(ways[:3])}" + (" and more" if len(ways) > 3 else ""))
    return " or ".join(words)


class Reasons:
    """Puts into words how a ball, or none, becomes a reading, under some conditions.

    ``table`` is the table of links with the ``faults`` in it, ``many`` the ways the balls
    can lie, ``frame`` what is read.
    """

    def __init__(
        self,
        profile: Profile,
        table: Links,
        many: Worlds,
        frame: Frame,
        faults: Sequence[Fault] = (),
    ) -> None:
        self.profile = profile
        self.table = table
        self.many = many
        self.frame = frame
        self.faults = {fault.component: fault for fault in faults}

    @cached_property
    def _contacts(self) -> dict[str, Value]:
        found = sense(self.profile, self.table.chains, self.many)
        return {name: found[self.table.leads.get(name, name)] for name in found}

    @cached_property
    def _straight(self) -> bool:
        """Whether every address reads its own contact: no way round, and nothing wrong."""
        return not self.faults and all(one.backward is None for one in self.table.circuit.crossings)

    def why(self, sensor: Sensor, ball: bool | None, reading: str) -> str:
        """Say how a reading comes about, from the ball to the address."""
        steps = [_cause(self.profile, sensor, ball)]
        links = self.table.chains[sensor.id]
        if ball is not None or not sensor.spots:
            steps += self._along(sensor, links, bool(ball))
        else:
            steps += [_fault_words(self.faults[one.part]) for one in links if self._hit(one)]
        if any(link.action == "unsure" for link in links):
            steps.append("how it reads then is not known")
        steps += self._at_the_address(sensor)
        address = self.profile.address_of.get(sensor.id)
        where = f" at {address}" if address else ""
        ends = {CLOSED: f"closed{where}", OPEN: f"open{where}"}
        steps.append(ends.get(reading, f"open or closed{where}"))
        return "; ".join(step for step in steps if step)

    def _hit(self, link: Link) -> bool:
        return link.part in self.faults

    def _along(self, sensor: Sensor, links: Chain, worked: bool) -> Iterator[str]:
        technology = self.profile.technology(sensor)
        signal = Value(1, 1)
        for number, link in enumerate(links):
            signal = contact(links[: number + 1], Value(int(worked), int(worked)), 1)
            kind = link.part.kind
            if self._hit(link):
                yield _fault_words(self.faults[link.part])
            if kind == "beam":
                lit = contact(links[:number], Value(0, 0), 1).surely and not self._hit(link)
                beam = "the beam is blocked, " if worked else "the beam is clear, "
                yield f"{beam if lit else ''}the receiver is {'lit' if signal.surely else 'dark'}"
            elif kind == "channel" and link.action != "unsure" and not self._hit(link):
                yield self._output(sensor, signal)
            elif kind == "contact" and sensor.spots and not self._hit(link):
                yield "the contact is worked" if worked else "the contact is at rest"
            elif kind == "output" and technology == "proximity" and not self._hit(link):
                yield "its output switches" if worked else "its output is at rest"

    def _output(self, sensor: Sensor, signal: Value) -> str:
        board = self.profile.row("board", sensor.board)
        if board is None or board.output_closes is None:
            return ""
        return f"its output on {board.name or board.id} {'closes' if signal.surely else 'is open'}"

    def _at_the_address(self, sensor: Sensor) -> Iterator[str]:
        """Say what the scan makes of it, where that is not the sensor's own contact."""
        address = self.profile.address_of.get(sensor.id)
        if self._straight or address is None:
            return
        other = self.table.leads.get(sensor.id, sensor.id)
        arriving, cell = self._contacts[sensor.id], self.frame.cells[sensor.id]
        if other != sensor.id:
            yield f"but the leads are exchanged: what arrives here is the contact of {other}"
        if address.column is None or address.row is None:
            return
        more = cell.maybe & ~arriving.maybe
        if more:
            world = (more & -more).bit_length() - 1
            hops = trace(self.table.circuit, self._contacts, address.column, address.row, world)
            some = "" if more == self.many.everything else "in some positions of the balls "
            yield f"but {some}{self._round(hops or (), address.column)}"
        elif arriving.surely & ~cell.surely:
            yield from (f"but {words}" for words in self._on_lines())

    def _round(self, hops: Sequence[Hop], column: int) -> str:
        words = "; ".join(self._on_lines())
        if len(hops) < 2:
            made = f"{hops[0].sensor} closes it" if hops else ""
            return "; ".join(filter(None, (words, made)))
        steps = ", ".join(
            f"back past {one.sensor} to column {one.line}"
            if one.back
            else f"over {one.sensor} to row {one.line}"
            for one in hops
        )
        way = f"the scan goes round, a phantom: from column {column} {steps}"
        return "; ".join(filter(None, (words, way)))

    def _on_lines(self) -> list[str]:
        return [
            _fault_words(fault)
            for fault in self.faults.values()
            if fault.kind.effect.rpartition(" ")[2] in _ON_LINES
        ]


def _fault_words(fault: Fault) -> str:
    part = "" if fault.sensor == fault.part else f" ({fault.part})"
    return f"{fault.kind.title}{part}: {fault.kind.why}"


def _cause(profile: Profile, sensor: Sensor, ball: bool | None) -> str:
    if sensor.follows:
        ((mechanism, state),) = sensor.follows.items()
        return f"worked while the {mechanism.replace('-', ' ')} stands {state}"
    if not sensor.spots:
        return "what works it is not known" if sensor.at is None else "no ball works it"
    where = spots_words(profile, sensor)
    if ball is None:
        return f"{where}: a ball may be there or not"
    return f"{where}: {'a ball' if ball else 'no ball'}"
