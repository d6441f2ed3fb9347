"""What the reasoning asks of a system, and nothing more.

A system is a list of ways in which its parts can deviate and one question:
suppose that exactly these deviate, are the readings possible?  The answer is
``Allowed``, with how well the readings are met, or a ``Conflict``, which names
the deviations of which at least one more is needed.  A circuit of gates, a set
of equations and a machine full of switches all answer it, so the reasoning
above never learns which of them it works on.

Terms follow de Kleer and Williams, "Diagnosing multiple faults", Artificial
Intelligence 32 (1987) 97-130, and for parts that fail in several known ways
"Diagnosis with behavioral modes", IJCAI 1989, 1324-1330 (both from memory).

A worked example.  A lamp L is fed by a battery B and seems dark; B flat and L
blown both explain it::

    deviations = (Deviation(part="B", mode="flat", prior=0.1),
                  Deviation(part="L", mode="blown", prior=0.01))
    outcomes(frozenset())       Conflict(candidates={0, 1}): one of the two is needed
    outcomes(frozenset({0}))    Allowed(likelihood=1.0)
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

import attrs

from simrig.diagnosis.deviation import Deviation
from simrig.diagnosis.families import Classes

__all__ = ["Allowed", "Conflict", "Deviation", "System", "Together"]


@attrs.frozen(kw_only=True)
class Allowed:
    """The readings are possible; ``likelihood`` (0 to 1, above 0) is their probability."""

    likelihood: float = attrs.field()

    @likelihood.validator
    def _a_share(self, attribute: attrs.Attribute[float], value: float) -> None:
        if not 0 < value <= 1:
            raise ValueError(f"likelihood: {value!r} found, a number above 0 and up to 1 wanted")


@attrs.frozen(kw_only=True)
class Conflict:
    """The readings are impossible.

    Every set that contains the asked one and makes them possible contains at
    least one of ``candidates`` besides.  No candidates: nothing can help.
    """

    candidates: frozenset[int]


class System(Protocol):
    """What can deviate, and what follows from it.

    A class that inherits from this protocol need only supply ``deviations`` and
    ``outcomes``.  The other methods exist for speed: they may be overridden by
    anything that answers the same.
    """

    @property
    def deviations(self) -> tuple[Deviation, ...]:
        """All deviations; the reasoning speaks of them by their index."""
        ...

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        """Tell whether the readings are possible if exactly ``chosen`` deviate.

        ``chosen`` never holds two deviations of one part.
        """
        ...

    def extensions(self, chosen: frozenset[int], candidates: Iterable[int]) -> dict[int, float]:
        """Return the likelihood of ``chosen`` with one candidate added, for each allowed one.

        No candidate is in ``chosen`` or shares a part with it.  This is where
        the search spends its time: a system that can share work between the
        candidates should.
        """
        likelihoods = {}
        for candidate in candidates:
            outcome = self.outcomes(chosen | {candidate})
            if isinstance(outcome, Allowed):
                likelihoods[candidate] = outcome.likelihood
        return likelihoods

    def classes(self) -> Classes:
        """Return the deviations sorted into interchangeable ones.

        Exchanging deviations of one class in any set must leave the outcome as it
        is (priors and parts may differ); they are searched once and told apart when
        the result is expanded.
        """
        return Classes.group(self.deviations, range(len(self.deviations)))


@attrs.frozen(kw_only=True)
class Together(System):
    """Independent evidence on the same deviations, such as several sheets of readings.

    A set of deviations must be allowed by each of ``systems``; likelihoods
    multiply.  Raises ValueError if the systems differ in their deviations.
    """

    systems: tuple[System, ...] = attrs.field()

    @systems.validator
    def _same_deviations(
        self, attribute: attrs.Attribute[tuple[System, ...]], value: tuple[System, ...]
    ) -> None:
        if not value:
            raise ValueError("systems: none found, at least one wanted")
        if any(system.deviations != value[0].deviations for system in value[1:]):
            raise ValueError("systems: different deviations found, the same in each wanted")

    @property
    def deviations(self) -> tuple[Deviation, ...]:
        return self.systems[0].deviations

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        """Multiply the likelihoods, or return the conflict with the fewest candidates."""
        likelihood = 1.0
        conflicts = []
        for system in self.systems:
            outcome = system.outcomes(chosen)
            if isinstance(outcome, Allowed):
                likelihood *= outcome.likelihood
            else:
                conflicts.append(outcome)
        if conflicts:
            return min(conflicts, key=lambda conflict: len(conflict.candidates))
        return Allowed(likelihood=likelihood)

    def extensions(self, chosen: frozenset[int], candidates: Iterable[int]) -> dict[int, float]:
        likelihoods = dict.fromkeys(candidates, 1.0)
        for system in self.systems:
            found = system.extensions(chosen, likelihoods)
            likelihoods = {index: likelihoods[index] * found[index] for index in found}
        return likelihoods

    def classes(self) -> Classes:
        class_of = [system.classes().class_of for system in self.systems]
        return Classes.group(self.deviations, list(zip(*class_of, strict=True)))
