"""What one job at one machine has come to: a fold over everything that was tapped.

Each tap is an event that is kept for good; the state follows from the events
alone, so that nothing else needs saving.  ``undo`` takes back the last event
that still counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

import attrs

from simrig.expectation.observation import Observation, observe
from simrig.profile.machine import Profile
from simrig.signals import CLOSED, FLICKERS, OPEN, UNKNOWN
from simrig.world.phases import Conditions

SEEN: Final = (CLOSED, OPEN, FLICKERS)
KINDS: Final = ("phase", "balls", "see", "agree", "sheet", "ask", "check", "skip", "fed", "undo")


@attrs.frozen(kw_only=True)
class Event:
    """One thing that somebody tapped: ``seq`` counts from 1, ``key`` is the phone's own name for it."""

    seq: int
    key: str
    kind: str
    value: Any


@attrs.frozen(kw_only=True)
class SheetState:
    """One sheet: what is assumed, and what was tapped; sensors not in it were not looked at."""

    phase: str | None = None
    balls: int | None = None
    readings: Mapping[str, str] = attrs.field(factory=dict)

    @property
    def conditions(self) -> Conditions:
        """What is assumed, as the commands take it."""
        return Conditions(phase=self.phase, balls=self.balls)

    def observation(self, profile: Profile) -> Observation:
        """What was seen, as the commands take it; sensors that the profile lacks are left out."""
        known = {n: seen for n, seen in self.readings.items() if profile.row("sensor", n)}
        return observe(
            profile,
            closed=[name for name, seen in known.items() if seen == CLOSED],
            open=[name for name, seen in known.items() if seen == OPEN],
            flicker=[name for name, seen in known.items() if seen == FLICKERS],
            closed_named=True,
            open_named=True,
        )


@attrs.frozen(kw_only=True)
class State:
    """A job as it stands: its sheets, the last of them being filled in, and what was answered."""

    sheets: tuple[SheetState, ...] = (SheetState(),)
    asked: bool = False
    checks: tuple[tuple[str, str], ...] = ()
    skipped: tuple[str, ...] = ()
    fed: Mapping[int, bool] = attrs.field(factory=dict)
    can_undo: bool = False

    @property
    def sheet(self) -> SheetState:
        """The sheet that is being filled in."""
        return self.sheets[-1]

    @property
    def taken(self) -> tuple[SheetState, ...]:
        """The sheets on which something was seen."""
        return tuple(sheet for sheet in self.sheets if sheet.readings)


def fold(events: Iterable[Event]) -> State:
    """Return the state to which events lead."""
    standing: list[Event] = []
    for event in events:
        if event.kind == "undo":
            if standing:
                standing.pop()
        else:
            standing.append(event)
    state = State(can_undo=bool(standing))
    for event in standing:
        state = _after(state, event.kind, event.value)
    return state


def _after(state: State, kind: str, value: Any) -> State:
    sheet = state.sheet
    if kind == "phase":
        return _sheet(state, attrs.evolve(sheet, phase=value))
    if kind == "balls":
        return _sheet(state, attrs.evolve(sheet, balls=value))
    if kind in ("see", "agree"):
        readings = dict(sheet.readings) | dict(value)
        kept = {name: seen for name, seen in readings.items() if seen != UNKNOWN}
        return _sheet(state, attrs.evolve(sheet, readings=kept))
    if kind == "sheet":
        fresh = SheetState(phase=sheet.phase, balls=sheet.balls)
        return attrs.evolve(state, sheets=(*state.sheets, fresh))
    if kind == "ask":
        return attrs.evolve(state, asked=bool(value))
    if kind == "check":
        return attrs.evolve(state, checks=(*state.checks, (value["check"], value["result"])))
    if kind == "skip":
        return attrs.evolve(state, skipped=(*state.skipped, value))
    if kind == "fed":
        return attrs.evolve(state, fed={**state.fed, value["step"]: value["right"]})
    return state


def _sheet(state: State, sheet: SheetState) -> State:
    return attrs.evolve(state, sheets=(*state.sheets[:-1], sheet))


def checked(profile: Profile, kind: str, value: Any) -> Any:
    """Return the value of an event as it is kept; raises ValueError, in words, for one that is
    not taken."""
    if kind == "phase":
        if profile.row("phase", value if isinstance(value, str) else None) is None:
            raise ValueError("this machine has no such phase")
        return value
    if kind == "balls":
        most = profile.balls.installed + 1
        if type(value) is not int or not 0 <= value <= most:
            raise ValueError(f"wanted a whole number of balls, from 0 to {most}")
        return value
    if kind == "see":
        return _readings(profile, value)
    if kind == "ask":
        return bool(value)
    if kind in ("sheet", "undo", "agree"):
        return None
    if kind == "check":
        return _words(value, "check", "result")
    if kind == "skip":
        return _words({"check": value}, "check")["check"]
    if kind == "fed":
        if (
            not isinstance(value, Mapping)
            or type(value.get("step")) is not int
            or not 0 <= value["step"] < 1000
            or type(value.get("right")) is not bool
        ):
            raise ValueError("wanted the number of a step, and whether it was right")
        return {"step": value["step"], "right": value["right"]}
    raise ValueError(f"wanted one of {', '.join(KINDS)}")


def _readings(profile: Profile, value: Any) -> dict[str, str]:
    if not isinstance(value, Mapping) or not 0 < len(value) <= len(profile.sensor):
        raise ValueError("wanted a reading for at least one sensor")
    for name, seen in value.items():
        if profile.row("sensor", name) is None:
            raise ValueError("this machine has no such sensor")
        if seen not in (*SEEN, UNKNOWN):
            raise ValueError("wanted closed, open, flickers or unknown")
    return dict(value)


def _words(value: Any, *names: str) -> dict[str, str]:
    if not isinstance(value, Mapping):
        raise ValueError(f"wanted {' and '.join(names)}")
    found = {}
    for name in names:
        word = value.get(name)
        if not isinstance(word, str) or not 0 < len(word) <= 200:
            raise ValueError(f"wanted {name} in words")
        found[name] = word
    return found
