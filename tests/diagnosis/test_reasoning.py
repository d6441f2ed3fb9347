"""All consistent sets, none missed and none extra, folded and weighed."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis.reasoning import (
    Allowed,
    Conflict,
    Deviation,
    System,
    Together,
    explain,
    minimal_diagnoses,
)
from tests.diagnosis.small_systems import Small, small_systems

LIMITS = st.integers(0, 3)


class Plain(System):
    """A system with nothing for speed, and with conflicts that name more than they need."""

    def __init__(self, small: Small) -> None:
        self._system = small.system()
        self.asked: list[frozenset[int]] = []

    @property
    def deviations(self) -> tuple[Deviation, ...]:
        return self._system.deviations

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        self.asked.append(chosen)
        outcome = self._system.outcomes(chosen)
        if isinstance(outcome, Allowed):
            return outcome
        return Conflict(
            candidates=outcome.candidates | ({0, 1, 2} & set(range(len(self.deviations))) - chosen)
        )


def found(system: System, limit: int) -> dict[tuple[int, ...], float]:
    return {one.members: one.likelihood for one in explain(system, limit)}


@given(small=small_systems(), limit=LIMITS)
@settings(max_examples=400, deadline=None, derandomize=True)
def test_all_sets(small, limit):
    """The sets and their likelihoods are those that trying each set and world gives."""
    assert found(small.system(), limit) == small.consistent(limit)


@given(small=small_systems(), limit=LIMITS)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_each_set_once(small, limit):
    """No set is listed twice, and the count is the number of sets."""
    explanations = explain(small.system(), limit)
    members = [one.members for one in explanations]
    assert len(members) == len(set(members)) == explanations.count


@given(small=small_systems(), limit=LIMITS)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_alike_is_speed_alone(small, limit):
    """Searching interchangeable deviations once changes no result."""
    assert found(small.system(alike=False), limit) == found(small.system(), limit)


@given(small=small_systems(), limit=LIMITS, data=st.data())
@settings(max_examples=100, deadline=None, derandomize=True)
def test_barred(small, limit, data):
    """Barred deviations are in no set, and the others are as without them."""
    indices = range(len(small.deviations))
    barred = frozenset(data.draw(st.sets(st.sampled_from(indices)))) if indices else frozenset()
    assert found(small.system(barred=barred), limit) == {
        members: likelihood
        for members, likelihood in small.consistent(limit).items()
        if barred.isdisjoint(members)
    }


@given(small=small_systems(), limit=LIMITS)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_loose_conflicts(small, limit):
    """Conflicts that name more than is needed, and default methods, change no result."""
    assert found(Plain(small), limit) == small.consistent(limit)


@given(small=small_systems(), limit=LIMITS)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_no_set_is_asked_twice(small, limit):
    """The search comes to each set on one path only."""
    plain = Plain(small)
    explain(plain, limit)
    assert len(plain.asked) == len(set(plain.asked))


@given(small=small_systems(), limit=LIMITS)
@settings(max_examples=200, deadline=None, derandomize=True)
def test_probabilities(small, limit):
    """Chances are weights over the weight of all sets, and likeliest come first."""
    sets = small.consistent(limit)
    weights = {members: small.weight(members, sets[members]) for members in sets}
    ranked = explain(small.system(), limit).ranked()
    assert [one.probability for one in ranked] == pytest.approx(
        sorted((weight / sum(weights.values()) for weight in weights.values()), reverse=True)
    )
    for one in ranked:
        assert one.probability == pytest.approx(weights[one.members] / sum(weights.values()))


@given(small=small_systems(), limit=LIMITS)
@settings(max_examples=300, deadline=None, derandomize=True)
def test_folding(small, limit):
    """Each set that is not minimal is folded once, under its likeliest minimal one."""
    sets = small.consistent(limit)
    weights = {members: small.weight(members, sets[members]) for members in sets}
    minimal = [one for one in sets if not any(set(other) < set(one) for other in sets)]
    folded: dict[tuple[int, ...], list[float]] = {one: [] for one in minimal}
    for members in sets:
        if members not in folded:
            held = [one for one in minimal if set(one) < set(members)]
            folded[min(held, key=lambda one: (-weights[one], one))].append(weights[members])
    explanations = explain(small.system(), limit)
    assert {one.members for one in explanations.minimal} == set(minimal)
    total = sum(weights.values())
    for one in explanations.minimal:
        assert one.likelihood == sets[one.members]
        assert one.probability == pytest.approx(weights[one.members] / total)
        assert one.folded_count == len(folded[one.members])
        assert one.folded_probability == pytest.approx(sum(folded[one.members]) / total)


@given(small=small_systems(), limit=LIMITS)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_marginals(small, limit):
    """A deviation's chance is that of all sets which hold it."""
    sets = small.consistent(limit)
    total = sum(small.weight(members, sets[members]) for members in sets)
    expected = [
        math.fsum(small.weight(m, sets[m]) for m in sets if index in m) / (total or 1)
        for index in range(len(small.deviations))
    ]
    assert explain(small.system(), limit).marginals() == pytest.approx(expected)


