"""One account of a log: where the balls are, which are on their way, what does not agree.

A log does not say which moves were made.  Several accounts are kept side by side; each
costs as much as it has to explain away, and the cheapest is believed.
"""

from __future__ import annotations

import math
from typing import Any

from simrig.expectation import weights
from simrig.expectation.anomalies import Anomaly
from simrig.expectation.movers import (
    BEGUN,
    DONE,
    OVERDUE,
    SKIPPED,
    Mover,
)
from simrig.expectation.odd import Odd
from simrig.expectation.scene import Scene
from simrig.world.moves import Move


class Account:
    """An account; ``copy`` before it is changed where the old one is kept."""

    __slots__ = (
        "anomalies", "arrivals", "bad", "belief", "check_at", "cost", "counts", "edges", "fares",
        "flickers", "hand", "handled", "kicks", "laid", "movers", "moves", "number", "odd",
        "phase", "states", "swap", "untold",
    )  # fmt: skip

    def __init__(self) -> None:
        self.cost = 0.0
        self.fares = 0.0
        self.check_at = -math.inf
        self.counts: dict[str, int] = {}
        self.laid: frozenset[str] = frozenset()
        self.states: dict[str, frozenset[str]] = {}
        self.hand = 0
        self.handled: tuple[Move, float] = (Move(verb="", subject=""), -math.inf)
        self.kicks: dict[str, float] = {}
        self.belief: set[str] = set()
        self.bad: frozenset[str] = frozenset()
        self.movers: list[Mover] = []
        self.odd: dict[str, Odd] = {}
        self.flickers: dict[str, list[Any]] = {}
        self.arrivals: dict[str, float] = {}
        self.edges: dict[str, float] = {}
        self.anomalies: Any = None
        self.number = self.untold = 0
        self.moves: Any = None
        self.swap: dict[str, str] = {}
        self.phase: str | None = None

    def copy(self) -> Account:
        """Return another that can be changed on its own."""
        other = Account.__new__(Account)
        other.handled, other.check_at = self.handled, self.check_at
        other.cost, other.laid, other.hand = self.cost, self.laid, self.hand
        other.counts, other.states = dict(self.counts), self.states
        other.belief, other.odd, other.bad = set(self.belief), dict(self.odd), self.bad
        other.movers = [mover.copy() for mover in self.movers]
        other.flickers = {name: list(one) for name, one in self.flickers.items()}
        other.arrivals, other.edges = dict(self.arrivals), dict(self.edges)
        other.kicks = dict(self.kicks) if self.kicks else self.kicks
        other.number, other.untold = self.number, self.untold
        other.moves, other.fares = self.moves, self.fares
        other.anomalies, other.swap, other.phase = self.anomalies, self.swap, self.phase
        return other

    @property
    def total(self) -> float:
        """What it costs, with what is still open."""
        return self.cost + sum(mover.trouble for mover in self.movers)

    @property
    def worry(self) -> float:
        """What it costs, but for the moves that every account must have."""
        return self.total - self.fares

    @property
    def quiet(self) -> bool:
        """Whether nothing is open: every ball lies, or rolls where nothing watches."""
        return not self.awaits and all(odd.flagged for odd in self.odd.values())

    @property
    def awaits(self) -> int:
        """How many balls are on their way to a sensor that must show them."""
        return sum(mover.waits for mover in self.movers)

    def key(self) -> Any:
        """What two accounts have in common that will go on alike."""
        return (
            tuple(sorted(item for item in self.counts.items() if item[1])),
            self.laid,
            frozenset(self.belief),
            frozenset(self.odd),
            tuple(sorted(self.swap.items())),
            tuple(sorted((mover.key, tuple(mover.state)) for mover in self.movers)),
            tuple(sorted((name, tuple(sorted(one))) for name, one in self.states.items())),
        )

    def told(self) -> list[Anomaly]:
        """Return every anomaly, in the order in which they were noted."""
        return [*self.kept(), *(one for mover in self.movers for one in mover.judgement())]

    def kept(self) -> list[Anomaly]:
        """Return the anomalies of what is over."""
        return _chain(self.anomalies)

    def made(self) -> list[tuple[float, Move]]:
        """Return the moves that were kept, in order, with the times of their first sights."""
        return _chain(self.moves)

    def forget(self) -> None:
        """Leave out what has been noted."""
        self.anomalies, self.number = None, 0

    def note(self, anomaly: Anomaly) -> None:
        """Add an anomaly; its cost is counted by who notes it."""
        if self.number >= weights.MOST_TOLD:
            self.untold += 1
        else:
            self.number += 1
            self.anomalies = (anomaly, self.anomalies)

    # What time brings.

    def advance(self, scene: Scene, time: float) -> None:
        """Let time go on: what is due and has not come is overdue."""
        if time <= self.check_at:
            return
        retired = False
        for mover in self.movers:
            while mover.due < time:
                late = mover.overdue(time)
                if not late:
                    break
                self._judge_late(scene, mover, late[0])
            if mover.retires < time:
                self.retire(mover)
                retired = True
        if retired:
            self.movers = [mover for mover in self.movers if mover.retires >= time]
        if not scene.ordered_only:
            for name in list(self.odd):
                odd = self.odd[name]
                if not odd.flagged and time > odd.since + weights.ODD_MS:
                    self._stays_odd(scene, name, odd)
            for coil in [
                coil for coil, fired in self.kicks.items() if time > fired + weights.KICKED_MS
            ]:
                del self.kicks[coil]
                self.cost += weights.EMPTY_KICK
        for name in list(self.flickers):
            if time > self.flickers[name][1] + weights.ONE_FLICKER_MS:
                self.tell_flicker(scene, name)
        self.check_at = min(
            [
                *(min(mover.due, mover.retires) for mover in self.movers),
                *(odd.since + weights.ODD_MS for odd in self.odd.values() if not odd.flagged),
                *(fired + weights.KICKED_MS for fired in self.kicks.values()),
                *(flicker[1] + weights.ONE_FLICKER_MS for flicker in self.flickers.values()),
            ],
            default=math.inf,
        )

    def kicked(self, scene: Scene, coil: str) -> None:
        """A coil has fired; where a ball lay before it, one should move."""
        if any(self.counts.get(name) for name in scene.kicks.get(coil, ())):
            self.kicks = {**self.kicks, coil: scene.time}
            self.check_at = -math.inf

    def retire(self, mover: Mover) -> None:
        """Keep what was wrong with a move that is over."""
        for anomaly in mover.judgement():
            self.note(anomaly)
        self.cost += mover.trouble

    def _judge_late(self, scene: Scene, mover: Mover, late: tuple[int, bool]) -> None:
        index, begins = late
        one = mover.motion.passes[index]
        target = one.worked if begins else not one.worked
        state = self.reads(scene, one.sensor)
        # What was under way when the log began may have been seen before.
        early = mover.first is not None and mover.first - scene.first_time < weights.UNDER_WAY_MS
        before_log = early and mover.lo[index] + mover.delay.low < scene.first_time
        if state is None or state == target or self._held(mover, one.sensor, target):
            mover.state[index] = DONE
            unheard = state is None and one.length_ms is not None
            self.believe(one.sensor, not one.worked if unheard else target)
        elif self.swap.get(one.sensor, one.sensor) in scene.masked or before_log:
            mover.state[index] = SKIPPED
            self.believe(one.sensor, target if one.length_ms is None else not one.worked)
        else:
            mover.state[index] = OVERDUE
            self.bad |= {one.sensor}
            if one.length_ms is None or not begins:
                self.believe(one.sensor, target)
                self.odd[one.sensor] = Odd(
                    scene.time, 0.0, rebound=False, soft=False, flagged=True, line=0
                )
        mover.refresh()
        mover.trouble = mover.cost()

    def _held(self, mover: Mover, sensor: str, target: bool) -> bool:
        """Whether another ball keeps a sensor worked that should not be any more."""
        if target:
            return False
        for other in self.movers:
            if other is mover:
                continue
            for index, one in enumerate(other.motion.passes):
                if one.sensor == sensor and one.worked:
                    state = other.state[index]
                    # A ball that came before this move began is of the row that moves on.
                    came = other.began[index] > (mover.first or 0.0)
                    if state == BEGUN or (state == DONE and one.length_ms is None and came):
                        return True
        return False

    def believe(self, sensor: str, worked: bool) -> None:
        """Take a sensor for worked, or not, from here on."""
        if worked:
            self.belief.add(sensor)
        else:
            self.belief.discard(sensor)

    def reads(self, scene: Scene, sensor: str) -> bool | None:
        """Return whether a sensor is worked, as the log has it; None where it has not said."""
        if sensor in scene.contacts.unjudged:
            return None
        closed = scene.closed.get(self.swap.get(sensor, sensor))
        return None if closed is None else scene.contacts.worked(sensor, closed)

    def _stays_odd(self, scene: Scene, name: str, odd: Odd) -> None:
        """A change that nothing explains has not gone back."""
        if odd.soft and self.swap.get(name, name) in scene.masked:
            self.odd[name] = odd.told()
            return
        self.cost += weights.STAYS_ODD - odd.cost
        worked = name not in self.belief
        when = None if scene.ordered_only else odd.since
        if worked:
            kind, why = "stuck", f"{name} reads as if a ball were there, but none can be"
        elif odd.rebound:
            kind = "returned"
            why = f"the ball that had come to {name} has left it again, the way it came"
            self._gone_back(scene, name)
        else:
            kind, why = "missed", f"a ball lies at {name}, but it is no longer seen"
        if kind != "returned":
            self.odd[name] = Odd(
                odd.since, weights.TROUBLE, rebound=False, soft=False, flagged=True, line=odd.line
            )
        self.note(Anomaly(time_ms=when, sensor=name, kind=kind, why=why, line=odd.line))  # type: ignore[arg-type]

    def _gone_back(self, scene: Scene, name: str) -> None:
        place = scene.place_of.get(name)
        self.odd.pop(name, None)
        self.belief.discard(name)
        if place is None or not self.counts.get(place):
            return
        self.counts[place] -= 1
        home = scene.profile.row("place", scene.comes_from.get(place) or scene.open_place)
        if home is None or self.counts.get(home.id, 0) >= home.capacity:
            self.hand += 1
        else:
            self.counts[home.id] = self.counts.get(home.id, 0) + 1

    # What an event brings.

    def begin(self, scene: Scene, mover: Mover, index: int, begins: bool, time: float) -> None:
        """Take a change for the beginning, or the end, of a pass."""
        self.check_at = -math.inf
        one = mover.motion.passes[index]
        out_of_time = mover.lateness(index, begins, time)
        if out_of_time and begins:
            kind = "late" if out_of_time > 0 else "early"
            why = scene.out_of_time(one.sensor, out_of_time, mover, index, time)
            mover.found.append(
                Anomaly(
                    time_ms=None if scene.ordered_only else time,
                    sensor=one.sensor,
                    kind=kind,  # type: ignore[arg-type]
                    why=why,
                    line=scene.line,
                )
            )
            if out_of_time > 0 and time > mover.hi[index] + weights.VERY_LATE_MS:
                self.cost += weights.TROUBLE - weights.SLIGHT
        mover.sight(index, begins, time)
        if out_of_time < 0 and not begins:
            mover.found.append(
                Anomaly(
                    time_ms=None if scene.ordered_only else time,
                    sensor=one.sensor,
                    kind="early",
                    why=scene.out_of_time(one.sensor, out_of_time, mover, index, time),
                    line=scene.line,
                )
            )
        self.believe(one.sensor, one.worked if begins else not one.worked)
        self.odd.pop(one.sensor, None)
        self.edges[one.sensor] = time
        place = scene.place_of.get(one.sensor)
        if place is not None:
            self.arrivals[place] = time
        mover.trouble = mover.cost()

    def open_odd(self, scene: Scene, sensor: str, time: float, *, soft: bool) -> None:
        """Take a change for one that nothing explains, so far."""
        self.check_at = -math.inf
        cost = self.oddness(scene, sensor, time, soft=soft)
        self.cost += cost
        if self.may_rebound(scene, sensor, time):
            self.edges[sensor] = time
        self.odd[sensor] = Odd(
            time, cost, rebound=self.may_rebound(scene, sensor, time), soft=soft, flagged=False,
            line=scene.line,
        )  # fmt: skip

    def may_rebound(self, scene: Scene, sensor: str, time: float) -> bool:
        """Whether a ball has just come to the sensor's place and may still roll about in it."""
        return self.may_rebound_at(scene, scene.place_of.get(sensor), time)

    def may_rebound_at(self, scene: Scene, place: str | None, time: float | None = None) -> bool:
        """Whether a ball has just come to a place."""
        came = self.arrivals.get(place or "", -math.inf)
        return (scene.time if time is None else time) - came <= (
            12 if scene.ordered_only else weights.REBOUNDS_MS
        )

    def oddness(self, scene: Scene, sensor: str, time: float, *, soft: bool) -> float:
        """Return what it costs to leave a change unexplained."""
        if soft:
            return weights.PHANTOM
        if self.may_rebound(scene, sensor, time):
            return weights.REBOUND
        return weights.AGAIN if sensor in self.flickers else weights.FLICKER

    def close_odd(self, scene: Scene, sensor: str, time: float) -> None:
        """A sensor is again as the account has it."""
        self.check_at = -math.inf
        odd = self.odd.pop(sensor, None)
        if odd is None or odd.flagged or odd.soft:
            return
        lasted = time - odd.since
        if odd.rebound and (lasted >= weights.SHORTEST_REBOUND_MS or scene.ordered_only):
            self.edges[sensor] = time
            return
        if odd.rebound:
            self.cost += (weights.AGAIN if sensor in self.flickers else weights.FLICKER) - odd.cost
        if lasted > weights.LONG_FLICKER_MS and not scene.ordered_only:
            self.cost += weights.LONG_FLICKER
        flicker = self.flickers.get(sensor)
        if flicker is None:
            near = odd.since - self.edges.get(sensor, -math.inf) <= weights.BOUNCE_MS
            coil = scene.coil_before(odd.since)
            self.flickers[sensor] = [odd.since, time, 1, coil, odd.line, near]
        else:
            flicker[1] = time
            flicker[2] += 1

    def tell_flicker(self, scene: Scene, sensor: str) -> None:
        """Note a flicker, or a bounce, that is over."""
        since, until, times, coil, line, near = self.flickers.pop(sensor)
        edge = self.edges.get(sensor, -math.inf)
        near = (
            near
            or -weights.BOUNCE_MS <= edge - since <= weights.BOUNCE_MS
            or 0 <= edge - until <= weights.BOUNCE_MS
        )
        bounce = near and scene.is_contact(sensor) and not scene.ordered_only
        kind, why = scene.flicker_words(sensor, since, until, times, bounce, coil)
        self.note(
            Anomaly(
                time_ms=None if scene.ordered_only else since,
                sensor=sensor,
                kind=kind,
                why=why,
                line=line,
                beside=None if coil is None or bounce else coil[0],
            )
        )


def _chain(link: Any) -> list[Any]:
    """Return the members of a chain in the order in which they were added."""
    found = []
    while link is not None:
        found.append(link[0])
        link = link[1]
    found.reverse()
    return found
