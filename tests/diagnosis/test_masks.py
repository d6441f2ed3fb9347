"""Cells and worlds as masks."""

from __future__ import annotations

import doctest
import importlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis.masks import EVERY_WORLD, Effect, MaskSystem
from simrig.diagnosis.reasoning import Allowed, Conflict, Deviation, explain
from tests.diagnosis.small_systems import WORLDS, small_systems


@pytest.mark.parametrize("name", ["families", "hitting", "masks", "probing", "reasoning"])
def test_worked_examples(name):
    """The worked example at the head of each module holds."""
    module = importlib.import_module(f"simrig.diagnosis.{name}")
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0


def sets_of(small):
    """All sets of deviations on different parts."""
    count = len(small.deviations)
    for bits in range(2**count):
        chosen = [i for i in range(count) if bits >> i & 1]
        if len({small.deviations[i].part for i in chosen}) == len(chosen):
            yield tuple(chosen)


@given(small=small_systems(most=5))
@settings(max_examples=150, deadline=None, derandomize=True)
def test_outcomes(small):
    """Each set is allowed with the share that trying all worlds gives, or conflicts."""
    system = small.system()
    for chosen in sets_of(small):
        outcome = system.outcomes(frozenset(chosen))
        likelihood = small.likelihood(chosen)
        if likelihood:
            assert outcome == Allowed(likelihood=likelihood)
        else:
            assert isinstance(outcome, Conflict)


@given(small=small_systems(most=5))
@settings(max_examples=150, deadline=None, derandomize=True)
def test_conflicts_are_sound(small):
    """Each consistent superset of a conflicting set holds one of the candidates more."""
    system = small.system()
    consistent = [frozenset(chosen) for chosen in sets_of(small) if small.likelihood(chosen)]
    for chosen in map(frozenset, sets_of(small)):
        outcome = system.outcomes(chosen)
        if isinstance(outcome, Conflict):
            assert not outcome.candidates & chosen
            for other in consistent:
                assert not chosen < other or outcome.candidates & other


@given(small=small_systems(most=4))
@settings(max_examples=150, deadline=None, derandomize=True)
def test_conflicting_cells(small):
    """The cells named conflict in each world and state; none are named if it is allowed."""
    system = small.system()
    for chosen in sets_of(small):
        cells = system.conflicting_cells(frozenset(chosen))
        assert bool(cells) == (not small.likelihood(chosen))
        for states in small.with_states(chosen) if cells else ():
            common = EVERY_WORLD
            for cell in cells:
                common &= small.mask(cell, states)
            assert common == 0


@given(small=small_systems(most=4))
@settings(max_examples=100, deadline=None, derandomize=True)
def test_agreeing_worlds(small):
    """The agreeing worlds are those in which some state gives all readings."""
    system = small.system()
    for chosen in sets_of(small):
        expected = sum(
            1 << bit
            for bit in range(WORLDS)
            if any(
                all(small.mask(cell, states) >> bit & 1 for cell in range(small.cells + 1))
                for states in small.with_states(chosen)
            )
        )
        assert system.agreeing_worlds(frozenset(chosen)) == expected


@given(small=small_systems(most=5), data=st.data())
@settings(max_examples=150, deadline=None, derandomize=True)
def test_extensions(small, data):
    """Extensions are the allowed outcomes of one deviation more."""
    chosen = frozenset(data.draw(st.sampled_from(list(sets_of(small)))))
    taken = {small.deviations[i].part for i in chosen}
    candidates = [i for i, one in enumerate(small.deviations) if one.part not in taken]
    expected = {}
    for index in candidates:
        likelihood = small.likelihood(tuple(sorted(chosen | {index})))
        if likelihood:
            expected[index] = likelihood
    assert small.system().extensions(chosen, candidates) == expected


def one_by_one(**changes) -> dict:
    """Return the arguments for two deviations over two cells and two worlds."""
    arguments = {
        "deviations": (
            Deviation(part="left", mode="stuck", prior=0.5),
            Deviation(part="right", mode="stuck", prior=0.5),
        ),
        "interactions": (0b01, 0b10),
        "agree": (0b10, 0b01),
        "worlds": 0b11,
        "effect": lambda component: Effect(states=(dict.fromkeys(component, EVERY_WORLD),)),
    }
    return {**arguments, **changes}


def test_disjoint_deviations_are_not_tried_together():
    """Deviations that meet at no cell are asked for singly, each once."""
    asked = []

    def effect(component: frozenset[int]) -> Effect:
        asked.append(sorted(component))
        return Effect(states=(dict.fromkeys(component, EVERY_WORLD),))

    explain(MaskSystem(**one_by_one(effect=effect)), 2)
    assert sorted(asked) == [[0], [1]]


def test_conflict_holds_no_spare_cell():
    """Of five cells, the two that rule each other out are the conflict."""
    system = MaskSystem(**one_by_one(agree=(0b11, 0b10, 0b11, 0b01, 0b11)))
    assert system.conflicting_cells(frozenset()) == (1, 3)


def test_no_possible_world():
    """Without a possible world the selection itself is the conflict."""
    system = MaskSystem(**one_by_one(worlds=0, agree=(0b11, 0b11)))
    assert system.conflicting_cells(frozenset()) == (2,)
    assert system.outcomes(frozenset()) == Conflict(candidates=frozenset())


def test_deviations_without_interaction_are_alike():
    """Deviations that touch nothing are interchangeable, others are not."""
    nothing = Effect(states=({},))
    system = MaskSystem(**one_by_one(interactions=(0, 0), effect=lambda component: nothing))
    assert system.alike(0) == system.alike(1)
    system = MaskSystem(**one_by_one())
    assert system.alike(0) != system.alike(1)


def test_unobserved_cells_carry():
    """Two deviations that meet only at a cell not looked at are tried together.

    Leads 0 and 1 exchanged alone, or lead 1 stuck alone, leave reading 0 wrong.
    """
    masks = {(0,): {0: 0}, (1,): {1: 0}, (0, 1): {0: 0b11}}
    system = MaskSystem(
        **one_by_one(
            interactions=(0b11, 0b10),
            agree=(0, 0),
            observed=0b01,
            effect=lambda component: Effect(states=(masks[tuple(sorted(component))],)),
        )
    )
    assert [one.members for one in explain(system, 2)] == [(0, 1)]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"interactions": (1,)}, "interactions: 1 found, 2 wanted"),
        ({"keys": ("a",)}, "keys: 1 found, 2 wanted"),
        ({"worlds": -1}, "worlds: -1 found, a mask of 0 or more wanted"),
    ],
)
def test_wrong_arguments(changes, message):
    """A system that does not fit together is refused."""
    with pytest.raises(ValueError, match=message):
        MaskSystem(**one_by_one(**changes))


@pytest.mark.parametrize(
    "effect", [Effect(states=({1: 0b11},)), Effect(states=({},), selection=0b01)]
)
def test_change_outside_of_interaction(effect):
    """An effect outside of the stated interaction is refused, as it would be lost."""
    system = MaskSystem(**one_by_one(effect=lambda component: effect))
    with pytest.raises(ValueError, match="found changed, inside of an interaction wanted"):
        system.outcomes(frozenset({0}))


def test_selection_is_the_denominator():
    """A deviation that selects other worlds is held against those."""
    arguments = one_by_one(
        interactions=(0b100, 0b010),
        agree=(0b0011, 0b1111),
        worlds=0b1100,
        effect=lambda component: Effect(states=({},), selection=0b0111),
    )
    system = MaskSystem(**arguments)
    assert system.outcomes(frozenset({0})) == Allowed(likelihood=2 / 3)
