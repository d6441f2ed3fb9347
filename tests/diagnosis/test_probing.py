"""The best reading to take next."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis.reasoning import best_probe, entropy, rank_probes

VALUES = 3


@st.composite
def cases(draw):
    weights = draw(st.lists(st.integers(1, 9), min_size=1, max_size=5))
    predicted = draw(
        st.lists(
            st.sampled_from([None, *range(VALUES)]), min_size=len(weights), max_size=len(weights)
        )
    )
    return [weight / sum(weights) for weight in weights], predicted


@given(case=cases())
@settings(max_examples=200, deadline=None, derandomize=True)
def test_remaining_entropy(case):
    """What remains is the mean entropy after each value, by the rule of Bayes."""
    chances, predicted = case
    mean = 0.0
    for value in range(VALUES):
        joint = [
            chance * (1 / VALUES if guess is None else guess == value)
            for chance, guess in zip(chances, predicted, strict=True)
        ]
        if sum(joint):
            mean += sum(joint) * entropy(one / sum(joint) for one in joint)
    probe = best_probe(chances, {"line": predicted}, m=VALUES)
    assert probe.remaining == pytest.approx(mean, abs=1e-9)


def test_useless_probe_leaves_all():
    """A point at which all predict the same leaves the entropy as it is."""
    probe = best_probe([0.5, 0.25, 0.25], {"line": [1, 1, 1]}, m=2)
    assert (probe.values, probe.bits, probe.remaining) == ({1: 1.0}, 0.0, 1.5)


def test_equal_probes_keep_their_order():
    """Of equal points, the first stated is the best."""
    ranked = rank_probes([0.5, 0.5], {"b": [0, 1], "a": [1, 0], "c": [0, 0]}, m=2)
    assert [probe.point for probe in ranked] == ["b", "a", "c"]


def test_entropy_of_eight():
    """Eight equal chances are three bits."""
    assert math.isclose(entropy([1 / 8] * 8), 3.0)


@pytest.mark.parametrize(
    ("chances", "predictions", "message"),
    [
        ([0.5, 0.4], {"a": [0, 1]}, "chances: a sum of 0.9 found, 1 wanted"),
        ([1.0], {"a": [0, 1]}, "a: 2 predictions found, 1 wanted"),
        ([0.5, 0.25, 0.25], {"a": [0, 1, 2]}, "a: 3 values found, at most 2 wanted"),
        ([1.0], {}, "predictions: none found, at least one point wanted"),
    ],
)
def test_wrong_input(chances, predictions, message):
    """Chances that are none, and predictions that do not fit, are refused."""
    with pytest.raises(ValueError, match=message):
        best_probe(chances, predictions, m=2)
