"""Recorded runs with one thing planted in them that cannot be."""

from __future__ import annotations

import random

import attrs

import simrig
from simrig.expectation.flow import Flow, delay_of, moved
from simrig.expectation.motions import sampling_of
from simrig.expectation.passes import START
from simrig.expectation.recording import Recorder
from simrig.scan.events import Event
from simrig.world.balls import count_by_place
from simrig.world.moves import IllegalMoveError, Move, start
from simrig.world.phases import Conditions, legal_placements

MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")


@attrs.frozen
class Planted:
    """What was planted: its kind, its sensors, and from when to when it shows."""

    kind: str
    sensors: tuple[str, ...]
    since_ms: float
    until_ms: float


class Run:
    """A drawn run of moves on a machine, recorded."""

    def __init__(self, seed, *, machine=None, length=10, period_ms=None, coils=True, hands=False):
        self.random = random.Random(seed)
        self.hands, self.coils = hands, coils
        self.profile = simrig.load(machine or self.random.choice(MACHINES))
        self.sampling = sampling_of(self.profile, period_ms=period_ms)
        idle = start(self.profile, legal_placements(self.profile, Conditions())[0])
        self.flow = Flow.of(self.profile, idle, sampling=self.sampling)
        self.moves, self.placements = [], [idle]
        weight = {"feed": 0.1 * hands, "remove": 0.1 * hands, "set": 0.1, "take": 1.0}
        self.possible = [
            *(
                Move(verb="take", subject=route.id, target=end if len(route.to) > 1 else None)
                for route in self.profile.route
                for end in route.to
            ),
            *(
                Move(verb=verb, subject=place.id)
                for place in self.profile.place
                if not place.captive
                for verb in ("feed", "remove")
            ),
            *(
                Move(verb="set", subject=mechanism.id, target=state)
                for mechanism in self.profile.mechanism
                for state in mechanism.states
            ),
        ]
        self.weights = [weight[move.verb] for move in self.possible]
        hand = 1
        for _ in range(length):
            move = self._chosen(hand)
            self.moves.append(move)
            self.placements.append(moved(self.profile, self.placements[-1], move))
            hand += (move.verb == "remove") - (move.verb == "feed")
        recorder = Recorder(self.flow.motions, self.flow.table, seed=seed)
        self.log = list(recorder.record(idle, self.moves))
        self.starts = recorder.starts
        if not coils:
            self.log = [one for one in self.log if one.reading in ("open", "closed")]

    def _chosen(self, hand):
        """One of the moves that can be made, the rarer kinds less often."""
        while True:
            (move,) = self.random.choices(self.possible, self.weights)
            if move.verb == "feed" and not hand:
                continue
            try:
                moved(self.profile, self.placements[-1], move)
            except IllegalMoveError:
                continue
            return move

    def motion(self, number):
        return self.flow.motions.of(self.placements[number], self.moves[number])

    def ends(self, number):
        return self.starts[number + 1] if number + 1 < len(self.starts) else 1e12

    def edges(self, number, sensor):
        """The events of a sensor in a move, as indices into the log."""
        return [
            index
            for index, event in enumerate(self.log)
            if event.signal == sensor and self.starts[number] <= event.time_ms < self.ends(number)
        ]

    def passes(self, wanted):
        """The passes that a log must show, alone on their sensor in their move."""
        found = []
        for number in range(len(self.moves)):
            motion = self.motion(number)
            names = [one.sensor for one in motion.passes]
            for index, one in enumerate(motion.passes):
                edges = self.edges(number, one.sensor)
                alone = names.count(one.sensor) == 1
                if alone and one.certain and wanted(motion, index, one):
                    expected = 1 if one.length_ms is None else 2
                    if len(edges) == expected:
                        found.append((number, index, one, edges))
        return found

    def any_way(self, number, one):
        """The passes with which any ball may go by the same sensor into the same place."""
        motion = self.motion(number)
        balls = count_by_place(self.profile, self.placements[number]).get(motion.target, 0)
        moves = [
            Move(verb="take", subject=route.id, target=end if len(route.to) > 1 else None)
            for route in self.profile.route
            for end in route.to
            if end == motion.target
        ]
        for move in [*moves, Move(verb="feed", subject=motion.target)]:
            for other in self.flow.motions.between(move, 1, balls).passes:
                if (other.sensor, other.worked) == (one.sensor, one.worked):
                    yield other

    def without(self, indices):
        return [event for index, event in enumerate(self.log) if index not in set(indices)]

    def at(self, index, time_ms):
        self.log[index] = attrs.evolve(self.log[index], time_ms=time_ms)

    def sort(self):
        self.log.sort(key=lambda event: event.time_ms)

    def rests(self):
        """The sensors at positions of rest whose reading tells, where no phantom can be."""
        return [
            sensor.id
            for sensor in self.profile.sensor
            if sensor.spots and all(self.profile.spots[spot].resting for spot in sensor.spots)
        ]

    def alone(self, sensor):
        """Whether a sensor watches the only position of its place."""
        spot = self.profile.spots[self.profile.row("sensor", sensor).spots[0]]
        return self.profile.row("place", spot.place).capacity == 1

    def reading(self, sensor, time_ms):
        before = [e for e in self.log if e.signal == sensor and e.time_ms <= time_ms]
        return before[-1].reading

    def moment(self):
        """A moment at which nothing moves."""
        number = self.random.randrange(len(self.moves))
        end = self.ends(number)
        last = max(event.time_ms for event in self.log if event.time_ms < min(end, 1e11))
        if end > 1e11:
            return last + 2200.0
        return end - self.random.uniform(50.0, 300.0)

    def differ(self, one, other):
        """Whether two sensors read differently for a second, as balls or none lie there."""
        state, since = {}, None
        for event in self.log:
            if since is not None and event.time_ms - since > 1000.0:
                return True
            if event.signal in (one, other):
                state[event.signal] = event.reading
                differ = len(state) == 2 and len(set(state.values())) == 2
                since = event.time_ms if differ else None
        return False

    def go_on(self):
        """The log goes on for half a minute in which nothing happens."""
        last = self.log[-1]
        state = [e for e in self.log if e.reading in ("open", "closed")][-1]
        self.log.append(attrs.evolve(state, time_ms=last.time_ms + 30_000.0))

    def insert(self, sensor, times):
        """Let a sensor change at each of an even number of times."""
        opposite = {"open": "closed", "closed": "open"}
        reading = self.reading(sensor, times[0])
        for time in times:
            reading = opposite[reading]
            self.log.append(Event(time_ms=time, signal=sensor, reading=reading))
        self.sort()


