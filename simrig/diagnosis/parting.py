"""Whether any bench check tells two faults apart: asked in pairs, the likely checks first.

Most faults that show alike are parted by one of the few checks on their own parts.  To
work out what the whole catalogue says about each would take a hundred times as long.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

import attrs

from simrig.diagnosis.bench_case import Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.checks import catalogue
from simrig.faults.candidates import Fault
from simrig.profile.machine import Profile


@attrs.frozen(kw_only=True, eq=False)
class Parting:
    """What the catalogue of a machine can part; nothing is made before it is asked."""

    profile: Profile = attrs.field(repr=False)
    _cases: dict[str, Case] = attrs.field(factory=dict, repr=False)

    def parted(self, one: Fault, other: Fault) -> bool:
        """Whether some check can give results for one fault that it cannot for the other."""
        if one.kind.intermittent != other.kind.intermittent:
            return True
        first, second = self._case(one), self._case(other)
        return any(
            check.outcomes(first) != check.outcomes(second) for check in self._ordered(one, other)
        )

    @cached_property
    def _checks(self) -> tuple[Check, ...]:
        return catalogue(self.profile)

    @cached_property
    def _ground(self) -> Ground:
        return self._checks[0].ground if self._checks else Ground.of(self.profile)

    def _case(self, fault: Fault) -> Case:
        if fault.name not in self._cases:
            self._cases[fault.name] = Case(ground=self._ground, faults=(fault,))
        return self._cases[fault.name]

    def _ordered(self, one: Fault, other: Fault) -> Iterator[Check]:
        """Yield every check, those on the parts of the two faults first."""
        parts = frozenset((one.component, other.component))
        near = [check for check in self._checks if check.parts & parts]
        yield from near
        known = set(map(id, near))
        yield from (check for check in self._checks if id(check) not in known)
