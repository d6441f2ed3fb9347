"""A log that somebody drops on the page: judged, and drawn where something in it does not belong."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import attrs

from simrig.expectation.anomalies import Anomaly
from simrig.expectation.flow import Flow
from simrig.expectation.replay import Made, Replay, replay
from simrig.interchange.logs import Event, read_log
from simrig.page.session import SheetState
from simrig.profile.machine import Profile
from simrig.reports import waves as drawn
from simrig.reports import wording
from simrig.world.moves import IllegalMoveError
from simrig.world.phases import Conditions, legal_placements

MOST_CHARTS: Final = 6
MOST_ROWS: Final = 9
_BEFORE_MS: Final = 900.0
_AFTER_MS: Final = 700.0
_FIRST_MS: Final = 6000.0


@attrs.frozen(kw_only=True)
class LogView:
    """The verdict on a log, what it stands on, and a drawing of each place where it is wrong."""

    verdict: str
    agrees: bool
    notes: tuple[str, ...]
    anomalies: tuple[str, ...]
    charts: tuple[str, ...]
    more: int
    replay: Replay = attrs.field(repr=False, eq=False)


def log_view(profile: Profile, sheet: SheetState, data: bytes, name: str) -> LogView:
    """Judge a log as ``simrig replay`` does, with what the sheet says of phase and balls.

    Raises InputError with every line that cannot be read, and ValueError for
    conditions that cannot be.
    """
    coils = [coil.id for coil in profile.coil]
    events = list(read_log([data], file=name, coils=coils))
    stated = sheet.phase is not None or sheet.balls is not None
    found = replay(
        profile, iter(events), conditions=sheet.conditions if stated else None, keep_moves=True
    )
    here = _times(events)
    marks = [(_time_of(one, here), one) for one in found.anomalies]
    start = sheet.conditions if stated else Conditions(phase=found.phase)
    expected = _expected(profile, start, found.moves, events) if found.timed else ()
    names = {sensor.id: sensor.title for sensor in profile.sensor}
    names |= {coil.id: coil.title for coil in profile.coil}
    recorded = [
        drawn.Change(time=time, sensor=event.signal, reading=_up_or_down(event.reading))
        for time, event in zip(here, events, strict=True)
        if event.signal in names
    ]
    count = len(found.anomalies)
    where = wording.balls_at(profile, found.balls)
    return LogView(
        verdict=f"It agrees: {where} at its end."
        if found.agrees
        else f"{count} thing{'s' if count > 1 else ''} in it cannot be; at its end: {where}.",
        agrees=found.agrees,
        notes=found.notes,
        anomalies=tuple(
            f"{names.get(one.sensor, one.sensor)}{_at(one)}: {one.kind}: {one.why}"
            for one in found.anomalies[:40]
        ),
        charts=tuple(_charts(expected, recorded, marks, names, timed=found.timed)),
        more=max(0, count - 40),
        replay=found,
    )


def _times(events: Sequence[Event]) -> list[float]:
    """The time of each event; its place in the row where only the order is known."""
    return [
        float(index) if event.time_ms is None else event.time_ms
        for index, event in enumerate(events)
    ]


def _time_of(anomaly: Anomaly, times: Sequence[float]) -> float:
    if anomaly.time_ms is not None:
        return anomaly.time_ms
    # A heading line may come before the first event.
    return times[max(0, min(anomaly.line - 1, len(times) - 1))] if times else 0.0


def _at(anomaly: Anomaly) -> str:
    return "" if anomaly.time_ms is None else f" at {anomaly.time_ms / 1000:.3f} s"


def _up_or_down(reading: str) -> str:
    return {"on": "closed", "off": "open"}.get(reading, reading)


def _expected(
    profile: Profile, start: Conditions, moves: Iterable[Made], events: Sequence[Event]
) -> tuple[drawn.Change, ...]:
    """What the moves that the log shows must give, laid so that each begins where it was seen."""
    recorded = {event.signal for event in events}
    placements = legal_placements(profile, start)
    if not placements:
        return ()
    flow = Flow.of(profile, placements[0])
    found: list[drawn.Change] = []
    for made in moves:
        try:
            flow, steps = flow.step(made.move)
        except IllegalMoveError:
            break
        shown = [one for one in steps if one.signal in recorded and one.reading != "either"]
        if not shown or made.time_ms is None:
            continue
        shift = made.time_ms - min(one.typical_ms for one in shown)
        found += [
            drawn.Change(
                time=one.typical_ms + shift, sensor=one.signal, reading=_up_or_down(one.reading)
            )
            for one in shown
        ]
    return tuple(sorted(found, key=lambda one: one.time))


def _charts(
    expected: Sequence[drawn.Change],
    recorded: Sequence[drawn.Change],
    marks: Sequence[tuple[float, Anomaly]],
    names: dict[str, str],
    *,
    timed: bool,
) -> Iterable[str]:
    """Draw what lies around each anomaly, or the beginning where there is none."""
    if not recorded:
        return
    before, after = (_BEFORE_MS, _AFTER_MS) if timed else (12.0, 8.0)
    windows: list[tuple[float, float]] = []
    for time, _ in marks:
        if windows and time <= windows[-1][1] - after / 2:
            windows[-1] = (windows[-1][0], max(windows[-1][1], time + after))
        else:
            windows.append((time - before, time + after))
    if not windows:
        first = recorded[0].time
        windows = [(first - 1, first + (_FIRST_MS if timed else 40.0))]
    for low, high in windows[:MOST_CHARTS]:
        here = [(time, one) for time, one in marks if low <= time <= high]
        wanted = [one.sensor for _, one in here]
        wanted += [name for _, one in here for name in one.others]
        inside = [one for one in (*expected, *recorded) if low <= one.time <= high]
        wanted += [one.sensor for one in sorted(inside, key=lambda one: one.time)]
        rows = list(dict.fromkeys(name for name in wanted if name in names))[:MOST_ROWS]
        yield drawn.waves(
            [one for one in expected if low <= one.time <= high and one.sensor in rows],
            [one for one in recorded if low <= one.time <= high and one.sensor in rows],
            [
                drawn.Anomaly(time=time, sensor=one.sensor, why=f"{one.kind}: {one.why}")
                for time, one in here
                if one.sensor in rows
            ],
            first=_standing(recorded, rows, low),
            names=names,
            title="Changes: expected above, recorded below"
            if timed
            else "Changes in their order, without times",
            width=340,
            unit="ms" if timed else "",
        )


def _standing(recorded: Sequence[drawn.Change], rows: Iterable[str], low: float) -> dict[str, str]:
    """What each sensor read before a window begins, going by the record."""
    found: dict[str, str] = {}
    for one in recorded:
        if one.time >= low:
            break
        found[one.sensor] = one.reading
    for name in rows:
        if name not in found:
            later = next((one for one in recorded if one.sensor == name), None)
            if later is not None:
                found[name] = "closed" if later.reading == "open" else "open"
    return found
