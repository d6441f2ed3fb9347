"""The conformance suite: what must hold of any machine profile, whoever wrote it.

Each check either passes, fails with words (and, where it is a run of moves, with
the smallest run as a scenario that reproduces it), or waits for a fact that the
profile does not state yet, and names it.
"""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Callable, Iterator
from typing import Any, Final

import attrs
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from simrig.harness import one_world
from simrig.harness.broken_runs import BrokenError, Run
from simrig.harness.moving import moving
from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links, links, readings
from simrig.sensing.chain import contact
from simrig.signals import CLOSED, OPEN
from simrig.world.phases import Conditions, legal_placements, mechanism_states, phase_of, row_counts
from simrig.world.worlds import Value, worlds

MOST_POSITIONS: Final = 3000
"""Positions of the balls that the readings are worked out for one by one."""


class WaitsError(Exception):
    """The check cannot be made yet; says which fact it waits for."""


@attrs.frozen(kw_only=True)
class Suite:
    """One profile under the suite: how many examples a check draws, and from which seed."""

    profile: Profile
    examples: int = 50
    seed: int = 0

    def drawn(self, test: Callable[..., None]) -> Any:
        """Return a test with the suite's number of examples and its seed."""
        return seed(self.seed)(self.settings()(test))

    def settings(self) -> settings:
        """How Hypothesis draws: quietly, without memory of other runs."""
        return settings(
            max_examples=self.examples,
            deadline=None,
            database=None,
            derandomize=False,
            print_blob=False,
            report_multiple_bugs=False,
            stateful_step_count=30,
            suppress_health_check=list(HealthCheck),
            phases=(Phase.generate, Phase.shrink),
        )


@attrs.frozen(kw_only=True)
class Check:
    """One thing that must hold; ``run`` raises BrokenError or WaitsError."""

    id: str
    title: str
    run: Callable[[Suite], None]


def _moves(suite: Suite) -> None:
    _phases_stated(suite.profile)
    if not suite.profile.route:
        raise WaitsError("a [[route]]: without ways between places no ball can be moved")
    moving(suite.profile, suite.settings(), suite.seed)


def _phases_stated(profile: Profile) -> None:
    if not profile.phase:
        raise WaitsError("a [[phase]]: the profile does not say yet where the balls lie")


def _phases(suite: Suite) -> None:
    from simrig.world.reachable import TooManyError, reachable

    profile = suite.profile
    _phases_stated(profile)
    if not profile.route:
        raise WaitsError("a [[route]]: without ways between places no phase is reached")
    start = phase_of(profile, None)
    home = next((counts for row in start.placements for counts in row_counts(profile, row)), None)
    if home is None:
        raise BrokenError(f"{start.id} allows no position of the balls; mend its rows")
    try:
        found = reachable(profile, [dict(home)])
    except TooManyError as error:
        raise WaitsError(f"a smaller machine: {error}") from None
    lost = []
    for phase in profile.phase:
        states = list(_states(profile, phase.id))
        for number, row in enumerate(phase.placements, 1):
            ways = itertools.islice(row_counts(profile, row), MOST_POSITIONS)
            if not any(found.holds(dict(way), stand) for way in ways for stand in states):
                words = ", ".join(f"{name} {balls}" for name, balls in row.items())
                lost.append(f"{phase.id} (row {number}: {words or 'no balls'})")
    if lost:
        raise BrokenError(
            f"no run of moves leads from {start.id} to {'; '.join(lost)}; "
            "mend the phase, or the routes that should lead there"
        )


def _states(profile: Profile, phase: str) -> Iterator[dict[str, str]]:
    """Yield every way in which the mechanisms may stand in a phase."""
    stated = dict(mechanism_states(profile, profile.row("phase", phase)))
    choices = [
        sorted(stated.get(mechanism.id, mechanism.states)) for mechanism in profile.mechanism
    ]
    names = [mechanism.id for mechanism in profile.mechanism]
    for chosen in itertools.islice(itertools.product(*choices), 4096):
        yield dict(zip(names, chosen, strict=True))


def _readings(suite: Suite) -> None:
    profile = suite.profile
    _phases_stated(profile)
    if not profile.sensor:
        raise WaitsError("a [[sensor]]: there is nothing to read")
    table = links(profile)
    done = 0
    for phase in profile.phase:
        for balls in range(profile.balls.installed + 1, -1, -1):
            conditions = Conditions(phase=phase.id, balls=balls)
            placements = legal_placements(profile, conditions)[: MOST_POSITIONS - done]
            done += len(placements)
            frame = readings(profile, table, worlds(profile, placements))
            for world, placement in enumerate(placements):
                alone = one_world.readings(profile, table, placement.spots, dict(placement.states))
                for name, wanted in alone.items():
                    read = frame.reading(name, 1 << world)
                    if read != wanted:
                        run = Run(phase=phase.id, balls=balls, spots=placement.spots, wanted=alone)
                        raise BrokenError(
                            f"{name} is predicted {read} in {phase.id} with {balls} balls; "
                            f"worked out alone it reads {wanted}",
                            run=run,
                        )


