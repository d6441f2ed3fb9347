"""The bench: what can never be, and the cheapest way to what a check needs."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis import bench_state
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_moves import BenchFacts, moves, way
from simrig.diagnosis.bench_state import (
    DIMENSIONS,
    WORK,
    BenchState,
    Need,
    UnsafeError,
    needs_of,
)
from simrig.diagnosis.checks import catalogue
from tests.diagnosis.bench_machine import TEXT, bench_machine
from tests.diagnosis.safety import state_faults, way_faults

BOTH = BenchFacts(interlock=True, fuses=True)
INTERLOCK = BenchFacts(interlock=True)
FUSES = BenchFacts(fuses=True)
NEITHER = BenchFacts()
FOUND = BenchState()


def every_state() -> list[BenchState]:
    """All states that can be made."""
    made = []
    for values in itertools.product(*DIMENSIONS.values()):
        try:
            made.append(BenchState(**dict(zip(DIMENSIONS, values, strict=True))))
        except UnsafeError:
            continue
    return made


def test_no_state_that_can_be_made_is_unsafe() -> None:
    """Balls aboard or coil voltage under a raised playfield cannot be stated at all."""
    states = every_state()
    assert len(states) > 100
    assert [fault for state in states for fault in state_faults(state)] == []
    with pytest.raises(UnsafeError, match="take them out first"):
        BenchState(power="unplugged", coils="absent", playfield="raised", balls="aboard")
    with pytest.raises(UnsafeError, match="not proven absent"):
        BenchState(power="on", coils="unknown", playfield="raised", balls="out", door="open")


@pytest.mark.parametrize("facts", [BOTH, INTERLOCK, FUSES, NEITHER])
def test_no_move_leads_into_an_unsafe_state(facts: BenchFacts) -> None:
    """From every state, every move leads to a safe one."""
    for state in every_state():
        for move in moves(facts, state):
            assert list(state_faults(move.after)) == [], (state, move.id)


@pytest.mark.parametrize("number", range(len(bench_state.RULES)))
def test_without_any_one_rule_something_unsafe_can_be_made(
    number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each rule is needed: take one away and the states are no longer all safe."""
    rules = bench_state.RULES
    monkeypatch.setattr(bench_state, "RULES", rules[:number] + rules[number + 1 :])
    faults = {fault for state in every_state() for fault in state_faults(state)}
    loosened = len(every_state())
    monkeypatch.setattr(bench_state, "RULES", rules)
    assert loosened > len(every_state())
    if rules[number].id != "charge-stays":  # what it forbids is undone by the next power-on
        assert faults


def test_the_way_to_a_raised_playfield_has_its_order() -> None:
    """Door, coils proven dead, balls out, then the playfield (common practice, no source)."""
    found = way(BOTH, FOUND, needs_of("reach", playfield="raised", balls="out"))
    assert found is not None
    assert [move.id for move in found.moves] == ["open-door", "try-coils", "balls-out", "raise"]
    assert found.minutes == pytest.approx(0.3 + 0.5 + 2.0 + 1.5)
    assert all(move.caution for move in found.moves)


def test_without_an_interlock_the_fuses_make_the_coils_dead() -> None:
    """Taken out unplugged, tried with power on, before hands go in."""
    found = way(FUSES, FOUND, needs_of("reach", playfield="raised", balls="out"))
    assert found is not None
    order = [move.id for move in found.moves]
    assert order.index("unplug") < order.index("coil-fuses-out") < order.index("power-on")
    assert order.index("power-on") < order.index("try-without-fuses") < order.index("raise")


