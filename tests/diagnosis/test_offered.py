"""A check offered for what is left: what it parts, in which tier, and its results in words."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from simrig.diagnosis.bench_case import Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_moves import Move, Way
from simrig.diagnosis.bench_state import as_found, needs_of
from simrig.diagnosis.offered import (
    EASY,
    FIRST,
    LAST,
    USUAL,
    NextCheck,
    Suspected,
    compiled,
    result_words,
)
from simrig.faults.candidates import fault_named, possible_faults
from simrig.sensing.chain import Part
from tests.diagnosis.bench_machine import bench_machine

GROUND = Ground.of(bench_machine())
FAULTS = possible_faults(GROUND.profile)


def looking(results: Mapping[str, set[str]], *, listing: bool = False) -> Check:
    """A look at the emitters, with what it can show for each that is dark."""

    def judge(case) -> frozenset[str]:
        for name, words in results.items():
            if case.failed("emitter", name):
                return frozenset(words)
        return frozenset(("lit",))

    return Check(
        id="look",
        title="Look",
        work="look",
        needs=needs_of("look"),
        minutes=2,
        results={"lit": "they are lit", "dark": "one is dark", "right": "all read right"},
        caution="",
        ground=GROUND,
        judge=judge,
        parts=frozenset(Part("emitter", name) for name in ("t1", "t2", "t3")),
        listing=listing,
    )


def suspected(**weights: float) -> list[Suspected]:
    """One cause for each emitter that can be dark, so likely."""
    return [
        Suspected(
            cause=number,
            case=GROUND.case((fault_named(FAULTS, f"emitter-dead:{name}"),)),
            weight=weight,
        )
        for number, (name, weight) in enumerate(weights.items())
    ]


TELLS = looking({"t1": {"dark"}, "t2": {"lit"}, "t3": {"lit", "dark"}})


def test_a_result_of_several_that_can_be_is_as_likely_as_the_others() -> None:
    """t1 dark, t2 lit, t3 one or the other by half; the check's own minutes and name."""
    made = compiled(TELLS, suspected(t1=1, t2=1, t3=1), USUAL)
    assert made is not None
    assert [dict(one) for one in made.results] == [
        {"dark": 1.0},
        {"lit": 1.0},
        {"dark": 0.5, "lit": 0.5},
    ]
    assert (made.id, made.minutes) == ("look", 2)


def test_results_that_can_be_are_told_in_the_order_of_the_alphabet() -> None:
    """Whatever order a set of words comes in."""
    words = ["a", "b", "c", "d", "e", "f", "g", "h"]
    made = compiled(looking({"t1": {*words}, "t2": {"lit"}}), suspected(t1=1, t2=1), USUAL)
    assert made is not None
    assert list(made.results[0]) == words


def test_where_nobody_can_tell_any_result_that_others_give_can_come() -> None:
    """A cause of which the check tells nothing has each result that the others have, alike."""
    blind = looking({"t1": {"dark"}, "t2": {"lit"}, "t3": set()})
    made = compiled(blind, suspected(t1=1, t2=1, t3=1), USUAL)
    assert made is not None
    assert dict(made.results[2]) == {"dark": 0.5, "lit": 0.5}


@pytest.mark.parametrize(
    "results",
    [
        {"t1": {"dark"}, "t2": {"dark"}},
        {"t1": {"dark"}, "t2": set()},
        {"t1": {"dark", "lit"}, "t2": {"dark", "lit"}},
        {"t1": set(), "t2": set()},
    ],
)
def test_a_check_that_parts_nothing_is_not_offered(results) -> None:
    """The same result for all, or the same chances: no check.  Nor where one result is known."""
    assert compiled(looking(results), suspected(t1=3, t2=1), USUAL) is None
    assert compiled(looking(results), suspected(t1=1), USUAL) is None


def test_the_tier_is_what_so_much_parted_off_allows() -> None:
    """A look that parts off 3 in 100 goes first, what needs no tool with 15; the rest waits."""

    def tier(haste: int, t1: float, t2: float) -> int:
        made = compiled(TELLS, suspected(t1=t1, t2=t2), haste)
        assert made is not None
        return made.tier

    assert [tier(FIRST, rest, 100 - rest) for rest in (2, 3, 14, 15, 50)] == [
        *(USUAL, FIRST, FIRST, FIRST, FIRST)
    ]
    assert [tier(EASY, 100 - rest, rest) for rest in (2, 3, 14, 15, 50)] == [
        *(USUAL, USUAL, USUAL, EASY, EASY)
    ]
    assert [tier(USUAL, 1, 1), tier(LAST, 1, 1)] == [USUAL, LAST]
    assert [tier(EASY, 0.9, 0.1), tier(EASY, 0.8, 0.2)] == [USUAL, EASY]
    assert FIRST < EASY < USUAL < LAST


def test_the_share_parted_off_is_that_of_all_weights_and_chances() -> None:
    """t3 gives dark by half: of 80, 10 and 10 the likeliest result has 85, and 15 are parted off;
    with 82 and 8 for t1 and t2 it has 87, and 13 are too few."""
    assert compiled(TELLS, suspected(t1=80, t2=10, t3=10), EASY).tier == EASY  # type: ignore[union-attr]
    assert compiled(TELLS, suspected(t1=82, t2=8, t3=10), EASY).tier == USUAL  # type: ignore[union-attr]


def test_the_minutes_of_a_check_and_of_the_way_to_it() -> None:
    """Two for the look, and what it takes from the bench as found to reach it."""
    start = as_found()
    move = Move(id="door", words="Open the door", minutes=1.5, caution="", after=start)
    way = Way(moves=(move,), stages=(1,), start=start)
    found = NextCheck(
        check=TELLS, way=way, expected_minutes=None, proven=False, method="", leaves=()
    )
    assert found.minutes == 3.5


def test_results_in_words() -> None:
    """A list of sensors is told one by one; a result that is not known is told as it is."""
    listing = looking({}, listing=True)
    assert result_words(listing, "t1+t3") == "wrong at t1, t3"
    assert result_words(listing, "dark") == "wrong at dark"
    assert result_words(listing, "right") == "all read right"
    assert result_words(TELLS, "dark") == "one is dark"
    assert result_words(TELLS, "right") == "all read right"
    assert result_words(TELLS, "t1+t3") == "t1+t3"