def _stated(suite: Suite) -> None:
    profile = suite.profile
    table = links(profile)
    checked = 0
    wrong = []
    run = None
    for sensor in profile.sensor:
        for worked, stated in ((0, sensor.rest_reads), (1, sensor.worked_reads)):
            if stated is None:
                continue
            value = contact(table.chains[sensor.id], Value(worked, worked), 1)
            if value.surely != value.maybe:
                continue
            checked += 1
            read = CLOSED if value.surely else OPEN
            if read != stated:
                when = "when worked" if worked else "at rest"
                key = "worked_reads" if worked else "rest_reads"
                wrong.append(f"{sensor.id} reads {read} {when} by its links; {key} says {stated}")
                run = run or _one_ball(profile, table, sensor, worked, stated)
    if wrong:
        raise BrokenError("; ".join(wrong), run=run)
    if not checked:
        raise WaitsError("rest_reads or worked_reads: no sensor states a second time how it reads")


def _one_ball(
    profile: Profile, table: Links, sensor: Sensor, worked: int, stated: str
) -> Run | None:
    """The smallest run that shows one sensor's reading: no ball, or one at the sensor."""
    if not sensor.spots:
        return None
    spots = frozenset(sensor.spots[:1] if worked else ())
    states = dict(mechanism_states(profile, None))
    wanted = {**one_world.readings(profile, table, spots, states), sensor.id: stated}
    return Run(spots=spots, wanted=wanted)


def _diagnosis(suite: Suite) -> None:
    from simrig.harness.recovering import Recovering

    _phases_stated(suite.profile)
    recovering = Recovering(suite.profile)
    if not recovering.faults:
        raise WaitsError("a [[sensor]]: no part is stated that could fail")
    for fault in recovering.faults:
        recovering.check(fault, recovering.phases[0], 0)

    @given(st.data())
    def drawn(data: st.DataObject) -> None:
        fault = recovering.faults[data.draw(st.integers(0, len(recovering.faults) - 1))]
        phase = data.draw(st.sampled_from(recovering.phases))
        recovering.check(fault, phase, data.draw(st.integers(0, 1000)))

    suite.drawn(drawn)()


def _record(suite: Suite) -> None:
    from simrig.expectation.motions import sampling_of
    from simrig.harness.recorded import Recorded
    from simrig.strategies import moves

    _phases_stated(suite.profile)
    if sampling_of(suite.profile) is None:
        raise WaitsError("[scan] period_ms and debounce_readings: how the controller reads")
    recorded = Recorded(suite.profile)

    @given(moves(suite.profile, most=6, by_hand=False), st.integers(0, 10_000))
    def drawn(steps: tuple[str, ...], number: int) -> None:
        recorded.check(steps, number)

    suite.drawn(drawn)()


def _export(suite: Suite) -> None:
    from simrig.interchange import profile_csv, profile_data, profile_json, toml_writer
    from simrig.profile.reader import read

    profile = suite.profile
    texts = {"TOML": toml_writer.written(profile), "JSON": profile_json.write(profile)}
    back = {
        "TOML": read(texts["TOML"].encode(), "export", kinds=profile.kinds),
        "JSON": profile_json.read(texts["JSON"].encode(), "export", kinds=profile.kinds),
    }
    for kind, found in back.items():
        if found != profile:
            raise BrokenError(f"written as {kind} and read back, the profile says something else")
    for name, text in profile_csv.tables(profile).items():
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
        if len({len(row) for row in rows}) != 1:
            raise BrokenError(f"the CSV table {name} has rows of different lengths")
    document = profile_data.stated(profile)
    if document.get("id") != profile.id:
        raise BrokenError("the document does not name the machine")


CHECKS: Final = (
    Check(id="moves", title="no ball is lost, and balls fill in order", run=_moves),
    Check(id="phases", title="every phase can be reached", run=_phases),
    Check(id="readings", title="predicted readings are those of the scan", run=_readings),
    Check(id="stated", title="sensors read as they state", run=_stated),
    Check(id="diagnosis", title="every fault is found again", run=_diagnosis),
    Check(id="record", title="a recorded run replays", run=_record),
    Check(id="export", title="an export reads back the same", run=_export),
)
"""Every check, in the order in which they run."""
