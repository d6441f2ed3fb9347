"""The judgement of a log in words for the bench."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from simrig.expectation.replay import Replay
from simrig.profile.machine import Profile
from simrig.reports import wording
from simrig.world.phases import Conditions, phase_of

FIRST: Final = 5
OTHERS: Final = 3


def answer(
    profile: Profile, conditions: Conditions, found: Replay, *, every: bool = False
) -> Iterator[str]:
    """Yield the lines: what was assumed, the verdict, what is wrong, where the balls are."""
    yield wording.folded(_assumed(profile, conditions, found))
    yield ""
    if not found.events:
        yield "The log holds no row of a known sensor: nothing to judge."
    elif found.agrees:
        yield wording.folded(
            f"The log agrees with what the balls must have done ({found.events} rows)."
        )
    else:
        number = len(found.anomalies) + found.untold
        what = "one thing that cannot be" if number == 1 else f"{number} things that cannot be"
        yield wording.folded(f"The log shows {what}, if the balls only roll and are kicked:")
    shown = found.anomalies if every else found.anomalies[:FIRST]
    for one in shown:
        when = "" if one.time_ms is None else f"{moment(one.time_ms)}  "
        line = f" (line {one.line})" if one.line else ""
        yield wording.folded(f"  {when}{one.kind.upper()} {one.sensor}: {one.why}{line}.", "    ")
    left = len(found.anomalies) - len(shown) + found.untold
    if left:
        yield f"  {left} more: --all" if not every else f"  {left} more, too many to list"
    yield ""
    yield wording.folded(f"At its end: {wording.balls_at(profile, found.balls)}.")
    for balls in found.or_balls[:OTHERS]:
        yield wording.folded(f"  or: {wording.balls_at(profile, balls)}.", "    ")
    if found.or_balls:
        yield "No sensor tells these apart."
    if not found.timed:
        yield "The log has no times: only the order was judged."


def moment(time_ms: float) -> str:
    """Return a time as people read it off a log: seconds, or minutes and seconds."""
    seconds = time_ms / 1000
    if abs(seconds) < 600:
        return f"{seconds:.3f} s"
    minutes, rest = divmod(seconds, 60)
    return f"{int(minutes)} min {rest:06.3f} s"


def _assumed(profile: Profile, conditions: Conditions, found: Replay) -> str:
    said = any((conditions.phase, conditions.at, conditions.spots is not None))
    if said or conditions.balls is not None:
        return wording.assumed(profile, conditions)
    if found.phase is None:
        return "Assumed: the balls lie as the first readings say; you did not say where they are."
    title = phase_of(profile, found.phase).title
    reason = "as its first readings say" if found.opened else "its changes fit that"
    return f"Assumed at its start: {title}; you did not say, {reason}."
