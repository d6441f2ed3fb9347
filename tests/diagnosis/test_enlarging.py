"""Where deviations can make more worlds read a value: a help to the search, and no more."""

from __future__ import annotations

from itertools import combinations

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis.masks import Effect, MaskModel
from simrig.diagnosis.readings import MaskSystem
from simrig.diagnosis.reasoning import Allowed, Conflict, Deviation, explain
from tests.diagnosis.small_systems import VALUES, Small, small_systems


def apart(small: Small, chosen: tuple[int, ...]) -> bool:
    """Whether deviations are on different parts."""
    return len({small.deviations[index].part for index in chosen}) == len(chosen)


def enlarging(small: Small, turning: frozenset[int]) -> tuple[tuple[int, ...], ...]:
    """For each value and deviation the cells at which it makes more worlds read the value in
    some company without turners, by trying all; of a turner, all that it reaches."""
    count = len(small.deviations)
    by_kind = [dict.fromkeys(small.kinds, 0) for _ in range(VALUES)]
    plain = [index for index in range(count) if small.kinds[index] not in turning]
    for size in range(count):
        for company in combinations(plain, size):
            for index in set(plain) - set(company):
                if not apart(small, (*company, index)):
                    continue
                for states in small.with_states((*company, index)):
                    for cell in range(small.cells + 1):
                        more = small.masks(cell, states)
                        less = small.masks(cell, states[:-1])
                        for value in range(VALUES):
                            if more[value] & ~less[value]:
                                by_kind[value][small.kinds[index]] |= 1 << cell
    return tuple(
        tuple(small.reached(kind) if kind in turning else bits[kind] for kind in small.kinds)
        for bits in by_kind
    )


@st.composite
def enlarged(draw: st.DrawFn) -> tuple[Small, MaskSystem]:
    """A small system, and the same with what its deviations enlarge and which of them turn."""
    small = draw(small_systems(most=5))
    turning = draw(st.frozensets(st.sampled_from(range(4)), max_size=2))
    model = attrs.evolve(
        small.system().model,
        enlarges=enlarging(small, turning),
        turners=frozenset(i for i, kind in enumerate(small.kinds) if kind in turning),
    )
    return small, MaskSystem(model=model, readings=small.readings)


@given(both=enlarged(), limit=st.integers(0, 4))
@settings(max_examples=500, deadline=None, derandomize=True)
def test_what_is_enlarged_leaves_all_sets(both, limit):
    """The sets and likelihoods are those of trying every set and world."""
    small, system = both
    found = {one.members: one.likelihood for one in explain(system, limit)}
    assert found == small.consistent(limit)


@given(both=enlarged())
@settings(max_examples=200, deadline=None, derandomize=True)
def test_conflicts_with_what_is_enlarged_are_sound(both):
    """Each consistent superset of a conflicting set holds one of the candidates more."""
    small, system = both
    consistent = [frozenset(chosen) for chosen in small.consistent(5)]
    for size in range(4):
        for members in combinations(range(len(small.deviations)), size):
            chosen = frozenset(members)
            outcome = system.outcomes(chosen) if apart(small, members) else None
            if isinstance(outcome, Conflict):
                assert all(outcome.candidates & one for one in consistent if chosen < one)


def model(**changes: object) -> MaskModel:
    """Three deviations, three cells that read 0 in no world; each lets its cell read 0."""
    stated = {
        "deviations": tuple(Deviation(part=n, mode="stuck", prior=0.5) for n in range(3)),
        "meets": (0b001, 0b010, 0b100),
        "count": 2,
        "healthy": ((0, 0b11),) * 3,
        "worlds": 0b11,
        "effect": lambda component: Effect(states=(dict.fromkeys(component, (0b11, 0)),)),
    }
    return MaskModel(**{**stated, **changes})


def read(made: MaskModel, *readings: int | None, **changes: object) -> MaskSystem:
    return MaskSystem(model=made, readings=readings, **changes)


def test_only_what_enlarges_what_was_read_is_a_candidate():
    """By hand: the first cell reads 0 where no world does; of two that reach it, one makes
    more worlds read 0, the other fewer."""
    both = model(
        reaches=(0b001, 0b011, 0b100),
        carriers=frozenset(),
        enlarges=((0b001, 0b010, 0b100), (0, 0b001, 0)),
    )
    assert read(both, 0, None, None).outcomes(frozenset()) == Conflict(candidates=frozenset({0}))
    turned = attrs.evolve(both, turners=frozenset({1}))
    system = read(turned, 0, 0, None)
    assert system.outcomes(frozenset({1})) == Conflict(candidates=frozenset({0}))
    # A turner that is not there turns nothing.
    assert read(turned, 0, None, None).outcomes(frozenset()) == Conflict(candidates=frozenset({0}))
    # With nothing said of what is enlarged, all that reach the cell are.
    plain = attrs.evolve(both, enlarges=None)
    assert read(plain, 0, None, None).outcomes(frozenset()) == Conflict(
        candidates=frozenset({0, 1})
    )


