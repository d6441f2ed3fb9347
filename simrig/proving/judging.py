"""A recorded run of a plan, judged: did every sensor do what the plan says, and in its turn?

Each sensor's changes are laid against those that the plan expects of it, at the
least number of changes missed and added; what may go unseen costs nothing, nor does a
ball that rebounds where it came to rest.  Then the sensors are held against each
other: along the log no change may belong to an earlier step than one before it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

import attrs

from simrig.expectation.anomalies import Anomaly, AnomalyKind
from simrig.proving.plan import Plan
from simrig.scan.events import Event

QUIET_MS: Final = 2000.0
"""So long without a change, and every ball lies (common practice, no source)."""
MOST_CROSSED: Final = 6
"""With more sensors at odds, two crossed leads are not the reason."""
MOST_CHANGES: Final = 600
"""More changes of one sensor than any plan gives are a flicker, whatever they are."""


Place = tuple[int, int]
"""A step, and the turn within it; 0 where the order within the step is not sure."""


class Item(NamedTuple):
    """A change that the plan expects of one sensor."""

    step: int
    reading: str
    certain: bool
    turn: int = 0

    @property
    def place(self) -> Place:
        """Where in the plan it belongs."""
        return self.step, self.turn


class Matched(NamedTuple):
    """A recorded change, and the places in the plan to which it can belong."""

    turn: int
    places: frozenset[Place]
    sensor: str
    event: Event


@attrs.frozen(kw_only=True)
class Judged:
    """What became of a recorded run; it ``passed`` when there is no anomaly."""

    anomalies: tuple[Anomaly, ...]

    @property
    def passed(self) -> bool:
        """Whether every sensor did what the plan expects."""
        return not self.anomalies


def judge(plan: Plan, events: Iterable[Event]) -> Judged:
    """Hold a log against a plan; coils and switches that are no ball sensors do not matter."""
    log = [event for event in events if event.signal in plan.steps[0].reads]
    found = _anomalies(plan, log)
    return Judged(anomalies=tuple(_crossed(plan, log, found)))


def _anomalies(plan: Plan, log: Sequence[Event]) -> list[Anomaly]:
    expected = expected_changes(plan)
    opening, changes = _changes(plan, log)
    found: list[Anomaly] = []
    matched: list[Matched] = []
    astray: set[str] = set()
    for sensor, items in expected.items():
        usual = plan.steps[0].reads[sensor]
        start = opening.get(sensor, usual)
        if start != usual and usual != "either":
            why = f"it reads {start} with all balls out; {usual} was expected"
            found.append(Anomaly(time_ms=None, sensor=sensor, kind="stuck", why=why))
            continue
        recorded = changes.get(sensor, [])
        anomalies, pairs = _align(plan, sensor, items, [event for _, event in recorded])
        if anomalies:
            found += anomalies
            astray.add(sensor)
        matched += [
            Matched(recorded[index][0], places, sensor, recorded[index][1])
            for index, places in pairs
            if places
        ]
    found += _out_of_turn(plan, sorted(matched, key=lambda one: one.turn), astray)
    return found or _at_rest(plan, log)


def expected_changes(plan: Plan) -> dict[str, list[Item]]:
    """Return for each ball sensor the changes that the plan expects of it, in order."""
    found: dict[str, list[Item]] = {name: [] for name in plan.steps[0].reads}
    for number, step in enumerate(plan.steps):
        for one in step.changes:
            if one.sensor in found and one.reading in ("closed", "open"):
                found[one.sensor].append(Item(number, one.reading, one.certain, one.turn))
        for name in sorted((step.rests | step.unsure) & found.keys()):
            there = step.reads[name]
            if there in ("closed", "open"):
                away = "open" if there == "closed" else "closed"
                found[name] += [Item(number, away, False), Item(number, there, False)] * 2
    return found


def _changes(
    plan: Plan, events: Iterable[Event]
) -> tuple[dict[str, str], dict[str, list[tuple[int, Event]]]]:
    """Sort a log by sensor: what each read at the start, and its changes with their turns."""
    known = plan.steps[0].reads
    state: dict[str, str] = {}
    opening: dict[str, str] = {}
    changes: dict[str, list[tuple[int, Event]]] = {}
    first_time: float | None = None
    for turn, event in enumerate(events):
        if event.signal not in known:
            continue
        if not state:
            first_time = event.time_ms
        at_start = first_time is not None and event.time_ms == first_time
        name = event.signal
        if name not in state:
            state[name] = event.reading
            if at_start or event.reading == known[name]:
                opening[name] = event.reading
                continue
        elif state[name] == event.reading:
            continue
        state[name] = event.reading
        changes.setdefault(name, []).append((turn, event))
    return opening, changes


def _align(
    plan: Plan, sensor: str, items: Sequence[Item], recorded: Sequence[Event]
) -> tuple[list[Anomaly], list[tuple[int, frozenset[Place]]]]:
    """Lay recorded changes against expected ones; return what is wrong, and what belongs together."""
    if len(recorded) > MOST_CHANGES:
        first = recorded[0]
        why = f"it changes {len(recorded)} times"
        return [_added(sensor, why, first)], []
    before = _costs(items, recorded)
    after = _costs(items[::-1], recorded[::-1])
    least = before[-1][-1]
    pairs: list[tuple[int, frozenset[Place]]] = []
    for r, event in enumerate(recorded):
        places = {
            item.place
            for i, item in enumerate(items)
            if item.reading == event.reading
            and before[r][i] + after[len(recorded) - r - 1][len(items) - i - 1] == least
        }
        pairs.append((r, frozenset(places)))
    missed: list[Item] = []
    added: list[Event] = []
    r, i = len(recorded), len(items)
    while r or i:
        if (
            r
            and i
            and items[i - 1].reading == recorded[r - 1].reading
            and before[r][i] == before[r - 1][i - 1]
        ):
            r, i = r - 1, i - 1
        elif i and before[r][i] == before[r][i - 1] + items[i - 1].certain:
            i -= 1
            if items[i].certain:
                missed.append(items[i])
        else:
            r -= 1
            added.append(recorded[r])
    found = []
    if missed:
        earliest = missed[-1]
        kind: AnomalyKind = "missed" if recorded else "stuck"
        why = f'at "{plan.steps[earliest.step].do}" it did not go {earliest.reading}'
        if len(missed) > 1:
            why += f", and {len(missed) - 1} times more"
        found.append(Anomaly(time_ms=None, sensor=sensor, kind=kind, why=why))
    elif added:
        first_added = added[-1]
        why = f"it went {first_added.reading} where nothing moved it"
        if len(added) > 1:
            why += f", and {len(added) - 1} times more"
        found.append(_added(sensor, why, first_added))
    return found, pairs


def _costs(items: Sequence[Item], recorded: Sequence[Event]) -> list[list[int]]:
    """Return the least number of changes missed and added, for every beginning of both."""
    rows = [[0] * (len(items) + 1) for _ in range(len(recorded) + 1)]
    for i, item in enumerate(items, 1):
        rows[0][i] = rows[0][i - 1] + item.certain
    for r, event in enumerate(recorded, 1):
        row, above = rows[r], rows[r - 1]
        row[0] = r
        for i, item in enumerate(items, 1):
            best = min(row[i - 1] + item.certain, above[i] + 1)
            if item.reading == event.reading:
                best = min(best, above[i - 1])
            row[i] = best
    return rows


def _added(sensor: str, why: str, event: Event) -> Anomaly:
    return Anomaly(time_ms=event.time_ms, sensor=sensor, kind="flicker", why=why, line=event.line)


def _out_of_turn(plan: Plan, matched: Sequence[Matched], known: set[str]) -> list[Anomaly]:
    """Name the sensors whose changes come in another step's turn."""
    sure = [one for one in matched if len(one.places) == 1]
    rising = _longest_rising([min(one.places) for one in sure])
    anchors = {one.turn: min(one.places)[0] for index, one in enumerate(sure) if index in rising}
    strays: dict[str, Anomaly] = {}
    turns = sorted(anchors)
    for one in matched:
        if one.turn in anchors or one.sensor in known or one.sensor in strays:
            continue
        place = bisect_right(turns, one.turn)
        least = anchors[turns[place - 1]] if place else 0
        most = anchors[turns[place]] if place < len(turns) else len(plan.steps)
        if any(least <= step <= most for step, _ in one.places) and len(one.places) > 1:
            continue
        if not any(least <= step <= most for step, _ in one.places):
            why = f'it went {one.event.reading} where nothing moved it, about "{plan.steps[least].do}"'
            kind: AnomalyKind = "flicker"
        else:
            why, kind = f'out of its turn in "{plan.steps[least].do}"', "swapped"
        strays[one.sensor] = Anomaly(
            time_ms=one.event.time_ms,
            sensor=one.sensor,
            kind=kind,
            why=why,
            line=one.event.line,
        )
    return [
        attrs.evolve(one, others=tuple(name for name in strays if name != one.sensor))
        if one.kind == "swapped"
        else one
        for one in strays.values()
    ]


