"""What a sequencing problem is: suspects, checks, a bench, and what was found.

Nothing here knows what is being mended.  Hypotheses are numbers, results are
words, and the bench is whatever hashable value the caller's ``change`` speaks.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from types import MappingProxyType

import attrs

State = Hashable
Change = Callable[[State, "Check"], "tuple[float, State] | None"]

TOLERANCE = 1e-9


class SequencingError(ValueError):
    """The checks, the results or the bench changes do not make sense together."""


class ResultError(SequencingError):
    """A result that nothing left can give, or a check that cannot take one.

    ``check_id`` and ``result`` are the offending pair.
    """

    def __init__(self, check_id: str, result: str, message: str) -> None:
        self.check_id = check_id
        self.result = result
        super().__init__(f"{check_id}={result}: {message}")


def certain(outcomes: Iterable[str]) -> tuple[Mapping[str, float], ...]:
    """Results of a check without chance: one result per hypothesis, in order."""
    shared: dict[str, Mapping[str, float]] = {}
    return tuple(
        shared.setdefault(outcome, MappingProxyType({outcome: 1.0})) for outcome in outcomes
    )


def _frozen_results(results: Iterable[Mapping[str, float]]) -> tuple[Mapping[str, float], ...]:
    originals = tuple(results)
    # Hundreds of hypotheses share a handful of mappings: copy and check each one
    # once.  `originals` keeps them alive, so an id stands for one mapping.
    copies: dict[int, Mapping[str, float]] = {}
    for mapping in originals:
        if id(mapping) not in copies:
            copies[id(mapping)] = MappingProxyType(dict(mapping))
    return tuple(copies[id(mapping)] for mapping in originals)


def _distinct(results: Sequence[Mapping[str, float]]) -> list[tuple[int, Mapping[str, float]]]:
    """Each mapping object once, with the first hypothesis that has it."""
    first: dict[int, int] = {}
    for index, mapping in enumerate(results):
        first.setdefault(id(mapping), index)
    return [(index, results[index]) for index in first.values()]


@attrs.frozen(kw_only=True)
class Check:
    """One thing that can be done to tell hypotheses apart.

    ``minutes`` is the check's own cost, above 0; what it costs to bring the
    bench into a fit state comes from the problem's ``change``.  ``tier`` ranks
    what should be avoided: a check is offered only when no check of a lower
    tier parts what is left.  ``state`` is what the check needs of the bench; only
    ``change`` reads it.  ``results[i]`` maps each result that hypothesis ``i``
    can give to its probability (they sum to 1).

    Raises SequencingError when a cost or a probability is out of range.
    """

    id: str
    minutes: float = attrs.field(converter=float)
    tier: int = 0
    state: State | None = None
    results: tuple[Mapping[str, float], ...] = attrs.field(
        converter=_frozen_results, hash=False, repr=False
    )

    def __attrs_post_init__(self) -> None:
        if not self.id:
            raise SequencingError("a check has no id: give it a word that results can name")
        if not (self.minutes > 0 and math.isfinite(self.minutes)):
            raise SequencingError(
                f"check {self.id}: {self.minutes} minutes found, a finite number above 0 "
                "wanted: state what the check itself takes"
            )
        for index, mapping in _distinct(self.results):
            chances = mapping.values()
            if not all(0 <= p <= 1 for p in chances) or abs(sum(chances) - 1) > TOLERANCE:
                raise SequencingError(
                    f"check {self.id}: the results of hypothesis {index} are {dict(mapping)}: "
                    "probabilities between 0 and 1 that sum to 1 are wanted"
                )

    def words(self, hypotheses: Iterable[int] | None = None) -> tuple[str, ...]:
        """Every result that one of these hypotheses (default: any) can give, in order."""
        results = (
            self.results if hypotheses is None else [self.results[index] for index in hypotheses]
        )
        found: dict[str, None] = {}
        for _, mapping in _distinct(results):
            found.update((word, None) for word, p in mapping.items() if p > 0)
        return tuple(found)


def _numbers(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _checks(values: Iterable[Check]) -> tuple[Check, ...]:
    return tuple(values)


def _ids(values: Iterable[str]) -> frozenset[str]:
    return frozenset(values)


def no_change(state: State, check: Check) -> tuple[float, State] | None:
    """The bench of a problem without bench states: every check can be done as it is."""
    return 0.0, state


@attrs.frozen(kw_only=True)
class Problem:
    """What is suspected, what can be done about it, and how the bench stands.

    ``weights[i]`` is how likely hypothesis ``i`` is (any positive scale; 0 means
    excluded).  ``change(state, check)`` gives the minutes to make the bench fit
    for the check and the state in which it is left, or None when the check is
    out of the question.  A check that can be done from ``start`` must be within
    reach of every state that follows: ``change`` names the whole way, whatever it
    costs.  ``done`` holds the ids of checks whose results the weights already
    carry; they are not offered again.

    Raises SequencingError when weights, checks and results do not match.
    """

    weights: tuple[float, ...] = attrs.field(converter=_numbers)
    checks: tuple[Check, ...] = attrs.field(converter=_checks)
    start: State = None
    change: Change = no_change
    done: frozenset[str] = attrs.field(converter=_ids, default=frozenset())

    def __attrs_post_init__(self) -> None:
        if not all(w >= 0 and math.isfinite(w) for w in self.weights) or not any(self.weights):
            raise SequencingError(
                f"weights {self.weights}: finite numbers from 0 up are wanted, one at least "
                "above 0: say how likely each hypothesis is"
            )
        ids = set()
        for check in self.checks:
            if check.id in ids:
                raise SequencingError(f"two checks are called {check.id}: rename one of them")
            ids.add(check.id)
            if len(check.results) != len(self.weights):
                raise SequencingError(
                    f"check {check.id} has results for {len(check.results)} hypotheses, "
                    f"{len(self.weights)} wanted: state one mapping for each"
                )

    def live(self) -> tuple[int, ...]:
        """The hypotheses that are not excluded."""
        return tuple(index for index, weight in enumerate(self.weights) if weight > 0)

    def check(self, check_id: str) -> Check:
        """The check of that id.  Raises SequencingError when there is none."""
        for check in self.checks:
            if check.id == check_id:
                return check
        near = difflib.get_close_matches(check_id, [check.id for check in self.checks], n=3)
        hint = f"did you mean {' or '.join(near)}?" if near else "list the checks for their ids"
        raise SequencingError(f"there is no check {check_id}: {hint}")


def condition(problem: Problem, check_id: str, result: str) -> Problem:
    """The problem after ``check_id`` gave ``result``: weights by Bayes' rule, sum 1.

    The bench stays as it was (see ``advance``).  Raises ResultError when the
    check's result is already known, or when nothing left can give this one.
    """
    check = problem.check(check_id)
    if check_id in problem.done:
        raise ResultError(
            check_id, result, "this check has its result already: take that one back first"
        )
    joint = [
        weight * mapping.get(result, 0.0)
        for weight, mapping in zip(problem.weights, check.results, strict=True)
    ]
    total = sum(joint)
    if total <= 0:
        known = check.words()
        if result not in known:
            raise ResultError(
                check_id,
                result,
                f"the check has no such result, it knows {', '.join(known)}: use one of these",
            )
        raise ResultError(
            check_id,
            result,
            "nothing that is left can give this; what is left gives "
            f"{', '.join(check.words(problem.live()))}: do the check again, or take back an "
            "earlier result",
        )
    return attrs.evolve(
        problem,
        weights=tuple(value / total for value in joint),
        done=problem.done | {check_id},
    )


def advance(problem: Problem, check_id: str) -> Problem:
    """The problem with the bench as ``check_id`` leaves it.

    Raises SequencingError when the check is out of the question from here.
    """
    check = problem.check(check_id)
    move = problem.change(problem.start, check)
    if move is None:
        raise SequencingError(
            f"check {check_id} cannot be done from bench state {problem.start!r}: choose "
            "another check, or state the bench as it is"
        )
    return attrs.evolve(problem, start=move[1])
