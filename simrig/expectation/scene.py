"""What all accounts of a log share: the machine, the log so far, and words for what is odd."""

from __future__ import annotations

import math
from functools import cached_property
from typing import TYPE_CHECKING, Final

from simrig.expectation.anomalies import AnomalyKind
from simrig.expectation.contacts import Contacts
from simrig.expectation.flow import delay_of
from simrig.expectation.motions import Motions
from simrig.expectation.transfers import BACK, PICK, PUT, ends
from simrig.expectation.weights import KICKED_MS, ORDERED
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.world.moves import Move
from simrig.world.spans import Span

if TYPE_CHECKING:
    from simrig.expectation.movers import Mover

NEAR_A_KICK_MS: Final = 200.0
"""A flicker that starts within this time of a coil's pulse is told with it."""


Saved = tuple[dict[str, bool], dict[str, float], float]
"""What a log has said up to a moment: readings, coils, and when that was."""


class Scene:
    """The machine, and the log as far as it has been read."""

    def __init__(self, motions: Motions, contacts: Contacts, *, ordered_only: bool) -> None:
        self.motions = motions
        self.contacts = contacts
        self.profile: Profile = motions.profile
        self.ordered_only = ordered_only
        self.delay = Span.exactly(0.0) if ordered_only else delay_of(motions.sampling)
        self.closed: dict[str, bool] = {}
        self.coils: dict[str, float] = {}
        self.time = -math.inf
        self.first_time = -math.inf
        self.line = 0
        self.tells_of_coils = False
        self.keep_moves = False
        self.changed: set[str] = set()
        """The sensors whose readings have changed; addresses, where leads are exchanged."""
        self.masked: frozenset[str] = frozenset()

    def saved(self) -> Saved:
        """Return what the log has said so far, to go back to."""
        return dict(self.closed), dict(self.coils), self.time

    def restore(self, saved: Saved) -> None:
        """Go back to what the log had said."""
        self.closed, self.coils, self.time = dict(saved[0]), dict(saved[1]), saved[2]
        self.look_for_phantoms()

    def look_for_phantoms(self) -> None:
        """Work out which closed readings others can make."""
        if self.contacts.open_to_phantoms:
            closed = frozenset(name for name, is_closed in self.closed.items() if is_closed)
            self.masked = self.contacts.masked(closed)

    @cached_property
    def place_of(self) -> dict[str, str]:
        """The place at which each sensor watches a position."""
        found = {}
        for sensor in self.profile.sensor:
            for spot in sensor.spots:
                place = self.profile.spots[spot].place
                if place is not None and self.profile.spots[spot].resting:
                    found[sensor.id] = place
        return found

    def order(self, sensor: str, closed: bool) -> int:
        """Return where a change stands among others of the same moment: a ball leaves a place,
        passes the points of a way, comes to a place."""
        if sensor not in self.place_of:
            return 1
        return 2 if self.contacts.worked(sensor, closed) else 0

    @cached_property
    def open_place(self) -> str | None:
        """The open playfield."""
        return next((place.id for place in self.profile.place if place.open_area), None)

    @cached_property
    def comes_from(self) -> dict[str, str]:
        """For each place, one from which balls get into it by themselves: the open one first."""
        found: dict[str, str] = {}
        for route in self.profile.route:
            for target in route.to:
                if target not in found or route.from_ == self.open_place:
                    found[target] = route.from_
        return found

    @cached_property
    def kicks(self) -> dict[str, tuple[str, ...]]:
        """The watched places out of which each coil kicks balls."""
        found: dict[str, list[str]] = {}
        for route in self.profile.route:
            if route.coil is not None and route.from_ in self.place_of.values():
                found.setdefault(route.coil, []).append(route.from_)
        return {coil: tuple(places) for coil, places in found.items()}

    @cached_property
    def unwatched(self) -> frozenset[str]:
        """Places without a sensor: a ball gets from one to the other unseen."""
        watched = set(self.place_of.values())
        return frozenset(place.id for place in self.profile.place if place.id not in watched)

    @cached_property
    def seen_mechanisms(self) -> frozenset[str]:
        """The mechanisms that a sensor follows."""
        return frozenset(
            name for sensor in self.profile.sensor for name in (sensor.follows or {})
        )  # fmt: skip

    @cached_property
    def moves_at(self) -> dict[str, tuple[Move, ...]]:
        """The moves in which each sensor has a part."""
        found: dict[str, dict[Move, None]] = {}
        for move in self.all_moves:
            for spot in self._spots(move):
                for sensor in self.profile.covering.get(spot, ()):
                    found.setdefault(sensor.id, {})[move] = None
            if move.verb == "set":
                for sensor in self.profile.sensor:
                    if move.subject in (sensor.follows or {}):
                        found.setdefault(sensor.id, {})[move] = None
        return {name: tuple(moves) for name, moves in found.items()}

    @cached_property
    def all_moves(self) -> tuple[Move, ...]:
        """Every move that a ball, a hand or a mechanism can make."""
        found: list[Move] = []
        for route in self.profile.route:
            for target in route.to:
                name = target if len(route.to) > 1 else None
                found.append(Move(verb="take", subject=route.id, target=name))
        for place in self.profile.place:
            if place.captive:
                continue
            found.append(Move(verb="feed", subject=place.id))
            found.append(Move(verb="remove", subject=place.id))
            if not place.open_area and (home := self.comes_from.get(place.id)):
                found.append(Move(verb=BACK, subject=place.id, target=home))
            if place.jam:
                found.append(Move(verb=PUT, subject=f"{place.id}.jam"))
                found.append(Move(verb=PICK, subject=f"{place.id}.jam"))
        for mechanism in self.profile.mechanism:
            for state in mechanism.states:
                found.append(Move(verb="set", subject=mechanism.id, target=state))
        return tuple(found)

    def _spots(self, move: Move) -> list[str]:
        if move.verb in (PUT, PICK):
            return [move.subject]
        found = []
        for name in ends(self.profile, move):
            place = self.profile.row("place", name)
            if place is not None and not place.open_area:
                found += [f"{name}.{number}" for number in range(1, place.capacity + 1)]
                if place.jam:
                    found.append(f"{name}.jam")
        routes = [move.subject] if move.verb == "take" else []
        if move.verb == BACK:
            routes = [row.id for row in self.profile.route if move.subject in row.to]
        for name in routes:
            points = self.profile.row("route", name).points or 0
            found += [f"{name}.{number}" for number in range(1, points + 1)]
        return found

    def is_contact(self, sensor: str) -> bool:
        """Whether a sensor has contacts, which can bounce."""
        return self.profile.technology(self.profile.row("sensor", sensor)) == "contact"

    def kicked(self, coil: str | None) -> bool:
        """Whether a coil has fired just now, or the log tells of no coil."""
        if coil is None or coil == NONE or not self.tells_of_coils:
            return True
        return self.time - self.coils.get(coil, -math.inf) <= (
            ORDERED if self.ordered_only else KICKED_MS
        )

    def coil_before(self, time: float) -> tuple[str, float] | None:
        """Return the coil that fired last before a time, and how long before, if just before."""
        if self.ordered_only:
            return None
        near = [
            (time - fired, coil)
            for coil, fired in self.coils.items()
            if 0 <= time - fired <= NEAR_A_KICK_MS
        ]
        return (min(near)[1], min(near)[0]) if near else None

    # Words.

    def flicker_words(
        self,
        sensor: str,
        since: float,
        until: float,
        times: int,
        bounce: bool,
        coil: tuple[str, float] | None,
    ) -> tuple[AnomalyKind, str]:
        """Return the kind of a flicker and why it is one, in words."""
        often = "once" if times == 1 else f"{times} times"
        lasted = "" if self.ordered_only else f", {until - since:.3g} ms in all"
        if bounce:
            reads = self.motions.sampling
            debounce = (
                f" than the controller's {reads.equal_readings} equal readings" if reads else ""
            )
            return "bounce", (
                f"the contact of {sensor} opens and closes again {often}{lasted}: it bounces"
                f" longer{debounce}"
            )
        why = f"{sensor} changes and goes back {often}{lasted}, and no ball does that"
        if coil is not None:
            row = self.profile.row("coil", coil[0])
            title = row.title if row is not None else coil[0]
            why += f"; it starts within {coil[1]:.3g} ms of the pulse of the {title}"
            if self.profile.row("sensor", sensor).beside == coil[0]:
                why += ", beside which its parts stand: look for a cracked joint there"
        return "flicker", why

    def out_of_time(
        self, sensor: str, side: int, mover: Mover, index: int, time: float
    ) -> str:  # fmt: skip
        """Say how far out of its window a change is."""
        if side < 0:
            by = mover.lo[index] + self.delay.low - time
            amount = "" if not math.isfinite(by) or by < 0 else f" {by:.0f} ms"
            return f"{sensor} changes{amount} earlier than a ball can get there by itself"
        by = time - mover.hi[index] - self.delay.high
        amount = "" if not math.isfinite(by) or by < 0 else f" {by:.0f} ms"
        latest = self.motions.geometry.allowance.latest
        return (
            f"{sensor} changes{amount} later than a ball that takes {latest:g} times as long as"
            " on a clean way"
        )
