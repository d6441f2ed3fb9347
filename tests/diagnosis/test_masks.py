"""Cells and worlds as masks."""

from __future__ import annotations

import doctest
import importlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis.masks import Effect, MaskModel
from simrig.diagnosis.readings import MaskSystem
from simrig.diagnosis.reasoning import Allowed, Conflict, Deviation, explain
from tests.diagnosis.small_systems import EVERYTHING, WORLDS, small_systems


@pytest.mark.parametrize(
    "name", ["families", "hitting", "masks", "probing", "products", "reasoning"]
)
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
            common = EVERYTHING
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


def two(**changes) -> MaskModel:
    """Return a model of two deviations, each on one of two cells, over four worlds.

    Cells can read 0 or 1; a deviation lets its cell read 0 anywhere.
    """
    arguments = {
        "deviations": (
            Deviation(part="left", mode="stuck", prior=0.5),
            Deviation(part="right", mode="stuck", prior=0.5),
        ),
        "meets": (0b01, 0b10),
        "count": 4,
        "healthy": ((0b1100, 0b0011), (0b0011, 0b1100)),
        "worlds": 0b1111,
        "effect": lambda component: Effect(states=(dict.fromkeys(component, (0b1111, 0)),)),
    }
    return MaskModel(**{**arguments, **changes})


def read(model: MaskModel, *readings: int | None) -> MaskSystem:
    return MaskSystem(model=model, readings=readings)


def test_readings_select_masks():
    """Each cell is held against the mask of what was read, or none if not looked at."""
    assert read(two(), 0, 1).agreeing_worlds(frozenset()) == 0b1100
    assert read(two(), 1, 0).agreeing_worlds(frozenset()) == 0b0011
    assert read(two(), None, 0).agreeing_worlds(frozenset()) == 0b0011
    assert read(two(), None, None).agreeing_worlds(frozenset()) == 0b1111
    assert read(two(), 0, 0).agreeing_worlds(frozenset({0})) == 0b0011


def test_disjoint_deviations_are_not_tried_together():
    """Deviations that meet at no cell are asked for singly, each once for all readings."""
    asked = []

    def effect(component: frozenset[int]) -> Effect:
        asked.append(sorted(component))
        return Effect(states=(dict.fromkeys(component, (0b1111, 0)),))

    model = two(effect=effect)
    for readings in ([0, 0], [0, 1], [1, 1]):
        explain(read(model, *readings), 2)
    assert sorted(asked) == [[0], [1]]


def test_conflict_holds_no_spare_cell():
    """Of five cells, the two that rule each other out are the conflict."""
    masks = (0b1111, 0b1100, 0b1111, 0b0011, 0b1111)
    system = read(two(healthy=tuple((mask,) for mask in masks)), 0, 0, 0, 0, 0)
    assert system.conflicting_cells(frozenset()) == (1, 3)


def test_no_possible_world():
    """Without a possible world the selection itself is the conflict."""
    system = read(two(worlds=0), 0, None)
    assert system.conflicting_cells(frozenset()) == (2,)
    assert system.outcomes(frozenset()) == Conflict(candidates=frozenset())


def test_deviations_without_interaction_are_alike():
    """Deviations that touch nothing are interchangeable, others are not."""
    nothing = Effect(states=({},))
    model = two(meets=(0, 0), effect=lambda component: nothing)
    assert read(model, 0, 0).classes().members == ((0, 1),)
    assert read(two(), 0, 0).classes().members == ((0,), (1,))


def test_unseen_deviations_are_alike():
    """What changes cells not looked at is interchangeable, unless it can be carried on."""
    model = two(meets=(0b10, 0b10), carriers=frozenset())
    assert read(model, 0, None).classes().members == ((0, 1),)
    assert read(model, 0, 0).classes().members == ((0,), (1,))
    model = two(meets=(0b10, 0b10), carriers=frozenset({0}))
    assert read(model, 0, None).classes().members == ((0,), (1,))


def test_further_reach():
    """A deviation can change, with another that it meets, a cell that neither changes alone.

    By hand: a diode shorted at the second switch leads on only if that switch is stuck
    closed; the first reading then is wrong, the second was not looked at.
    """
    both = {0: (0, 0b1111)}
    model = two(
        meets=(0b10, 0b10),
        reaches=(0b11, 0b10),
        healthy=((0b1111, 0), (0b1111, 0)),
        carriers=frozenset({0}),
        effect=lambda component: Effect(states=(both if len(component) == 2 else {},)),
    )
    assert [one.members for one in explain(read(model, 1, None), 2)] == [(0, 1)]