@given(small=small_systems(), limit=LIMITS)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_conflict_if_nothing_fits(small, limit):
    """A conflict is told where no set is consistent, and nowhere else."""
    explanations = explain(small.system(), limit)
    assert (explanations.conflict is not None) == (not small.consistent(limit))


@given(small=small_systems())
@settings(max_examples=100, deadline=None, derandomize=True)
def test_minimal_diagnoses_with_modes(small):
    """Minimal diagnoses are the minimal consistent sets with known modes, too."""
    sets = small.consistent(len(small.deviations))
    minimal = {frozenset(m) for m in sets if not any(set(n) < set(m) for n in sets)}
    assert set(minimal_diagnoses(small.system())) == minimal


@given(small=small_systems())
@settings(max_examples=100, deadline=None, derandomize=True)
def test_no_diagnosis_is_asked_twice(small):
    """The tree of hitting sets comes to each set on one path only."""
    plain = Plain(small)
    minimal_diagnoses(plain)
    assert len(plain.asked) == len(set(plain.asked))


@given(data=st.data(), limit=LIMITS)
@settings(max_examples=150, deadline=None, derandomize=True)
def test_together(data, limit):
    """Several sheets allow what each allows, and their likelihoods multiply."""
    one = data.draw(small_systems(most=6))
    other = data.draw(small_systems(deviations=one.deviations))
    first, second = one.consistent(limit), other.consistent(limit)
    together = Together(systems=(one.system(), other.system()))
    assert found(together, limit) == {
        members: first[members] * second[members] for members in first if members in second
    }


def test_one_sheet_together_is_that_sheet():
    """Evidence of one kind alone is as it is by itself; of sets told one by one, nothing is folded."""
    small = Small(
        seed=0, cells=1, kinds=(0,), touched=(1,), states=(1,), carrying=(True,), owners=(None,),
        readings=(None,), deviations=(Deviation(part="a", mode="open", prior=0.5),),
    )  # fmt: skip
    alone, together = small.system(), Together(systems=(small.system(),))
    assert together.deviations == alone.deviations
    assert [*explain(together, 1)] == [*explain(alone, 1)]
    for every in ([*explain(alone, 1)], explain(alone, 1).ranked()):
        assert len(every) == 2
        assert {(one.folded_count, one.folded_probability) for one in every} == {(0, 0.0)}


def test_together_wants_equal_deviations():
    """Evidence on different deviations is refused."""
    one = Small(
        seed=0,
        cells=1,
        kinds=(0,),
        touched=(1,),
        states=(1,),
        carrying=(True,),
        owners=(None,),
        readings=(0,),
        deviations=(Deviation(part="a", mode="open", prior=0.5),),
    )
    other = Small(
        seed=0,
        cells=1,
        kinds=(0,),
        touched=(1,),
        states=(1,),
        carrying=(True,),
        owners=(None,),
        readings=(0,),
        deviations=(Deviation(part="b", mode="open", prior=0.5),),
    )
    with pytest.raises(ValueError, match="different deviations found, the same in each wanted"):
        Together(systems=(one.system(), other.system()))
    with pytest.raises(ValueError, match="none found, at least one wanted"):
        Together(systems=())


@pytest.mark.parametrize("prior", [0.0, -0.1, float("inf"), float("nan")])
def test_prior_is_validated(prior):
    """A prior is a finite number above 0."""
    with pytest.raises(ValueError, match=r"prior of LED dark: .* a finite number above 0 wanted"):
        Deviation(part="LED", mode="dark", prior=prior)


@pytest.mark.parametrize("likelihood", [0.0, 1.1, float("nan")])
def test_likelihood_is_validated(likelihood):
    """What is allowed has a likelihood above 0 and up to 1."""
    with pytest.raises(ValueError, match="a number above 0 and up to 1 wanted"):
        Allowed(likelihood=likelihood)


def test_negative_limit():
    """A negative limit is refused."""
    small = Small(
        seed=0,
        cells=1,
        kinds=(),
        touched=(1,),
        states=(1,),
        carrying=(True,),
        owners=(None,),
        readings=(0,),
        deviations=(),
    )
    with pytest.raises(ValueError, match="limit: -1 found, 0 or more wanted"):
        explain(small.system(), -1)


class Dark(System):
    """Lamps that are dark as their common supply is off, or each by itself."""

    deviations = (
        Deviation(part="supply", mode="off", prior=0.01),
        Deviation(part="lamp 1", mode="blown", prior=0.125),
        Deviation(part="lamp 2", mode="blown", prior=0.125),
    )

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        if 0 in chosen or chosen >= {1, 2}:
            return Allowed(likelihood=1.0)
        return Conflict(candidates=frozenset({0, 1, 2}) - chosen)


def test_likeliest_minimal_set_takes_the_rest():
    """By hand: two blown lamps (1/64) beat the supply (1/100) and take all three together."""
    one, other = explain(Dark(), 3).minimal
    assert (one.members, one.folded_count) == ((1, 2), 1)
    assert (other.members, other.folded_count) == ((0,), 2)
    total = 1 / 64 + 0.01 + 2 * 0.01 / 8 + 0.01 / 64
    assert one.folded_probability == pytest.approx(0.01 / 64 / total)
    assert other.folded_probability == pytest.approx(2 * 0.01 / 8 / total)
