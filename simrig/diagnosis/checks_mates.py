"""Checks of mates: sensors that share a bank, a row or a column, worked one after the other."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from simrig.diagnosis.bench_answers import answers
from simrig.diagnosis.bench_case import NOTHING, Act, Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_scene import EMPTY
from simrig.diagnosis.bench_state import needs_of
from simrig.diagnosis.checks_reading import STICK, below

EACH = 0.3
"""Minutes for each sensor: common practice, no source."""
RESULTS = {
    "all": "all of them answer as they must",
    "none": "none of them does",
    "some": "some do, some do not",
}


def mate_checks(ground: Ground) -> Iterator[Check]:
    """Yield a check for each bank, column and row with three sensors or more."""
    profile = ground.profile
    for bank in profile.bank:
        sensors = [sensor.id for sensor in profile.sensor if sensor.bank == bank.id]
        title = f"Work all beams of {bank.name or bank.id}, one after the other"
        yield from _mates(ground, f"mates-{bank.id}", title, sensors)
    for axis in ("column", "row"):
        lines: dict[int, list[str]] = {}
        for one in ground.table.circuit.crossings:
            lines.setdefault(getattr(one, axis)[0], []).append(one.sensor)
        for number in sorted(lines):
            title = f"Work all switches of {axis} {number}, one after the other"
            yield from _mates(ground, f"mates-{axis}-{number}", title, lines[number])


def _mates(ground: Ground, name: str, title: str, sensors: Sequence[str]) -> Iterator[Check]:
    if len(sensors) < 3:
        return
    raised = any(below(ground, ground.profile.row("sensor", one)) for one in sensors)
    where = {"door": "open", "playfield": "raised" if raised else "down", "balls": "out"}
    yield Check(
        id=name, title=title + "; watch each reading", work="reach",
        needs=needs_of("reach", **where), minutes=EACH * len(sensors), results=RESULTS,
        caution=STICK, ground=ground, judge=_together(tuple(sensors)),
        sensors=frozenset(sensors),
    )  # fmt: skip


def _together(sensors: tuple[str, ...]) -> Callable[[Case], frozenset[str]]:
    acts = {one: Act(by_hand=frozenset((one,))) for one in sensors}

    def judge(case: Case) -> frozenset[str]:
        can = [
            {word == "answers" for word in answers(case, one, NOTHING, acts[one], (EMPTY,))}
            for one in sensors
        ]
        found = set()
        if all(True in one for one in can):
            found.add("all")
        if all(False in one for one in can):
            found.add("none")
        sure = {next(iter(one)) for one in can if len(one) == 1}
        if len(sure) == 2 or any(len(one) == 2 for one in can):
            found.add("some")
        return frozenset(found)

    return judge
