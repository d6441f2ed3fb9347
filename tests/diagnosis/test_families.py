"""Families of interchangeable deviations, against forming every set."""

from __future__ import annotations

import math
from collections import Counter
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis.deviation import Deviation
from simrig.diagnosis.families import Classes


@st.composite
def classes(draw: st.DrawFn) -> tuple[Classes, list[int], list[int], list[float]]:
    """Up to seven deviations on up to four parts in up to three classes."""
    rows = draw(
        st.lists(
            st.tuples(st.integers(0, 3), st.integers(0, 2), st.integers(-3, 1)),
            min_size=1,
            max_size=7,
        )
    )
    parts, keys = [part for part, _, _ in rows], [key for _, key, _ in rows]
    priors = [2.0**power for _, _, power in rows]
    deviations = tuple(
        Deviation(part=part, mode=str(number), prior=prior)
        for number, (part, prior) in enumerate(zip(parts, priors, strict=True))
    )
    return Classes.group(deviations, keys), parts, keys, priors


@given(made=classes(), data=st.data())
@settings(max_examples=150, deadline=None, derandomize=True)
def test_a_family_is_every_set_of_its_classes_on_different_parts(made, data):
    """Sets, their number, the sum of their odds and one of them, by forming all."""
    found, parts, keys, priors = made
    number = {key: index for index, key in enumerate(dict.fromkeys(keys))}
    family = tuple(
        sorted(data.draw(st.lists(st.sampled_from(sorted(number.values())), max_size=3)))
    )
    taken = data.draw(st.sets(st.integers(0, 3), max_size=2))
    # Parts are numbered in the order in which they are met.
    part_number = {part: index for index, part in enumerate(dict.fromkeys(parts))}
    sets = [
        chosen
        for chosen in combinations(range(len(parts)), len(family))
        if Counter(number[keys[one]] for one in chosen) == Counter(family)
        and len({parts[one] for one in chosen}) == len(chosen)
    ]
    expanded = list(found.expand(family))
    assert sorted(tuple(sorted(chosen)) for chosen, _ in expanded) == sets
    for chosen, odds in expanded:
        assert [number[keys[one]] for one in chosen] == list(family)
        assert odds == math.prod(priors[one] for one in chosen)
    free = [one for one in sets if not {parts[member] for member in one} & taken]
    numbers = {part_number[part] for part in taken if part in part_number}
    total = (len(free), math.fsum(math.prod(priors[i] for i in one) for one in free))
    assert found.total(family, numbers) == total
    representative = found.representative(family)
    assert (representative is None) == (not sets)
    assert representative is None or tuple(sorted(representative)) in sets


def test_classes_by_hand():
    """Classes come in the order of their first members, parts in that of theirs."""
    deviations = [
        Deviation(part=part, mode=mode, prior=prior)
        for part, mode, prior in [
            ("lamp", "dark", 0.5), ("lead", "broken", 0.25), ("lamp", "dim", 0.125)
        ]
    ]  # fmt: skip
    found = Classes.group(deviations, ["a", "b", "a"])
    assert found.members == ((0, 2), (1,))
    assert found.class_of == (0, 1, 0)
    assert found.parts == (0, 1, 0)
    assert found.priors == (0.5, 0.25, 0.125)
    assert found.total(()) == (1, 1.0)
    assert found.total((0,)) == (2, 0.625)
    assert found.total((0,), (0,)) == (0, 0)
    assert found.total((0, 0)) == (0, 0)
    assert found.total((0, 1)) == (2, 0.625 * 0.25)
    assert found.total((0, 1), (1,)) == found.total((0, 1), (0,)) == (0, 0)
    assert found.representative((0, 0)) is None
    assert found.representative((0, 1)) == {0, 1}
    assert list(found.expand(())) == [((), 1.0)]
