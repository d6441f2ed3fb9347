"""What stands apart is laid over the rest as if it had never met it."""

from __future__ import annotations

import doctest
from itertools import combinations

import attrs
from hypothesis import given, settings

from simrig.diagnosis import pieces
from simrig.diagnosis.pieces import NOWHERE, Exposure, Pieces
from simrig.diagnosis.reasoning import Allowed, Conflict, explain
from tests.diagnosis.parted_systems import Parted, Plain, Selector, Source, parted_systems


@given(small=parted_systems())
@settings(max_examples=300, deadline=None, derandomize=True)
def test_what_is_taken_out_leaves_all_sets(small: Parted) -> None:
    """The sets and likelihoods are those of trying every set, state and world."""
    found = {one.members: one.likelihood for one in explain(small.system(), 4)}
    assert found == small.consistent(4)


@given(small=parted_systems())
@settings(max_examples=120, deadline=None, derandomize=True)
def test_conflicts_are_sound_where_some_stand_apart(small: Parted) -> None:
    """Each consistent superset of a conflicting set holds one of the candidates more; a set is
    allowed as trying all says; and what one deviation more makes of it."""
    system = small.system()
    count = len(small.ones)
    consistent = small.consistent(count)
    for size in range(count):
        for members in combinations(range(count), size):
            chosen = frozenset(members)
            outcome = system.outcomes(chosen)
            if isinstance(outcome, Conflict):
                assert members not in consistent
                assert all(outcome.candidates & set(one) for one in consistent if chosen < set(one))
            else:
                assert outcome == Allowed(likelihood=consistent[members])
            others = [index for index in range(count) if index not in chosen]
            more = {i: consistent.get(tuple(sorted((*members, i))), 0.0) for i in others}
            assert system.extensions(chosen, others) == {i: p for i, p in more.items() if p}


def small(
    *ones: Plain | Source | Selector, readings: tuple[int | None, ...] = (None,) * 5
) -> Parted:
    """A system of these, every world usual."""
    return Parted(seed=1, ones=ones, worlds=0b111111, readings=readings)


def asked_of(system: Parted, *chosen: int) -> list[list[int]]:
    """Which deviations are asked for together when a set is judged."""
    asked = []
    made = system.system()

    def effect(component: frozenset[int]):
        asked.append(sorted(component))
        return system.effect(component)

    object.__setattr__(made.model, "effect", effect)
    made.outcomes(frozenset(chosen))
    return sorted(asked)


def test_only_what_bears_on_each_other_is_asked_for_together() -> None:
    """A source bears on cell 0: one there hangs together with it, one at cell 3 stands apart."""
    source = Source(0b0001, 0b0001, (0b0010, 0b0100), 0b1000)
    made = small(source, Plain(0b0001, False, 1), Plain(0b1000, False, 1))
    assert asked_of(made, 0, 1, 2) == [[0, 1], [2]]
    assert asked_of(made, 1, 2) == [[1], [2]]


def test_halves_hang_together_once_both_are_there() -> None:
    """One closed at a half stands apart from the source; two, one at each, do not, and then
    neither does what is behind; what only takes away stands apart however many there are."""
    source = Source(0, 0, (0b0010, 0b0100), 0b1000)
    closing = (Plain(0b0010, False, 1), Plain(0b0100, False, 1))
    taking = (Plain(0b0010, True, 1), Plain(0b0100, True, 1))
    behind = Plain(0b1000, True, 1)
    assert asked_of(small(source, *closing, behind), 0, 1, 3) == [[0], [1], [3]]
    assert asked_of(small(source, *closing, behind), 0, 1, 2) == [[0, 1, 2]]
    assert asked_of(small(source, *closing, behind), 0, 1, 2, 3) == [[0, 1, 2, 3]]
    assert asked_of(small(source, *taking, behind), 0, 1, 2, 3) == [[0], [1], [2], [3]]


def test_candidates_are_what_bears_or_is_half() -> None:
    """Of a conflict at cell 0, on which the chosen source bears: the one at cell 0 and the
    ones at the halves can help, the one at cell 3 cannot."""
    source = Source(0b0001, 0b0001, (0b0010, 0b0100), 0b0001)
    ones = (source, *(Plain(1 << cell, False, 1) for cell in range(4)))
    for seed in range(200):
        made = Parted(seed=seed, ones=ones, worlds=1, readings=(1, None, None, None, None))
        outcome = made.system().outcomes(frozenset({0}))
        if isinstance(outcome, Conflict):
            assert outcome.candidates == {1, 2, 3}
            break
    else:
        raise AssertionError("no conflict in 200 draws")


def test_what_was_told_of_one_and_two_is_kept() -> None:
    """Of three that never stand apart it is asked again, of fewer once; in all worlds it is
    another question."""
    asked = []

    def exposed(some: frozenset[int], every: bool) -> Exposure:
        asked.append((sorted(some), every))
        return Exposure(0, 0)

    made = Pieces(own=(None, None, None), taking=frozenset(), exposed=exposed)

    def answers(*some: int, every: bool = False) -> list[tuple[list[int], bool]]:
        asked.clear()
        assert made.exposure(frozenset(some), every) == Exposure(0, 0)
        return [one for one in asked if one[0] == sorted(some)]

    assert answers(0, 1) == [([0, 1], False)]
    assert answers(0, 1) == []
    assert answers(0, every=True) == [([0], True)]
    assert answers(0, 1, 2) == answers(0, 1, 2) == [([0, 1, 2], False)]
    assert answers(0) == []


def test_the_worked_example_holds() -> None:
    """The example at the head of the module is what it does."""
    result = doctest.testmod(pieces)
    assert result.attempted
    assert not result.failed


def test_more_of_what_is_exposed_parts_less() -> None:
    """Half of a sneak path is no bar to one cell, but to two; both halves bar any."""
    made = Pieces(
        own=(0b01, 0b11, 0b100, None),
        taking=frozenset({1}),
        exposed=lambda some, every: NOWHERE,
    )
    near = Exposure(0, 0b11)
    assert made.apart(0, near)
    assert made.apart(1, near)
    assert not attrs.evolve(made, taking=frozenset()).apart(1, near)
    assert not made.apart(0, Exposure(0b01, 0))
    assert made.apart(2, near)
    assert not made.apart(3, NOWHERE)


def test_nowhere_adds_nothing() -> None:
    """Joined with it, what is exposed is what it was."""
    for one in (Exposure(0, 0), Exposure(0b10, 0b100)):
        assert NOWHERE.joined(one) == one.joined(NOWHERE) == one


def test_only_selectors_select() -> None:
    """What meets others at a bit beyond the selection selects nothing."""
    made = small(Selector(), Source(1, 1, (2, 4), 8), Plain(1, False, 1), Selector())
    assert made.system().model.selectors == {0, 3}


def test_candidates_are_those_of_the_worlds_that_are_selected() -> None:
    """By trying 400 draws: a source bears on two cells in unusual worlds alone, and another
    world is selected.  The plain one at the first cell can help with a conflict at the second."""
    ones = (Source(0, 0b0011, (0b0100, 0b1000), 0b0100), Selector(), Plain(0b0001, False, 1))
    helped = 0
    for seed in range(400):
        made = Parted(seed=seed, ones=ones, worlds=1, readings=(None, 1, None, None, None))
        if made.likelihood((0, 1)) or not made.likelihood((0, 1, 2)):
            continue
        outcome = made.system().outcomes(frozenset({0, 1}))
        assert isinstance(outcome, Conflict)
        assert 2 in outcome.candidates
        helped += 1
    assert helped