def test_unobserved_cells_carry():
    """Two deviations that meet only at a cell not looked at are tried together.

    By hand: exchanged leads alone, or the second switch stuck alone, leave the first
    reading wrong; the stuck switch read through the exchanged leads gives it.
    """
    exchanged = {0: (0, 0b1111), 1: (0, 0b1111)}
    stuck = {1: (0b1111, 0)}
    both = {0: (0b1111, 0), 1: (0, 0b1111)}
    effects = {(0,): exchanged, (1,): stuck, (0, 1): both}
    model = two(
        meets=(0b11, 0b10),
        healthy=((0, 0b1111), (0, 0b1111)),
        effect=lambda component: Effect(states=(effects[tuple(sorted(component))],)),
    )
    assert [one.members for one in explain(read(model, 0, None), 2)] == [(0, 1)]


def test_carried_twice():
    """What is stuck at one switch reaches a reading through two pairs of exchanged leads.

    By hand: leads 0 and 1 exchanged, leads 1 and 2 exchanged and the third switch stuck
    give the first reading only all together; the other two were not looked at.
    """
    names = ("exchanged 0 1", "exchanged 1 2", "stuck 2")
    model = MaskModel(
        deviations=tuple(Deviation(part=name, mode="", prior=0.5) for name in names),
        meets=(0b011, 0b110, 0b100),
        carriers=frozenset({0, 1}),
        count=1,
        healthy=((0, 1), (0, 1), (0, 1)),
        worlds=1,
        effect=lambda component: Effect(states=({0: (1, 0)} if len(component) == 3 else {},)),
    )
    assert [one.members for one in explain(read(model, 0, None, None), 3)] == [(0, 1, 2)]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"meets": (1,)}, "meets: 1 found, 2 wanted"),
        ({"keys": ("a",)}, "keys: 1 found, 2 wanted"),
        ({"worlds": -1}, "worlds: -1 found, a mask of 4 bits wanted"),
        ({"worlds": 0b10000}, "worlds: 16 found, a mask of 4 bits wanted"),
        ({"count": 0, "worlds": 0}, "count: 0 found, 1 or more wanted"),
    ],
)
def test_wrong_arguments(changes, message):
    """A model that does not fit together is refused."""
    with pytest.raises(ValueError, match=message):
        two(**changes)


def test_wrong_readings():
    """There is one reading for each cell."""
    with pytest.raises(ValueError, match="readings: 1 found, 2 wanted"):
        read(two(), 0)


@pytest.mark.parametrize(
    "effect", [Effect(states=({1: (0b1111, 0)},)), Effect(states=({},), selection=0b01)]
)
def test_change_outside_of_interaction(effect):
    """An effect outside of the stated interaction is refused, as it would be lost."""
    system = read(two(effect=lambda component: effect), 0, 0)
    with pytest.raises(ValueError, match="found changed, a cell that is reached wanted"):
        system.outcomes(frozenset({0}))


def test_selection_is_the_denominator():
    """A deviation that selects other worlds is held against those."""
    model = two(
        meets=(0b100, 0b010),
        healthy=((0b0011, 0), (0b1111, 0)),
        worlds=0b1100,
        effect=lambda component: Effect(states=({},), selection=0b0111),
    )
    assert read(model, 0, 0).outcomes(frozenset({0})) == Allowed(likelihood=2 / 3)


def test_states_are_equally_likely():
    """An intermittent part that agrees in one of two states has half the likelihood."""
    model = two(
        effect=lambda component: Effect(states=({0: (0b1111, 0)}, {0: (0, 0b1111)})),
    )
    assert read(model, 0, None).outcomes(frozenset({0})) == Allowed(likelihood=1 / 2)


def test_an_effect_that_was_laid_over_is_the_same_effect():
    """What was made ready of it does not count when effects are compared."""
    one, other = (Effect(states=({0: (0b1111, 0)},)) for _ in range(2))
    one.changes(2, 0b1111)
    assert one == other
