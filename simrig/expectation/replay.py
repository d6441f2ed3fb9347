"""A recorded log held against what the balls must have done.

The log does not say which moves were made, nor where the balls lay: that is worked out
as it is read, once, from its start to its end.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import attrs

from simrig.expectation.anomalies import Anomaly
from simrig.expectation.contacts import Contacts
from simrig.expectation.geometry import Allowance
from simrig.expectation.motions import Motions, sampling_of
from simrig.expectation.observation import resolve
from simrig.expectation.opening import opening
from simrig.expectation.scene import Scene
from simrig.expectation.tracking import Tracker
from simrig.profile.machine import Profile
from simrig.scan.events import Event
from simrig.scan.sampling import Sampling
from simrig.world.moves import Move
from simrig.world.phases import Conditions


class StartError(ValueError):
    """The balls cannot lie as the log is said to start; says why."""


@attrs.frozen(kw_only=True)
class Made:
    """A move that the log shows: a ball on its way, and when that was first seen."""

    time_ms: float | None
    move: Move


@attrs.frozen(kw_only=True)
class Replay:
    """What a log shows.

    ``balls`` is where the balls are at its end, those on their way at the place they
    go to.  ``phase`` names the phase with whose positions it starts, None where they were
    stated or are no phase's.  ``notes`` say in words what was left out,
    ``moves`` which moves were made, where that was asked for; ``untold`` counts
    anomalies beyond the first thousands.  ``changed`` are the sensors whose readings changed;
    ``opened`` tells that the log starts with the readings of most sensors.
    """

    anomalies: tuple[Anomaly, ...]
    balls: Mapping[str, int]
    phase: str | None
    events: int
    timed: bool
    notes: tuple[str, ...]
    moves: tuple[Made, ...] = ()
    untold: int = 0
    changed: frozenset[str] = frozenset()
    opened: bool = False
    or_balls: tuple[Mapping[str, int], ...] = ()
    """Where else the balls can be at its end, as far as the log tells, the likeliest first."""

    @property
    def agrees(self) -> bool:
        """Whether the log agrees with what the balls must have done."""
        return not self.anomalies


def replay(
    profile: Profile,
    events: Iterable[Event],
    *,
    conditions: Conditions | None = None,
    sampling: Sampling | None = None,
    allowance: Allowance | None = None,
    keep_moves: bool = False,
) -> Replay:
    """Judge a log; it is read once, and not kept.

    ``conditions`` say where the balls are at its start; without any, idle is taken for
    granted unless its first readings say otherwise.  Times are judged where the events
    have any, else only their order.  ``sampling`` is the profile's where it is left out.

    Raises StartError, in words, for conditions that the machine cannot have.
    """
    reader = _Names(profile)
    groups = _groups(reader.known(events))
    first = next(groups, None)
    timed = first is None or first[0].time_ms is not None
    motions = Motions(profile, sampling=sampling or sampling_of(profile), allowance=allowance)
    scene = Scene(motions, Contacts(profile), ordered_only=not timed)
    scene.time = scene.first_time = 0.0
    if first is not None and first[0].time_ms is not None:
        scene.time = scene.first_time = first[0].time_ms
    dump = _dump(scene, first or [])
    scene.closed.update(dump)
    scene.look_for_phantoms()
    scene.keep_moves = keep_moves
    try:
        accounts = opening(scene, conditions or Conditions(), dump)
    except ValueError as error:
        raise StartError(str(error)) from None
    tracker = Tracker(scene, accounts, opening=20 if dump else 60)
    count = 0
    if first is not None:
        count = len(first)
        tracker.feed(first)
    for group in groups:
        count += len(group)
        tracker.feed(group)
    best = tracker.finish()
    balls = _places(profile, best.counts, best.laid)
    others = [
        _places(profile, one, best.laid)
        for one in tracker.options.other_ends(tracker.accounts, best)
    ]
    return Replay(
        anomalies=tuple(sorted(best.told(), key=lambda one: (one.time_ms or 0.0, one.line))),
        balls=balls,
        or_balls=tuple(
            one for number, one in enumerate(others) if one != balls and one not in others[:number]
        ),
        phase=best.phase,
        events=count,
        timed=timed,
        notes=tuple(reader.notes(scene)),
        untold=best.untold,
        changed=frozenset(scene.changed),
        opened=bool(dump),
        moves=tuple(Made(time_ms=time if timed else None, move=move) for time, move in best.made()),
    )


def _places(profile: Profile, at: Mapping[str, int], laid: Iterable[str]) -> dict[str, int]:
    counts = dict(at)
    for spot in laid:
        place = profile.spots[spot].place or profile.spots[spot].route or spot
        counts[place] = counts.get(place, 0) + 1
    order = [place.id for place in profile.place]
    return {
        name: counts[name]
        for name in sorted(counts, key=lambda one: order.index(one) if one in order else 99)
        if counts[name]
    }


def _groups(events: Iterable[Event]) -> Iterator[list[Event]]:
    """Gather what happens at one moment; without times, each event is a moment."""
    group: list[Event] = []
    for event in events:
        if group and (event.time_ms is None or event.time_ms != group[0].time_ms):
            yield group
            group = []
        group.append(event)
    if group:
        yield group


def _dump(scene: Scene, group: list[Event]) -> dict[str, bool]:
    """Return the readings with which a log starts, if it starts with those of most sensors."""
    states = {
        event.signal: event.reading == "closed"
        for event in group
        if event.reading in ("closed", "open")
    }
    judged = scene.contacts.closed_when_worked
    if 2 * sum(name in judged for name in states) < len(judged) or len(states) < 2:
        return {}
    return states


class _Names:
    """Finds the sensors and coils that a log names, by id, address or the manual's number."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self._found: dict[str, str | None] = {}
        self._lines: dict[str, int] = {}
        self._why: dict[str, str] = {}

    def known(self, events: Iterable[Event]) -> Iterator[Event]:
        """Yield the events of known signals, under their own names."""
        for event in events:
            name = event.signal
            if name not in self._found:
                self._found[name] = self._find(name, event)
            known = self._found[name]
            if known is not None:
                yield event if known == name else attrs.evolve(event, signal=known)

    def _find(self, name: str, event: Event) -> str | None:
        coil = event.reading in ("on", "off")
        for word in (name, name.lower().replace("_", "-"), name.rpartition(".")[2]):
            if coil and self.profile.row("coil", word) is not None:
                return word
        if coil:
            self._lines[name] = event.line
            self._why[name] = f'no coil is called "{name}"; simrig show lists them'
            return None
        for word in (name, name.replace("_", "-"), name.rpartition(".")[2].replace("_", "-")):
            try:
                found = resolve(self.profile, word)
            except ValueError as error:
                self._why.setdefault(name, str(error))
                continue
            if len(found) == 1:
                self._why.pop(name, None)
                return found[0]
        self._lines[name] = event.line
        return None

    def notes(self, scene: Scene) -> Iterator[str]:
        """Say what was left out, and why."""
        for name, why in self._why.items():
            if self._found.get(name, "") is None:
                line = self._lines.get(name)
                where = f"line {line}: " if line else ""
                yield f"{where}{why}; its rows are left out"
        for known in self._found.values():
            if known is not None and known in scene.contacts.unjudged:
                yield f"{known} is not judged: {scene.contacts.unjudged[known]}"
