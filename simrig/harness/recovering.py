"""Whether a fault put into a machine is among what its readings are explained by."""

from __future__ import annotations

from simrig.diagnosis.diagnose import Diagnosis, diagnose
from simrig.diagnosis.one_sheet import Models
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import Observation
from simrig.expectation.prediction import watched
from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.dispositions import placements_with
from simrig.faults.injection import inject
from simrig.harness.broken_runs import BrokenError
from simrig.profile.machine import Profile
from simrig.scan.scanner import links, readings
from simrig.signals import CLOSED, OPEN, UNKNOWN
from simrig.world.phases import Conditions
from simrig.world.worlds import worlds


class Recovering:
    """The faults of one machine, injected one at a time; equal sheets are diagnosed once."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.table = links(profile)
        self.faults = possible_faults(profile)
        self.phases = [phase.id for phase in profile.phase]
        self._models = Models(profile=profile, faults=self.faults, limit=1)
        self._done: dict[object, tuple[Diagnosis, frozenset[Fault]]] = {}

    def check(self, fault: Fault, phase: str, way: int) -> None:
        """Inject a fault in one of the ways that the balls can lie; raise BrokenError where it is
        not found again."""
        conditions = Conditions(phase=phase)
        moved = fault.kind.effect == "moves balls"
        placements = placements_with(self.profile, conditions, (fault,) if moved else ())
        if not placements:
            return
        table = self.table if moved else inject(self.profile, self.table, [fault])
        chosen = placements[way % len(placements)]
        frame = readings(self.profile, table, worlds(self.profile, [chosen]))
        seen = {sensor.id: frame.reading(sensor.id) for sensor in watched(self.profile)}
        seen = {
            name: reading if reading in (OPEN, CLOSED) else UNKNOWN
            for name, reading in seen.items()
        }
        if fault not in self._explained(phase, seen):
            closed = ", ".join(name for name, reading in seen.items() if reading == CLOSED)
            raise BrokenError(
                f"{fault.name} in {phase} makes closed: {closed or 'none'}; "
                "diagnose does not offer it for these readings"
            )

    def _explained(self, phase: str, seen: dict[str, str]) -> frozenset[Fault]:
        key = phase, tuple(seen.items())
        if key not in self._done:
            sheet = Sheet(
                observation=Observation(readings=seen), conditions=Conditions(phase=phase)
            )
            found = diagnose(self.profile, [sheet], limit=1, models=self._models)
            single = {cause.faults[0] for cause in found.causes if len(cause.faults) == 1}
            self._done[key] = found, frozenset(single) | frozenset(found.hidden)
        return self._done[key][1]