def _longest_rising(places: Sequence[Place]) -> set[int]:
    """Return the places of a longest row that never falls."""
    tails: list[Place] = []
    last: list[int] = []
    before: list[int] = []
    for index, place in enumerate(places):
        rank = bisect_right(tails, place)
        before.append(last[rank - 1] if rank else -1)
        if rank == len(tails):
            tails.append(place)
            last.append(index)
        else:
            tails[rank], last[rank] = place, index
    kept: set[int] = set()
    index = last[-1] if last else -1
    while index >= 0:
        kept.add(index)
        index = before[index]
    return kept


def _at_rest(plan: Plan, log: Sequence[Event]) -> list[Anomaly]:
    """Hold what reads while nothing moves against what reads after some step, in order."""
    state: dict[str, str] = {}
    step = 0
    for number, event in enumerate(log):
        if event.signal in plan.steps[0].reads:
            state[event.signal] = event.reading
        following = log[number + 1].time_ms if number + 1 < len(log) else None
        if event.time_ms is None or (
            following is not None and following - event.time_ms < QUIET_MS
        ):
            continue
        differing = [
            [
                name
                for name, reading in one.reads.items()
                if reading != "either" and state.get(name, reading) != reading
            ]
            for one in plan.steps[step:]
        ]
        if [] in differing:
            step += differing.index([])
            continue
        names = min(differing, key=len)
        wanted = plan.steps[step + differing.index(names)].reads
        return [
            Anomaly(
                time_ms=event.time_ms,
                sensor=name,
                kind="swapped" if len(names) == 2 else "missed",
                why=f"at rest it reads {state[name]}; {wanted[name]} was expected",
                line=event.line,
                others=tuple(other for other in names if other != name),
            )
            for name in names
        ]
    return []


def _crossed(plan: Plan, log: Sequence[Event], found: list[Anomaly]) -> list[Anomaly]:
    """Say of two sensors that are crossed if the run is as it should be with their names exchanged."""
    odd = list(dict.fromkeys(one.sensor for one in found))
    if not 0 < len(odd) <= MOST_CROSSED:
        return found
    for one in odd:
        for other in plan.steps[0].reads:
            if other == one or (other in odd and other < one):
                continue
            names = {one: other, other: one}
            exchanged = [
                attrs.evolve(event, signal=names[event.signal]) if event.signal in names else event
                for event in log
            ]
            if not _anomalies(plan, exchanged):
                return [
                    Anomaly(
                        time_ms=None,
                        sensor=name,
                        kind="swapped",
                        why=f"it did what {names[name]} should, and the other way round",
                        others=(names[name],),
                    )
                    for name in sorted(names)
                ]
    return found