def test_what_is_turned_is_asked_for_whatever_enlarges_it():
    """By hand: the first makes the first cell read 0 in the company of a turner, which it meets
    at the second, and in no other; it is not ruled out before it is asked for."""
    made = model(
        meets=(0b010, 0b010, 0b100),
        reaches=(0b011, 0b010, 0b100),
        carriers=frozenset(),
        enlarges=((0, 0b010, 0), (0, 0b010, 0)),
        turners=frozenset({1}),
        effect=lambda component: Effect(states=({0: (0b11, 0)} if component == {0, 1} else {},)),
    )
    system = read(made, 0, 1, None)
    assert system.extensions(frozenset({1}), [0, 2]) == {0: 1.0}
    assert system.extensions(frozenset({0}), [1, 2]) == {1: 1.0}


def test_only_chosen_carriers_carry():
    """By hand: what meets a carrier that is not there helps nobody."""
    made = model(meets=(0b011, 0b010, 0b100))
    found = read(made, 0, 1, 1).outcomes(frozenset())
    assert found == Conflict(candidates=frozenset({0}))
    found = read(made, 0, 0, 0).outcomes(frozenset({1, 2}))
    assert found == Conflict(candidates=frozenset({0}))
    # The third is there and is met by the second, but leads nowhere near the first cell.
    made = model(meets=(0b001, 0b110, 0b100))
    found = read(made, 0, None, None).outcomes(frozenset({2}))
    assert found == Conflict(candidates=frozenset({0}))
    # The second reaches the first cell and changes nothing; the third, which the first meets,
    # does not meet the second.
    made = model(meets=(0b100, 0b010, 0b100), reaches=(0b100, 0b011, 0b100),
                 effect=lambda component: Effect(states=({},)))  # fmt: skip
    found = read(made, 0, None, None).outcomes(frozenset({1, 2}))
    assert found == Conflict(candidates=frozenset())


def test_what_hangs_together_is_asked_for_as_one():
    """By hand: the first meets the second at one cell and the third at another; all three are
    asked for at once, and those that meet nowhere never."""
    asked = []

    def effect(component: frozenset[int]) -> Effect:
        asked.append(sorted(component))
        return Effect(states=(dict.fromkeys(component, (0b11, 0)),))

    meets = (0b10011, 0b01010, 0b00100)
    for order in (meets, (0b11001, 0b10010, 0b01100)):
        asked.clear()
        read(model(meets=order, effect=effect), 0, 0, 0).outcomes(frozenset({0, 1, 2}))
    assert asked == [[0, 1, 2]]
    asked.clear()
    read(model(effect=effect), 0, 0, 0).outcomes(frozenset({0, 1, 2}))
    assert sorted(asked) == [[0], [1], [2]]


def test_barred_candidates_are_passed_over():
    """Those that come after a barred one are tried."""
    system = read(model(), 0, None, 1, barred=frozenset({1}))
    assert system.extensions(frozenset(), [1, 0, 2]) == {0: 1.0}
    assert system.outcomes(frozenset({1})) == Conflict(candidates=frozenset())
    assert system.outcomes(frozenset()) == Conflict(candidates=frozenset({0}))


@pytest.mark.parametrize("cells", [(0, 1), (1, 0)])
def test_a_change_that_is_seen_in_part_is_seen(cells):
    """By hand: a deviation changes a cell that was read and one that was not looked at."""

    def effect(component: frozenset[int]) -> Effect:
        return Effect(states=(dict.fromkeys(cells, (1, 0)),))

    made = model(meets=(0b011, 0b010, 0b100), effect=effect, healthy=((0b11, 0),) * 3)
    system = read(made, 0, None, None)
    assert system.outcomes(frozenset({0})) == Allowed(likelihood=0.5)
    assert system.conflicting_cells(frozenset({0})) == ()
    assert system.extensions(frozenset(), [0]) == {0: 0.5}


@pytest.mark.parametrize(("changed", "cell"), [({1: (0, 0)}, 1), ({2: (0, 0), 1: (0, 0)}, 1)])
def test_a_cell_changed_out_of_reach_is_named(changed, cell):
    """The first cell that the deviation does not reach."""
    made = model(effect=lambda component: Effect(states=({0: (0, 0), **changed},)))
    with pytest.raises(ValueError, match=f"^cell {cell}: found changed, a cell that is reached"):
        read(made, 0, 0, 0).outcomes(frozenset({0}))


def test_an_entry_for_each_deviation():
    """What is enlarged is stated for every deviation, for each value."""
    with pytest.raises(ValueError, match="enlarges: 2 found, 3 wanted"):
        model(enlarges=((0, 0, 0), (0, 0)))
    with pytest.raises(ValueError, match="reaches: 1 found, 3 wanted"):
        model(reaches=(1,))


def test_two_at_once_where_nothing_is_said():
    """Sets of up to two deviations are sought, and one explains each of two wrong readings."""
    found = explain(read(model(), 0, 0, 1))
    assert found.limit == 2
    assert [one.members for one in found.minimal] == [(0, 1)]
    assert explain(read(model(), 0, 0, 0)).count == 0