def test_what_nobody_stated_counts_as_the_worse() -> None:
    """No interlock and no fuses stated: no work with power near mechanisms, ohms only."""
    assert way(NEITHER, FOUND, needs_of("reach", playfield="raised", balls="out")) is None
    assert way(NEITHER, FOUND, needs_of("volts", playfield="raised", balls="out")) is None
    found = way(NEITHER, FOUND, needs_of("ohms", playfield="raised", balls="out"))
    assert found is not None
    assert [move.id for move in found.moves] == [
        "switch-off", "open-door", "unplug", "balls-out", "raise",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "facts"),
    [
        (TEXT, BOTH),
        (TEXT.replace("interlocked = true\n", ""), FUSES),
        (TEXT.replace("fitted = true", "fitted = false"), FUSES),
        (TEXT.replace('fuse = "f3"\n', ""), INTERLOCK),
        (TEXT.replace("interlocked = true\n", "").replace('fuse = "f3"\n', ""), NEITHER),
        (TEXT.replace('bank = "kickers"\n', ""), NEITHER),
    ],
)
def test_how_coils_are_made_dead_is_read_off_the_profile(text: str, facts: BenchFacts) -> None:
    """An interlock counts only if it cuts every bank, fuses only if every coil has one."""
    assert BenchFacts.of(bench_machine(text)) == facts


def test_probes_are_clipped_on_unplugged_and_read_with_coils_dead() -> None:
    """Volts have two stages; the playfield is down again before power comes on."""
    found = way(INTERLOCK, FOUND, needs_of("volts", playfield="raised", balls="out"))
    assert found is not None
    states = [FOUND, *(move.after for move in found.moves)]
    clip, look = (states[count] for count in found.stages)
    assert (clip.power, clip.playfield) == ("unplugged", "raised")
    assert (look.power, look.coils, look.playfield) == ("on", "absent", "down")


_FACTS = st.sampled_from((BOTH, INTERLOCK, FUSES, NEITHER))


@settings(max_examples=60)
@given(_FACTS, st.sampled_from(every_state()), st.sampled_from(sorted(WORK)), st.data())
def test_every_way_is_safe_and_meets_what_was_asked(
    facts: BenchFacts, start: BenchState, work: str, data: st.DataObject
) -> None:
    """From any state to any work at any place: safe at each step, each stage met in turn."""
    where = {}
    for name in ("playfield", "balls", "door"):
        value = data.draw(st.sampled_from((None, *DIMENSIONS[name])))
        if value is not None:
            where[name] = value
    try:
        needs = needs_of(work, **where)
    except UnsafeError:
        return
    found = way(facts, start, needs)
    if found is None:
        return
    profile = bench_machine(TEXT if facts.interlock else TEXT.replace("fitted = true", ""))
    assert list(way_faults(profile, found)) == []
    states = [start, *(move.after for move in found.moves)]
    assert all(need.met(states[count]) for need, count in zip(needs, found.stages, strict=True))
    assert list(found.stages) == sorted(found.stages)


@settings(max_examples=20)
@given(st.sampled_from(every_state()), st.sampled_from(every_state()))
def test_the_way_is_the_cheapest(start: BenchState, goal: BenchState) -> None:
    """Dijkstra's minutes equal those of a plain relaxation over all states."""
    need = Need(**{name: getattr(goal, name) for name in DIMENSIONS})
    found = way(BOTH, start, (need,))
    spent = {start: 0.0}
    changed = True
    while changed:
        changed = False
        for state, price in list(spent.items()):
            for move in moves(BOTH, state):
                total = price + move.minutes
                if total < spent.get(move.after, float("inf")) - 1e-9:
                    spent[move.after] = total
                    changed = True
    if found is None:
        assert goal not in spent
    else:
        assert found.minutes == pytest.approx(spent[goal])


def test_a_check_that_asks_less_than_its_work_demands_is_refused() -> None:
    """Ohms without unplugging, volts that nobody stated, or more than 24 V d.c.: not made."""
    one = next(c for c in catalogue(bench_machine()) if c.id == "resistor-t1")
    volts = next(c for c in catalogue(bench_machine()) if c.id == "volts-t1")

    def made(like: Check, **changes: object) -> Check:
        names = ("id", "title", "work", "needs", "minutes", "results", "caution", "ground", "judge")
        return Check(**{**{n: getattr(like, n) for n in names}, "volts": like.volts, **changes})  # type: ignore[arg-type]

    assert made(one).needs == one.needs
    with pytest.raises(UnsafeError, match="demands"):
        made(one, needs=(Need(power="on"),))
    with pytest.raises(UnsafeError, match="demands"):
        made(volts, needs=volts.needs[1:])
    for bad in (None, 36.0, 0.0):
        with pytest.raises(UnsafeError, match="24 V"):
            made(volts, volts=bad)
