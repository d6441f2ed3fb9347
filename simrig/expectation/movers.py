"""One ball on its way, as far as a log shows it: what has been seen, what is due, what is overdue.

Times are physical times in ms; a reading comes a scan's delay after them.  Each sight
of a pass narrows when the move can have started, and so when the next is due.
"""

from __future__ import annotations

import math
from typing import Final

from simrig.expectation.anomalies import Anomaly, AnomalyKind
from simrig.expectation.passes import START, Motion, Pass
from simrig.expectation.weights import (
    AGAIN,
    HANGS_MS,
    LATEST_MS,
    LEEWAY_MS,
    ORDERED,
    SETTLED_MS,
    SLIGHT,
    TROUBLE,
    UNSEEN,
)
from simrig.world.spans import Span

PENDING, BEGUN, DONE, SKIPPED, OVERDUE = range(5)


class Mover:
    """A move under way; ``copy`` before it is changed where another account keeps it."""

    __slots__ = (
        "began", "delay", "due", "first", "found", "hi", "key", "known", "last", "lo", "motion",
        "ordered_only", "path", "retires", "start_hi", "start_lo", "state", "trouble",
    )  # fmt: skip

    def __init__(
        self,
        motion: Motion,
        earliest: float,
        latest: float,
        delay: Span,
        ordered_only: bool,
        known: frozenset[str] = frozenset(),
    ) -> None:
        self.motion = motion
        self.known = known
        self.delay = delay
        self.ordered_only = ordered_only
        size = len(motion.passes)
        self.state = [PENDING] * size
        self.lo = [-math.inf] * size
        self.hi = [math.inf] * size
        self.began = [0.0] * size
        self.start_lo, self.start_hi = earliest, latest
        self.last = latest
        self.first: float | None = None
        self.found: list[Anomaly] = []
        self.trouble = 0.0
        self.path = [index for index, one in enumerate(motion.passes) if one.worked]
        self.due = math.inf
        self.retires = math.inf
        self.key = str(motion.move)

    def copy(self) -> Mover:
        """Return another that can be changed on its own."""
        other = Mover.__new__(Mover)
        other.motion, other.delay, other.ordered_only = self.motion, self.delay, self.ordered_only
        other.state, other.lo, other.hi = self.state[:], self.lo[:], self.hi[:]
        other.began, other.found = self.began[:], self.found[:]
        other.start_lo, other.start_hi, other.last = self.start_lo, self.start_hi, self.last
        other.trouble, other.path, other.due, other.key = (
            self.trouble, self.path, self.due, self.key,
        )  # fmt: skip
        other.retires, other.first, other.known = self.retires, self.first, self.known
        return other

    def _wait(self, one: Pass) -> tuple[float, float]:
        if self.ordered_only:
            return 0.0, math.inf
        return one.wait_ms.low, one.wait_ms.high

    def _length(self, one: Pass) -> tuple[float, float]:
        if one.length_ms is None or self.ordered_only:
            return 0.0, math.inf
        return one.length_ms.low, one.length_ms.high

    def refresh(self) -> None:
        """Work out the windows of what is still to come, and when the next of it is due."""
        due = math.inf
        # Nothing is seen in an order-only log by when it is late.
        limit = math.inf if self.ordered_only else self.last + HANGS_MS
        for index, one in enumerate(self.motion.passes):
            state = self.state[index]
            if state in (PENDING, OVERDUE):
                least, greatest = self._wait(one)
                if one.after == START:
                    low, high = self.start_lo, self.start_hi
                else:
                    low, high = self.lo[one.after], self.hi[one.after]
                    if self.state[one.after] == OVERDUE:
                        high = math.inf
                self.lo[index] = max(self.lo[index], low + least)
                self.hi[index] = max(self.lo[index], min(self.hi[index], high + greatest))
                if state == PENDING and one.certain:
                    due = min(due, self.hi[index] + self.delay.high, limit)
            elif state == BEGUN and one.length_ms is not None:
                end = self.hi[index] + self._length(one)[1] + self.delay.high
                due = min(due, end, limit)
        self.due = due + LEEWAY_MS
        self.retires = self._retires()

    def lateness(self, index: int, begins: bool, time: float) -> int:
        """Return -1 where a sight of a pass is too early, 1 where it is too late, else 0."""
        if begins:
            low, high = self.lo[index], self.hi[index]
        else:
            least, greatest = self._length(self.motion.passes[index])
            low, high = self.lo[index] + least, self.hi[index] + greatest
        if time < low + self.delay.low - LEEWAY_MS:
            return -1
        return 1 if time > high + self.delay.high + LEEWAY_MS else 0

    def too_late(self, index: int, time: float) -> bool:
        """Whether what is overdue cannot be what is seen now any more."""
        if self.state[index] != OVERDUE or self.ordered_only:
            return False
        longest = HANGS_MS if index == self.motion.rest else LATEST_MS
        return time > self.hi[index] + self.delay.high + longest

    def sight(self, index: int, begins: bool, time: float) -> None:
        """Take a pass for begun, or ended, as seen at a time."""
        self.last = time
        if self.first is None:
            self.first = time
        if not begins:
            self.state[index] = DONE
            self.refresh()
            return
        out_of_time = self.lateness(index, True, time)
        one = self.motion.passes[index]
        self.state[index] = BEGUN
        self.began[index] = time
        low, high = time - self.delay.high, time - self.delay.low
        if out_of_time:
            self._shift(index)
        else:
            low, high = max(low, self.lo[index]), max(min(high, self.hi[index]), self.lo[index])
        self.lo[index], self.hi[index] = low, max(low, high)
        self._look_back(index)
        if one.length_ms is None:
            self.state[index] = DONE
        self.refresh()

    def _shift(self, index: int) -> None:
        """What follows a pass out of time follows from that."""
        follows = {index}
        for number, one in enumerate(self.motion.passes):
            if one.after in follows and self.state[number] in (PENDING, OVERDUE):
                follows.add(number)
                self.lo[number], self.hi[number] = -math.inf, math.inf

    def _look_back(self, index: int) -> None:
        """Narrow when what came before can have happened."""
        passes = self.motion.passes
        while True:
            one = passes[index]
            least, greatest = self._wait(one)
            before = one.after
            low, high = self.lo[index] - greatest, self.hi[index] - least
            if before == START:
                self.start_lo = min(max(self.start_lo, low), max(high, self.start_lo))
                self.start_hi = max(min(self.start_hi, high), self.start_lo)
                return
            if self.state[before] in (BEGUN, DONE):
                return
            self.lo[before] = max(self.lo[before], low)
            self.hi[before] = max(self.lo[before], min(self.hi[before], high))
            index = before

    def overdue(self, time: float) -> list[tuple[int, bool]]:
        """Return what should have been seen by a time: the pass, and whether its beginning."""
        found = []
        limit = math.inf if self.ordered_only else self.last + HANGS_MS
        for index, one in enumerate(self.motion.passes):
            state = self.state[index]
            if state == PENDING and one.certain:
                if min(self.hi[index] + self.delay.high, limit) + LEEWAY_MS < time:
                    found.append((index, True))
            elif state == BEGUN and one.length_ms is not None:
                end = self.hi[index] + self._length(one)[1] + self.delay.high
                if min(end, limit) + LEEWAY_MS < time:
                    found.append((index, False))
        return found

    @property
    def waits(self) -> bool:
        """Whether anything certain is still to come."""
        return self.due < math.inf or any(
            (state == BEGUN and one.length_ms is not None)
            or (state == PENDING and one.certain)
            for state, one in zip(self.state, self.motion.passes, strict=True)
        )  # fmt: skip

    def _retires(self) -> float:
        """Return when nothing more can come of it."""
        if self.waits:
            return math.inf
        if self.ordered_only:
            return self.last + ORDERED
        if all(state in (DONE, SKIPPED) for state in self.state):
            return self.last + SETTLED_MS
        rest = self.motion.rest
        awaited = rest is None or self.state[rest] == OVERDUE
        return self.last + (HANGS_MS if awaited else SETTLED_MS)

    def unseen(self, index: int) -> float:
        """Return how much speaks against a sight of this pass: what should have come before it."""
        passes, state = self.motion.passes, self.state
        doubt = 0.0
        above = passes[index].after
        while above != START and state[above] not in (BEGUN, DONE):
            if state[above] == PENDING:
                doubt += _doubt(passes[above], self.known)
            above = passes[above].after
        return doubt

    def judgement(self) -> list[Anomaly]:
        """Return what is wrong with it, as far as it has been seen."""
        passes, state = self.motion.passes, self.state
        found = list(self.found)
        seen = max((index for index in self.path if state[index] in (BEGUN, DONE)), default=-1)
        trailing = [index for index in self.path if index > seen and state[index] == OVERDUE]
        if self.motion.rest is None:
            trailing = []
        for index, one in enumerate(passes):
            if state[index] != OVERDUE or index in trailing[1:]:
                continue
            if index in trailing:
                found.append(self._anomaly(one, "stuck", index, _NOT_ARRIVED.format(one.sensor)))
            elif one.length_ms is None and not one.worked:
                found.append(self._anomaly(one, "stuck", index, _STAYS_WORKED.format(one.sensor)))
            elif self.began[index] and one.length_ms is not None:
                found.append(self._anomaly(one, "stuck", index, _DOES_NOT_CLEAR.format(one.sensor)))
            else:
                found.append(self._anomaly(one, "missed", index, _MISSED.format(one.sensor)))
        return found

    def _anomaly(self, one: Pass, kind: AnomalyKind, index: int, why: str) -> Anomaly:
        time: float | None = self.began[index] or self._when(index)
        if self.ordered_only or time is None or math.isinf(time):
            time = None if self.ordered_only else self.last
        return Anomaly(time_ms=time, sensor=one.sensor, kind=kind, why=why)

    def _when(self, index: int) -> float:
        """About when an unseen pass was: the middle of its window, or its known end."""
        low, high = self.lo[index] + self.delay.low, self.hi[index] + self.delay.high
        if math.isinf(high):
            return low
        return high if math.isinf(low) else (low + high) / 2

    def cost(self) -> float:
        """Return what its anomalies cost; less at sensors that are known not to show balls."""
        return sum(
            SLIGHT
            if one.kind in ("late", "early")
            else AGAIN
            if one.sensor in self.known
            else TROUBLE
            for one in self.judgement()
        )


_NOT_ARRIVED: Final = (
    "a ball was on its way to {} and has not arrived: it hangs, or the sensor does not see it"
)
_STAYS_WORKED: Final = "the ball has gone, but {} still reads as if it were there"
_DOES_NOT_CLEAR: Final = "a ball has passed {}, but it still reads as if the ball were there"
_MISSED: Final = "a ball went past {} and it did not change"


def unseen_before(motion: Motion, index: int, known: frozenset[str]) -> float:
    """Return how much speaks against a first sight of a move at this pass.

    At sensors that are ``known`` not to show balls nothing is looked for.
    """
    return sum(_doubt(motion.passes[number], known) for number in motion.before[index])


def _doubt(one: Pass, known: frozenset[str]) -> float:
    return TROUBLE if one.certain and one.sensor not in known else UNSEEN