# An edit of one sensor's rows cannot be where its switch makes others read closed; and
# only where all speeds are known a ball can be too early.
ROOM = {"bounce": MACHINES[:1], "early": MACHINES[:1]}


def plant(kind, seed, **options):
    """Return a run with an anomaly of a kind planted, and what was; tries until one has room."""
    for attempt in range(200):
        names = ROOM.get(kind, MACHINES[:2])
        machine = random.Random(seed).choice(names)
        run = Run(seed * 1000 + attempt, machine=machine, **options)
        planted = PLANTERS[kind](run)
        if planted is not None:
            run.go_on()
            return run, planted
    raise AssertionError(f"no room for {kind}")


def _missed(run):
    found = [
        (number, index, one, edges)
        for number, index, one, edges in run.passes(
            lambda motion, index, one: one.length_ms is not None
        )
        if not one.worked or all(other.certain for other in run.any_way(number, one))
    ]
    if not found:
        return None
    _, _, one, edges = run.random.choice(found)
    since, until = run.log[edges[0]].time_ms, run.log[edges[1]].time_ms
    run.log = run.without(edges)
    return Planted("missed", (one.sensor,), since, until)


def _flicker(run):
    lights = [
        name for name in run.rests()
        if run.profile.technology(run.profile.row("sensor", name)) == "light"
    ]  # fmt: skip
    if not lights:
        return None
    sensor = run.random.choice(lights)
    time = run.moment()
    times = [time]
    for _ in range(2 * run.random.randint(1, 4) - 1):
        times.append(times[-1] + run.random.uniform(5.0, 15.0))
    run.insert(sensor, times)
    return Planted("flicker", (sensor,), time, times[-1])


def _bounce(run):
    contacts = [
        name for name in run.rests()
        if run.profile.technology(run.profile.row("sensor", name)) == "contact"
        and run.alone(name)
    ]  # fmt: skip
    edges = [
        event for event in run.log[:-1]
        if event.signal in contacts and event.time_ms > 0
    ]  # fmt: skip
    alone = [
        event for event in edges
        if not any(other.signal == event.signal and other is not event
                   and abs(other.time_ms - event.time_ms) < 100 for other in run.log)
    ]  # fmt: skip
    if not alone:
        return None
    event = run.random.choice(alone)
    times = [event.time_ms + run.random.uniform(3.0, 9.0)]
    for _ in range(2 * run.random.randint(1, 3) - 1):
        times.append(times[-1] + run.random.uniform(3.0, 9.0))
    run.insert(event.signal, times)
    return Planted("bounce", (event.signal,), event.time_ms, times[-1])


def _stuck(run):
    """The last occupied position, or the place that a ball has left, goes on reading a ball."""
    found = run.passes(
        lambda motion, index, one: one.length_ms is None and not one.worked and index > 0
    )  # fmt: skip
    if not found:
        return None
    _, _, one, edges = run.random.choice(found)
    since = run.log[edges[0]].time_ms
    gone = [
        index for index, event in enumerate(run.log)
        if event.signal == one.sensor and event.time_ms >= since
    ]  # fmt: skip
    run.log = run.without(gone)
    # The log goes on long enough for the rest of the run to be over.
    return Planted("stuck", (one.sensor,), since, since)


