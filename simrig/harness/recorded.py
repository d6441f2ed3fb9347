"""Runs recorded and replayed: a log of what the machine does agrees with the machine."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.util import find_spec

from simrig.expectation.motions import Motions, sampling_of
from simrig.expectation.recording import Recorder
from simrig.expectation.replay import replay
from simrig.expectation.rig import Rig
from simrig.harness.broken_runs import BrokenError, Run
from simrig.interchange.logs import read_log, write_csv, write_vcd
from simrig.profile.machine import Profile
from simrig.scan.events import Event
from simrig.scan.scanner import links
from simrig.world import moves


class Recorded:
    """One machine, its runs recorded at jittered times."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.table = links(profile)
        self.motions = Motions(profile, sampling=sampling_of(profile))
        self.coils = [coil.id for coil in profile.coil]

    def check(self, steps: tuple[str, ...], seed: int) -> None:
        """Record a run, write and read it in both forms, replay it; raise BrokenError where it
        does not agree."""
        rig = Rig(self.profile, table=self.table)
        made = [moves.parse(self.profile, step) for step in steps]
        events = Recorder(self.motions, self.table, seed=seed).record(rig.placement, made)
        rig.do(*steps)
        frame = rig.frame()
        wanted = {sensor.id: frame.reading(sensor.id) for sensor in self.profile.sensor}
        run = Run(steps=steps, wanted=wanted)
        for kind, written in self._written(events).items():
            back = tuple(read_log(written, file="log", coils=self.coils))
            if {(one.signal, one.reading) for one in back} != {
                (one.signal, one.reading) for one in events
            }:
                raise BrokenError(f"the log written as {kind} reads back otherwise", run=run)
            found = replay(self.profile, back)
            if not found.agrees:
                first = found.anomalies[0]
                at = "" if first.time_ms is None else f" at {first.time_ms:.0f} ms"
                raise BrokenError(
                    f"the run of {', '.join(steps) or 'no moves'}, recorded as {kind}, does not "
                    f"replay: {first.sensor}{at}: {first.why}",
                    run=run,
                )

    def _written(self, events: Sequence[Event]) -> dict[str, list[bytes]]:
        """Return the log in both forms; as CSV alone where the package for VCD is not installed."""
        found = {"CSV": [*write_csv(events)]}
        if find_spec("vcd") is not None:
            places = {
                sensor.id: (self.profile.spots[sensor.spots[0]].place or "") if sensor.spots else ""
                for sensor in self.profile.sensor
            }
            dump = write_vcd(events, machine=self.profile.id, places=places, coils=self.coils)
            found["VCD"] = [*dump]
        return found
