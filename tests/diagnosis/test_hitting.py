"""Minimal hitting sets."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis.reasoning import minimal_hitting_sets


def hit(sets, limit=None) -> list[list]:
    return sorted(sorted(hitting) for hitting in minimal_hitting_sets(sets, limit))


def test_reiter():
    """The example of the theory's author. Source: HST-01, REI87 (from memory)."""
    conflicts = [[2, 4, 5], [1, 2, 3], [1, 3, 5], [2, 4, 6], [2, 4], [2, 3, 5], [1, 6]]
    assert hit(conflicts) == [
        [1, 2],
        [1, 3, 4],
        [1, 4, 5],
        [2, 3, 6],
        [2, 5, 6],
        [3, 4, 6],
    ]


def test_greiner():
    """Conflicts that are not minimal, in this order, lose no hitting set. Source: HST-02, GRE89."""
    assert hit(["ab", "bc", "ac", "bd", "b"]) == [["a", "b"], ["b", "c"]]


def test_hitman_documentation():
    """The example of a library's documentation. Source: HST-03, PYS."""
    assert hit([[1, 2, 3], [1, 4], [5, 6, 7]]) == [
        [1, 5],
        [1, 6],
        [1, 7],
        [2, 4, 5],
        [2, 4, 6],
        [2, 4, 7],
        [3, 4, 5],
        [3, 4, 6],
        [3, 4, 7],
    ]


def test_redundant_members():
    """Eight sets with redundant members. Source: HST-05, MNH."""
    conflicts = [
        [1, 2, 3, 4],
        [3],
        [2, 4],
        [15],
        [2, 9, 15],
        [3, 9],
        [7, 8],
        [1, 7, 8, 9],
    ]
    assert hit(conflicts) == [[2, 3, 7, 15], [2, 3, 8, 15], [3, 4, 7, 15], [3, 4, 8, 15]]


@pytest.mark.parametrize(("sets", "expected"), [([], [[]]), ([[]], []), ([[1], []], [])])
def test_edges(sets, expected):
    """Nothing is hit by the empty set, an empty set by none."""
    assert hit(sets) == expected


SETS = st.lists(st.lists(st.integers(0, 6), max_size=5), max_size=7)


@given(sets=SETS)
@settings(max_examples=300, deadline=None, derandomize=True)
def test_all_minimal_hitting_sets(sets):
    """Trying each set of elements finds the same minimal hitting sets."""
    hitting = [
        set(chosen)
        for size in range(8)
        for chosen in combinations(range(7), size)
        if all(set(chosen) & set(one) for one in sets)
    ]
    minimal = [sorted(one) for one in hitting if not any(other < one for other in hitting)]
    assert hit(sets) == sorted(minimal)


@given(sets=SETS, limit=st.integers(0, 4))
@settings(max_examples=100, deadline=None, derandomize=True)
def test_limit(sets, limit):
    """A limit keeps the hitting sets of at most that size."""
    assert hit(sets, limit) == [one for one in hit(sets) if len(one) <= limit]


@given(sets=SETS)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_smallest_first(sets):
    """Hitting sets come by size."""
    sizes = [len(one) for one in minimal_hitting_sets(sets)]
    assert sizes == sorted(sizes)


def test_conflicts_hit_diagnoses_back():
    """Minimal conflicts and minimal diagnoses are each other's hitting sets. Source: REI87."""
    conflicts = [{"M1", "M2", "A1"}, {"M1", "M3", "A1", "A2"}]
    diagnoses = minimal_hitting_sets(map(sorted, conflicts))
    assert sorted(map(sorted, minimal_hitting_sets(map(sorted, diagnoses)))) == sorted(
        map(sorted, conflicts)
    )
    assert len(diagnoses) == 4