def _late(run):
    """A ball takes far longer to the next sensor than one that rolls freely."""
    found = [
        (number, index, one, edges)
        for number, index, one, edges in run.passes(
            lambda motion, index, one: one.worked and index == motion.rest
            and one.after != START and one.wait_ms.high < 4000.0
        )
        if run.edges(number, run.motion(number).passes[one.after].sensor)
    ]  # fmt: skip
    if not found:
        return None
    number, _, one, edges = run.random.choice(found)
    event = run.log[edges[0]]
    by = one.wait_ms.high + run.random.uniform(300.0, 3000.0)
    for later in range(len(run.log)):
        if later == edges[0] or run.log[later].time_ms >= run.ends(number):
            run.at(later, run.log[later].time_ms + by)
    run.sort()
    return Planted("late", (one.sensor,), event.time_ms + by, event.time_ms + by)


def _early(run):
    """A ball is at the next sensor sooner than any ball can be."""
    spread = delay_of(run.sampling)
    least = 3.0 + spread.high - spread.low
    found = [
        (number, index, one, edges)
        for number, index, one, edges in run.passes(
            lambda motion, index, one: one.worked and one.after != START
            and motion.passes[one.after].certain and one.wait_ms.low > least
        )
        if run.edges(number, run.motion(number).passes[one.after].sensor)
        and min(other.wait_ms.low for other in run.any_way(number, one)) > least
        and all(
            other.certain
            for other in run.any_way(number, run.motion(number).passes[one.after])
        )
    ]  # fmt: skip
    if not found:
        return None
    number, _, one, edges = run.random.choice(found)
    fastest = min(other.wait_ms.low for other in run.any_way(number, one))
    before = run.log[run.edges(number, run.motion(number).passes[one.after].sensor)[0]]
    time = before.time_ms + run.random.uniform(0.1, 0.6 * (fastest - least))
    run.at(edges[0], time)
    run.sort()
    return Planted("early", (one.sensor,), time, time)


def _returned(run):
    """After a ball has come to rest it rolls out again past the empty positions."""
    number = max((one for one in range(len(run.moves)) if run.motion(one).rest), default=0)
    motion = run.motion(number)
    run.log = [event for event in run.log if event.time_ms < run.ends(number) - 500.0]
    place = run.profile.row("place", motion.target)
    if place is None or place.capacity < 2 or motion.rest is None:
        return None
    sensors = [one.sensor for one in motion.passes[: motion.rest + 1] if one.worked]
    own = [
        name for name in sensors
        if run.profile.spots[run.profile.row("sensor", name).spots[0]].place == place.id
    ]  # fmt: skip
    last = run.edges(number, motion.passes[motion.rest].sensor)
    if not run.coils and len(own) == place.capacity:
        return None  # Without coils, a ball at the exit may have been kicked.
    if len(last) != 1 or len(own) < 2 or any(len(run.edges(number, n)) != 2 for n in own[:-1]):
        return None
    time = max(event.time_ms for event in run.log) + run.random.uniform(100.0, 900.0)
    planted = Planted("returned", tuple(own), time, time + 500.0)
    run.insert(own[-1], [time])
    for name in reversed(own[:-1]):
        time += run.random.uniform(30.0, 80.0)
        run.insert(name, [time, time + run.random.uniform(25.0, 60.0)])
    return planted


def _swapped(run):
    """The leads of two sensors of one place are exchanged throughout."""
    moved = {event.signal for event in run.log if event.time_ms > 0}
    # In a place of two a single ball may as well have come and gone again.
    place_of = {
        name: run.profile.spots[run.profile.row("sensor", name).spots[0]].place
        for name in run.rests()
        if name in moved
    }
    pairs = [
        (one, other) for one in place_of for other in place_of
        if one < other
        and place_of[one] == place_of[other]
        and run.profile.row("place", place_of[one]).capacity > 2
        and run.differ(one, other)
    ]  # fmt: skip
    if not pairs:
        return None
    one, other = run.random.choice(pairs)
    crossed = {one: other, other: one}
    run.log = [attrs.evolve(e, signal=crossed.get(e.signal, e.signal)) for e in run.log]
    first = min(e.time_ms for e in run.log if e.signal in crossed and e.time_ms > 0)
    return Planted("swapped", (one, other), 0.0, first)


PLANTERS = {
    "missed": _missed,
    "flicker": _flicker,
    "bounce": _bounce,
    "stuck": _stuck,
    "late": _late,
    "early": _early,
    "returned": _returned,
    "swapped": _swapped,
}


def found(anomalies, planted, within_ms=1000.0):
    """Whether an anomaly of the planted kind is told, of its sensor, at its time."""
    for one in anomalies:
        if one.kind != planted.kind or one.sensor not in planted.sensors:
            continue
        if planted.kind == "swapped":
            if set(planted.sensors) == {one.sensor, *one.others}:
                return True
        elif planted.since_ms - within_ms <= one.time_ms <= planted.until_ms + within_ms:
            return True
    return False
