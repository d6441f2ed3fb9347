"""From readings to what can be wrong: all consistent sets of deviations.

The problem.  Each part of a system is healthy or deviates in one of its modes.
Given what has been read, which sets of at most ``limit`` deviations make exactly
these readings possible, how likely is each, and which of them matter?  No set may
be missed and none may be extra.

The references.  Conflicts and the tree that they direct: Reiter R., "A theory of
diagnosis from first principles", Artificial Intelligence 32 (1987) 57-95; see
``hitting`` for how the tree here differs.  Priors, likelihoods and the chance of a
set: de Kleer J., Williams B.C., "Diagnosing multiple faults", the same volume,
97-130.  Parts with known modes of failure: the same authors, "Diagnosis with
behavioral modes", IJCAI 1989 (from memory).  Known modes cost the theory of minimal
diagnoses its comfort: a superset of a consistent set may be inconsistent, and a
set may be consistent although none of its subsets is.  So the search does not
stop at a consistent set but goes on below it.

How.  A node is a set of deviations.  If it conflicts, only the deviations that
the conflict names are added; if it is allowed, all are.  A deviation tried at a
node is barred from the node's later children, so each set is met once.  The last
level is asked for in one go (``System.extensions``), and interchangeable
deviations (``System.alike``) are searched as one.

The weight of a set is the product of its members' prior odds and its likelihood;
its probability is its weight over the weight of all consistent sets up to the
limit.  Subset-minimal sets are listed; each other set is folded under the
likeliest minimal one that it contains (``folding``).

A worked example, the lamp of ``system``: a flat battery (odds 0.1) explains the
dark lamp ten times as well as a blown filament (0.01), and both at once (0.001)
is folded under the battery.

>>> class Lamp(System):
...     deviations = (Deviation(part="battery", mode="flat", prior=0.1),
...                   Deviation(part="lamp", mode="blown", prior=0.01))
...     def outcomes(self, chosen):
...         return Allowed(likelihood=1.0) if chosen else Conflict(candidates=frozenset({0, 1}))
>>> for one in explain(Lamp()).minimal:
...     print(one.members, round(one.probability, 6), one.folded_count)
(0,) 0.900901 1
(1,) 0.09009 0
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import attrs

from simrig.diagnosis.families import Classes, Family
from simrig.diagnosis.folding import fold
from simrig.diagnosis.hitting import minimal_conflicts, minimal_diagnoses, minimal_hitting_sets
from simrig.diagnosis.probing import Probe, best_probe, entropy, rank_probes
from simrig.diagnosis.system import Allowed, Conflict, Deviation, System, Together

__all__ = [
    "Allowed",
    "Conflict",
    "Deviation",
    "Explanation",
    "Explanations",
    "Probe",
    "System",
    "Together",
    "best_probe",
    "entropy",
    "explain",
    "minimal_conflicts",
    "minimal_diagnoses",
    "minimal_hitting_sets",
    "rank_probes",
]


@attrs.frozen(kw_only=True)
class Explanation:
    """A consistent set of deviations.

    ``members`` are their indices, ascending.  ``likelihood`` is that of the
    readings under the set, ``probability`` the set's own.  ``folded_count`` and
    ``folded_probability`` tell of the sets folded under it.
    """

    members: tuple[int, ...]
    likelihood: float
    probability: float
    folded_count: int = 0
    folded_probability: float = 0.0


@attrs.frozen(kw_only=True)
class Explanations:
    """All consistent sets of at most ``limit`` deviations.

    ``minimal`` lists the subset-minimal ones, likeliest first; ``count`` is the
    number of all.  If there is none, ``conflict`` is what the empty set met.
    Iterating yields every set, unordered, nothing folded, without holding all
    of them in memory.
    """

    deviations: tuple[Deviation, ...]
    limit: int
    minimal: tuple[Explanation, ...]
    count: int
    conflict: Conflict | None
    _weight: float = attrs.field(repr=False)
    _classes: Classes = attrs.field(repr=False)
    _families: dict[Family, float] = attrs.field(repr=False)

    def __iter__(self) -> Iterator[Explanation]:
        for probability, members, likelihood in self._sets():
            yield Explanation(members=members, likelihood=likelihood, probability=probability)

    def ranked(self) -> list[Explanation]:
        """Return every set, likeliest first, nothing folded."""
        found = [(-chance, len(members), members, rest) for chance, members, rest in self._sets()]
        found.sort()
        return [
            Explanation(members=members, likelihood=likelihood, probability=-chance)
            for chance, _, members, likelihood in found
        ]

    def _sets(self) -> Iterator[tuple[float, tuple[int, ...], float]]:
        """Yield probability, members and likelihood of every set."""
        for family, likelihood in self._families.items():
            scale = likelihood / self._weight
            for chosen, odds in self._classes.expand(family):
                yield odds * scale, tuple(sorted(chosen)), likelihood

    def marginals(self) -> tuple[float, ...]:
        """Return for each deviation the probability that it is present, 0 if no set fits."""
        classes = self._classes
        shares: list[list[float]] = [[] for _ in self.deviations]
        for family, likelihood in self._families.items():
            for number in set(family):
                rest = list(family)
                rest.remove(number)
                for index in classes.members[number]:
                    _, odds = classes.total(tuple(rest), (classes.parts[index],))
                    shares[index].append(classes.priors[index] * odds * likelihood)
        return tuple([math.fsum(share) / self._weight if share else 0.0 for share in shares])


def explain(system: System, limit: int = 2) -> Explanations:
    """Return all consistent sets of at most ``limit`` deviations.

    Raises ValueError for a negative limit.
    """
    if limit < 0:
        raise ValueError(f"limit: {limit} found, 0 or more wanted")
    classes = system.classes()
    root = system.outcomes(frozenset())
    families = _Search(system, classes, limit).families(root)
    folds = fold(classes, families)
    weight = math.fsum([one.weight for one in folds.values()])
    weight = math.fsum([weight, *[one.folded for one in folds.values()]])
    minimal = [
        Explanation(
            members=members,
            likelihood=one.likelihood,
            probability=one.weight / weight,
            folded_count=one.count,
            folded_probability=one.folded / weight,
        )
        for members, one in folds.items()
    ]
    minimal.sort(key=lambda one: (-one.probability, len(one.members), one.members))
    return Explanations(
        deviations=system.deviations,
        limit=limit,
        minimal=tuple(minimal),
        count=len(folds) + sum([one.count for one in folds.values()]),
        conflict=root if isinstance(root, Conflict) and not folds else None,
        weight=weight,
        classes=classes,
        families=families,
    )


class _Search:
    """The conflict-directed tree over families."""

    def __init__(self, system: System, classes: Classes, limit: int) -> None:
        self._system = system
        self._classes = classes
        self._limit = limit
        self._found: dict[Family, float] = {}
        self._barred: set[int] = set()

    def families(self, root: Allowed | Conflict) -> dict[Family, float]:
        """Return each family of consistent sets with its likelihood."""
        self._visit((), frozenset(), root)
        return self._found

    def _visit(self, family: Family, chosen: frozenset[int], outcome: Allowed | Conflict) -> None:
        """Record a node and go on below it; ``chosen`` is some set of the family."""
        if isinstance(outcome, Allowed):
            self._found[family] = outcome.likelihood
            numbers = set(range(len(self._classes.members)))
        else:
            numbers = set(map(self._classes.class_of.__getitem__, outcome.candidates))
        if len(family) == self._limit:
            return
        children = sorted(numbers - self._barred)
        if len(family) + 1 == self._limit:
            self._visit_last(family, chosen, children)
            return
        barred_here = []
        for number in children:
            longer = tuple(sorted((*family, number)))
            representative = self._classes.representative(longer)
            if representative is not None:
                self._visit(longer, representative, self._system.outcomes(representative))
                self._barred.add(number)
                barred_here.append(number)
        self._barred.difference_update(barred_here)

    def _visit_last(self, family: Family, chosen: frozenset[int], children: list[int]) -> None:
        """Record the allowed ones among the children of a node, which are leaves."""
        members, parts = self._classes.members, self._classes.parts
        taken = {parts[i] for i in chosen}
        candidates = []
        for number in children:
            for index in members[number]:
                if parts[index] not in taken:
                    candidates.append(index)
                    break
            else:
                self._visit_other(tuple(sorted((*family, number))))
        for index, likelihood in self._system.extensions(chosen, candidates).items():
            longer = tuple(sorted((*family, self._classes.class_of[index])))
            self._found[longer] = likelihood

    def _visit_other(self, family: Family) -> None:
        """Record a leaf that the chosen set of its parent does not reach, for its parts."""
        representative = self._classes.representative(family)
        if representative is not None:
            outcome = self._system.outcomes(representative)
            if isinstance(outcome, Allowed):
                self._found[family] = outcome.likelihood
