"""Dirichlet counts: documented weights and records together."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.faults.modes import FAULT_KINDS
from simrig.history import beta, priors, rates

scipy_stats = pytest.importorskip("scipy.stats")


def means_of(prior, seen):
    return [row.mean for row in rates.shares(prior, seen).kinds]


def test_three_kinds_with_a_uniform_prior():
    """1, 1, 1 and 727, 583, 137 records give 728, 584, 138 and their shares.
    Source: BDA+OWN (REL-03), recalled from memory."""
    prior = {"a": 1.0, "b": 1.0, "c": 1.0}
    seen = {"a": 727, "b": 583, "c": 137}
    assert rates.posterior_counts(prior, seen) == {"a": 728, "b": 584, "c": 138}
    assert means_of(prior, seen) == pytest.approx([0.502069, 0.402759, 0.095172], abs=1e-6)


def test_four_causes_of_a_fault():
    """1, 1, 1, 1 and 6, 3, 1, 0 records give these means.  Source: OWN (REL-04)."""
    prior = dict.fromkeys(("resistor", "emitter", "plug", "supply"), 1.0)
    seen = {"resistor": 6, "emitter": 3, "plug": 1}
    wanted = [0.5, 0.285714, 0.142857, 0.071429]
    assert means_of(prior, seen) == pytest.approx(wanted, abs=1e-6)


def test_seven_of_ten():
    """A uniform prior and 7 of 10 give counts 8 and 4 and the mean 0.666667.
    Source: BB+OWN (REL-01)."""
    shares = rates.shares({"right": 1.0, "wrong": 1.0}, {"right": 7, "wrong": 3})
    assert rates.posterior_counts({"right": 1.0, "wrong": 1.0}, {"right": 7, "wrong": 3}) == {
        "right": 8,
        "wrong": 4,
    }
    assert shares.kinds[0].mean == pytest.approx(0.666667, abs=1e-6)


def test_never_failed_in_ten():
    """A kind never seen in 10 records has the mean 0.083333 under a uniform prior.
    Source: OWN (REL-05)."""
    shares = rates.shares({"this": 1.0, "others": 1.0}, {"others": 10})
    assert shares.kinds[-1].kind == "this"
    assert shares.kinds[-1].mean == pytest.approx(0.083333, abs=1e-6)


@given(
    prior=st.lists(st.floats(min_value=0.05, max_value=5), min_size=2, max_size=6),
    seen=st.lists(st.integers(min_value=0, max_value=500), min_size=6, max_size=6),
)
def test_means_add_up_and_intervals_are_scipys(prior, seen):
    """The means add up to one, and each interval is that of the kind's own beta distribution."""
    weights = {str(number): weight for number, weight in enumerate(prior)}
    records = {name: seen[int(name)] for name in weights}
    shares = rates.shares(weights, records, mass=0.9)
    assert sum(row.mean for row in shares.kinds) == pytest.approx(1)
    assert shares.records == sum(records.values())
    total = sum(prior) + sum(records.values())
    for row in shares.kinds:
        count = weights[row.kind] + records[row.kind]
        low, high = scipy_stats.beta.interval(0.9, count, total - count)
        assert row.low == pytest.approx(float(low), rel=1e-6, abs=1e-12)
        assert row.high == pytest.approx(float(high), rel=1e-6, abs=1e-12)
        assert row.prior == pytest.approx(weights[row.kind])


def test_a_kind_that_the_prior_does_not_know_gets_its_least_count():
    """A plug-in's kind of part on record is counted beside the others."""
    counts = rates.posterior_counts({"emitter": 2.0, "resistor": 0.5}, {"magnet": 3})
    assert counts == {"emitter": 2.0, "resistor": 0.5, "magnet": 3.5}


def test_fifty_resistors_raise_the_resistor_by_the_dirichlet_rule():
    """Prior counts 4 of 10 and 50 records of 50 multiply the weight by (54/60)/(4/10) = 2.25,
    and all others by 10/60.  Derived."""
    prior = {"resistor": 4.0, "emitter": 5.0, "connector": 1.0}
    assert rates.factors(prior, {"resistor": 50}) == pytest.approx(
        {"resistor": 2.25, "emitter": 1 / 6, "connector": 1 / 6}
    )


@given(st.dictionaries(st.sampled_from("abcdef"), st.floats(0.01, 9), min_size=1))
def test_without_a_record_nothing_changes(prior):
    """Every factor is 1 before the first record, and a stranger's record leaves it so."""
    assert rates.factors(prior, {}) == pytest.approx(dict.fromkeys(prior, 1.0))
    assert rates.factors(prior, {"stranger": 9}) == pytest.approx(dict.fromkeys(prior, 1.0))


def test_prior_counts_are_worth_ten_records():
    """The documented weights are summed by kind and worth ten records in all."""
    counts = rates.prior_counts([("emitter", 1.0), ("resistor", 2.0), ("emitter", 1.0)])
    assert counts == {"emitter": 5.0, "resistor": 5.0}
    with pytest.raises(ValueError, match="above 0"):
        rates.prior_counts([("emitter", 0.0)])


def test_beside_a_kicker_the_resistor_is_the_first_guess():
    """Documented weights put the resistor's lead before the emitter beside a kicker.
    Common practice, no source."""
    elsewhere = priors.prior_of_kinds(FAULT_KINDS, beside_kicker=False)
    beside = priors.prior_of_kinds(FAULT_KINDS, beside_kicker=True)
    assert beside["resistor"] > beside["emitter"]
    assert beside["resistor"] > elsewhere["resistor"]
    assert sum(beside.values()) == pytest.approx(rates.STRENGTH)
    assert sum(elsewhere.values()) == pytest.approx(rates.STRENGTH)


def test_the_interval_narrows_with_records():
    """Ten times the records, a narrower interval around nearly the same share."""
    few = rates.shares({"a": 1.0, "b": 1.0}, {"a": 7, "b": 3}).kinds[0]
    many = rates.shares({"a": 1.0, "b": 1.0}, {"a": 70, "b": 30}).kinds[0]
    assert many.high - many.low < few.high - few.low
    assert beta.cumulative(few.high, 8, 4) - beta.cumulative(few.low, 8, 4) == pytest.approx(0.9)


def test_a_single_kind_is_all_there_is():
    """With one kind there is nothing to be uncertain about."""
    (row,) = rates.shares({"a": 1.0}, {"a": 3}).kinds
    assert (row.mean, row.low, row.high) == (1.0, 1.0, 1.0)
