"""Results of checks as evidence: how well sets of faults explain them, worked by hand."""

from __future__ import annotations

from collections.abc import Callable

import attrs
import pytest

from simrig.diagnosis.bench_case import FICKLE, MOVES, Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_scene import EMPTY
from simrig.diagnosis.bench_state import needs_of
from simrig.diagnosis.check_results import (
    BenchResults,
    Result,
    Shown,
    chances,
    followed,
    product,
    states,
)
from simrig.diagnosis.repairs import repair
from simrig.diagnosis.suspects import Mistake, Suspect, suspects
from simrig.diagnosis.system import Allowed, Conflict, Deviation
from simrig.faults.candidates import fault_named, possible_faults
from simrig.sensing.chain import Part
from tests.diagnosis.bench_machine import TEXT, bench_machine

GROUND = Ground.of(bench_machine())
FAULTS = possible_faults(GROUND.profile)
DIRTY, DEAD, WIRE, PLUG = (
    fault_named(FAULTS, name)
    for name in ("beam-dirty:t1", "emitter-dead:t1", "wire-open:t1", "plug-off:plug-a")
)
LOOSE = fault_named(FAULTS, "plug-loose:plug-a")
AMONG = suspects(GROUND.profile, (), faults=(DIRTY, DEAD, WIRE, PLUG))[:4]
SOUND, WRONG = {"well"}, {"ill"}


def check(name: str, judge: Callable[[Case], set[str]], *parts: Part, **changes: str) -> Check:
    """A look at some parts, with the results well and ill."""
    return Check(
        id=name,
        title=name,
        work="look",
        needs=needs_of("look"),
        minutes=1,
        results={"well": "it is well", "ill": "it is not"},
        caution="",
        ground=GROUND,
        judge=lambda case: frozenset(judge(case)),
        parts=frozenset(parts),
        **changes,  # type: ignore[arg-type]
    )


def on(*kinds: str, **changes: str) -> Check:
    """A check that is ill where one of these parts of t1 fails and shows."""
    parts = [Part(kind, "t1") for kind in kinds]
    return check(
        "-".join(kinds),
        lambda case: WRONG if any(case.failed(*part) for part in parts) else SOUND,
        *parts,
        **changes,
    )


def said(made: Check, *words: str) -> list[Result]:
    """Results of one check, one after the other."""
    return [Result(check=made, result=word) for word in words]


def judged(results: list[Result], *chosen: int, among: tuple[Suspect, ...] = AMONG) -> float:
    """How well a set of suspects explains some results; 0 for not at all."""
    found = BenchResults(results=tuple(results)).system(among, 2).outcomes(frozenset(chosen))
    return found.likelihood if isinstance(found, Allowed) else 0.0


def test_a_result_is_as_likely_as_those_that_can_come_beside_it() -> None:
    """One that must come, one of two, one that cannot; where nobody can tell, one of those known."""
    emitter = Part("emitter", "t1")
    either = check("either", lambda case: {"well", "ill"} if case.faults else SOUND, emitter)
    blind = check("blind", lambda case: set(), emitter)
    dead = GROUND.case((DEAD,))
    assert chances(said(on("emitter"), "ill", "well"), dead) == [1.0, 0.0]
    assert chances(said(either, "ill", "well"), dead) == [0.5, 0.5]
    assert chances(said(blind, "ill"), dead) == [0.5]
    listing = {"well": "", "ill": "", "worse": ""}
    object.__setattr__(blind, "results", listing)
    assert chances(said(blind, "ill"), dead) == [pytest.approx(1 / 3)]
    object.__setattr__(blind, "results", {"ill": ""})
    assert chances(said(blind, "ill"), dead) == [0.5]
    assert chances([], dead) == []


def test_what_was_put_right_is_right_for_results_after_it() -> None:
    """Dead, repaired, lit: the emitter is sound at the end and the wire is as it was."""
    mend = repair(GROUND, DEAD)
    results = [*said(on("emitter"), "ill"), *said(mend, "done"), *said(on("emitter"), "well")]
    found, case = followed(results, GROUND.case((DEAD, WIRE)))
    assert found == [1.0, 1.0, 1.0]
    assert case.faults == (WIRE,)
    assert followed(results[::-1], GROUND.case((DEAD, WIRE)))[0] == [0.0, 1.0, 0.0]


def test_the_product_of_chances() -> None:
    """Of none it is one."""
    assert product([]) == 1
    assert product([0.5, 0.5, 0.25]) == 0.0625


def test_each_fault_that_comes_and_goes_shows_or_hides_by_itself() -> None:
    """Of two there are four ways, the one in which both show first; the steady wire is always
    there.  A steady fault has one way."""
    case = GROUND.case((DIRTY, WIRE, LOOSE))
    ways = states(case)
    assert ways[0] == (case, pytest.approx(0.8 * 0.8))
    assert [(one.faults, one.hidden) for one, _ in ways] == [
        ((DIRTY, WIRE, LOOSE), ()),
        ((DIRTY, WIRE), (LOOSE,)),
        ((WIRE, LOOSE), (DIRTY,)),
        ((WIRE,), (DIRTY, LOOSE)),
    ]
    assert [share for _, share in ways] == pytest.approx([0.64, 0.12, 0.12, 0.0225])
    assert states(GROUND.case((WIRE,))) == [(GROUND.case((WIRE,)), 1.0)]


def test_of_two_that_come_and_go_one_may_hide_while_the_other_shows() -> None:
    """Dirt is seen and the plug is not: 0.8 x 0.15; or something changes, 1 - 0.9025, and then
    each result has the mean of its chances, a half."""
    among = suspects(GROUND.profile, (), faults=(DIRTY, LOOSE))[:2]
    plug = check(
        "plug",
        lambda case: WRONG if case.failed("connector", "plug-a") else SOUND,
        Part("connector", "plug-a"),
    )
    results = [*said(on("beam"), "ill"), *said(plug, "well")]
    assert judged(results, 0, 1, among=among) == pytest.approx(0.8 * 0.15 + 0.0975 / 4)


def test_a_steady_fault_gives_its_result_each_time() -> None:
    """Nothing wrong, or something elsewhere, gives the sound one."""
    results = said(on("emitter"), "ill", "ill")
    assert judged(results, 1) == 1
    assert judged(results, 1, 2) == 1
    assert judged(results) == judged(results, 2) == 0
    assert judged(said(on("emitter"), "well"), 2) == 1
    assert judged([], 1) == 1


def test_a_fault_that_comes_and_goes_shows_mostly_or_hides_or_changes() -> None:
    """It shows with 0.8, hides with 0.15, and with 0.05 each result has half a chance."""
    beam = on("beam")
    assert judged(said(beam, "ill"), 0) == pytest.approx(0.8 + 0.05 / 2)
    assert judged(said(beam, "well"), 0) == pytest.approx(0.15 + 0.05 / 2)
    assert judged(said(beam, "ill", "ill"), 0) == pytest.approx(0.8 + 0.05 / 4)
    assert judged(said(beam, "ill", "well"), 0) == pytest.approx(0.05 / 4)
    assert judged(said(on("emitter"), "ill"), 0) == 0


def test_a_tap_may_leave_what_it_should_show_as_it_is() -> None:
    """A result that may stay has a chance in ten while the fault changes its mind."""
    steady = check("tap", lambda case: SOUND, Part("beam", "t1"), may_stay="ill")
    assert judged(said(steady, "ill"), 0) == pytest.approx(0.05 * 0.1)
    assert judged(said(steady, "well"), 0) == pytest.approx(0.8 + 0.15 + 0.05)
    # What is steady stays as it is of itself, and does not give that result.
    always = check("tap", lambda case: SOUND, Part("emitter", "t1"), may_stay="ill")
    assert judged(said(always, "ill"), 1) == 0
    sure = check("tap", lambda case: SOUND, Part("beam", "t1"))
    assert judged(said(sure, "ill"), 0) == 0


def test_of_results_that_nothing_explains_the_one_with_fewest_suspects_is_blamed() -> None:
    """Two are against a sound machine: one that two suspects can give, one that one can."""
    wide, narrow = on("emitter", "wire"), on("beam")
    for results in (
        [*said(wide, "ill"), *said(narrow, "ill")],
        [*said(narrow, "ill"), *said(wide, "ill")],
    ):
        system = BenchResults(results=tuple(results)).system(AMONG, 2)
        assert system.outcomes(frozenset()) == Conflict(candidates=frozenset({0}))
        # With the beam dirty it is the other that is not explained; what is there is no help.
        assert system.outcomes(frozenset({0})) == Conflict(candidates=frozenset({1, 2}))
    system = BenchResults(results=tuple(said(wide, "ill", "well"))).system(AMONG, 2)
    assert system.outcomes(frozenset({1})) == Conflict(candidates=frozenset({2}))


def test_a_check_speaks_of_its_parts_and_of_what_it_asks_for() -> None:
    """Its own parts; what comes and goes only where it asks what hides."""
    shown = Shown.of(tuple(said(on("emitter"), "ill")), AMONG)
    assert shown.spoken_of == (frozenset({1}),)
    assert shown.speaking == {1}
    asking = on("emitter")
    object.__setattr__(asking, "asks", frozenset({FICKLE}))
    shown = Shown.of((*said(asking, "ill"), *said(on("wire"), "ill")), AMONG)
    assert shown.spoken_of == (frozenset({0, 1}), frozenset({2}))
    assert shown.speaking == {0, 1, 2}


def test_mistakes_are_spoken_of_where_they_are_asked_for_or_carry() -> None:
    """A look at parts is taken elsewhere if positions are counted from the wrong end; how many
    balls there were concerns it only if it asks."""
    every = suspects(GROUND.profile, (), faults=(DEAD,))
    names = [one.mistake.kind if one.mistake else "" for one in every]
    assert {"symbols", "numbering"} <= set(names)
    shown = Shown.of(tuple(said(on("emitter"), "ill")), every)
    spoken = {names[index] for index in shown.speaking}
    assert spoken == {name for name in names if name in ("", "symbols", "numbering", "profile")}
    nothing = Shown.of(tuple(said(check("none", lambda case: SOUND), "well")), every)
    assert nothing.speaking == frozenset()
    asks = check("asks", lambda case: SOUND)
    object.__setattr__(asks, "asks", frozenset({"symbols"}))
    shown = Shown.of(tuple(said(asks, "well")), every)
    assert {names[index] for index in shown.speaking} == {"symbols"}


def test_what_no_check_tells_apart_is_one_class() -> None:
    """Dirt, wire and plug are not spoken of by a look at the emitter; with the wire, two are."""
    shown = BenchResults(results=tuple(said(on("emitter"), "ill"))).system(AMONG, 2)
    assert sorted(shown.classes().members) == [(0, 2, 3), (1,)]
    none = BenchResults(results=()).system(AMONG, 2)
    assert none.classes().members == ((0, 1, 2, 3),)


def test_alike_are_cuts_of_one_stretch_that_every_check_shows_alike() -> None:
    """Dead emitter and broken lead are dark alike; a meter across the resistor parts them, and a
    repair of the one does."""
    lead = fault_named(FAULTS, "resistor-lead-broken:t1")
    shorted = fault_named(FAULTS, "emitter-shorted:t1")
    among = suspects(GROUND.profile, (), faults=(DEAD, lead, shorted))[:3]
    dark = on("emitter", "resistor")
    meter = on("resistor")

    def classes(*results: Result) -> list[tuple[int, ...]]:
        return sorted(BenchResults(results=results).system(among, 2).classes().members)

    assert classes(*said(dark, "ill")) == [(0, 1), (2,)]
    assert classes(*said(dark, "ill"), *said(meter, "ill")) == [(0,), (1,), (2,)]
    done = said(repair(GROUND, lead), "done")
    assert classes(*said(dark, "ill"), *done) == [(0,), (1,), (2,)]
    assert classes(*said(dark, "ill"), *done, *said(dark, "well")) == [(0,), (1,), (2,)]
    both = [*said(repair(GROUND, DEAD), "done"), *done]
    assert classes(*both, *said(dark, "well")) == [(0,), (1,), (2,)]


def reading(sensor: str, *asks: str) -> Check:
    """Whether a sensor reads right with every ball out."""
    sound = GROUND.sound.reads(GROUND.sound.cells(), sensor, EMPTY)

    def judge(case: Case) -> set[str]:
        return SOUND if case.reads(case.cells(), sensor, EMPTY) == sound else WRONG

    made = check(f"read-{sensor}", judge)
    return attrs.evolve(made, sensors={sensor}, asks=asks)


@pytest.mark.parametrize("carrier", ["leads-exchanged:t1+t2", "numbering:trough:None"])
def test_what_is_carried_to_the_sensor_of_a_check_is_told_beside_what_carries_it(
    carrier: str,
) -> None:
    """The channel of another sensor is open; read through exchanged leads, or with positions
    counted from the wrong end, it is t1 that reads wrong.  A coil is never read."""
    other = "t2" if carrier.startswith("leads") else "t3"
    wanted = (carrier, f"channel-on:{other}", "coil-open:kicker", "channel-on:t1")
    every = suspects(GROUND.profile, (), faults=FAULTS)
    among = tuple(next(one for one in every if one.name == name) for name in wanted)
    results = said(reading("t1"), "ill")
    assert judged(results, 0, 1, among=among) == judged(results, 3, among=among) == 1
    assert judged(results, 0, 1, 2, among=among) == 1
    assert not any(judged(results, *some, among=among) for some in ((), (0,), (1,), (2,), (0, 2)))
    system = BenchResults(results=tuple(results)).system(among, 2)
    assert system.carrying == {0}
    assert system.carried == {0, 1, 3} - ({0} if other == "t3" else set())
    assert system.outcomes(frozenset({0})) == Conflict(candidates=frozenset({1, 3}))
    assert system.outcomes(frozenset()) == Conflict(candidates=frozenset({0, 3}))
    assert system.outcomes(frozenset({1, 2})) == Conflict(candidates=frozenset({0, 3}))
    alone = BenchResults(results=tuple(results)).system(among[1:], 2)
    assert (alone.carrying, alone.carried) == (frozenset(), frozenset())
    assert sorted(alone.classes().members) == [(0, 1), (2,)]
    assert sorted(system.classes().members) == [(0,), (1,), (2,), (3,)]


def test_a_wrong_profile_may_carry_and_balls_are_told_where_they_are_asked_for() -> None:
    """A wrong fact can be of the matrix.  A missing ball shows in a check that asks for balls, or
    whose part it is, and in no other."""
    wrong = Suspect(
        deviation=Deviation(part="profile", mode="wrong", prior=1e-3),
        mistake=Mistake(kind="profile", value="matrix diodes"),
    )
    assert Shown.of(tuple(said(reading("t1"), "ill")), (wrong,)).carrying == {0}
    assert Shown.of(tuple(said(on("emitter"), "ill")), (wrong,)).speaking == {0}
    away = suspects(GROUND.profile, (), faults=(fault_named(FAULTS, "ball-missing:any"),))[:1]
    part = Part(*away[0].deviation.part)
    for made, told in (
        (reading("t1"), False),
        (reading("t1", MOVES), True),
        (check("balls", lambda case: SOUND, part), True),
        (attrs.evolve(check("balls", lambda case: SOUND, part), asks={MOVES}), True),
    ):
        assert Shown.of(tuple(said(made, "ill")), away).speaking == ({0} if told else set())


def test_symbols_carry_nothing_from_one_sensor_to_another() -> None:
    """All symbols the wrong way round: t1 reads wrong by itself, whatever t2 does."""
    every = suspects(GROUND.profile, (), faults=FAULTS)
    names = ("symbols:all:None", "channel-on:t2")
    among = tuple(next(one for one in every if one.name == name) for name in names)
    results = said(reading("t1"), "ill")
    system = BenchResults(results=tuple(results)).system(among, 2)
    assert system.speaking == {0}
    assert system.carrying == frozenset()
    assert judged(results, 0, among=among) == judged(results, 0, 1, among=among) == 1
    assert judged(results, 1, among=among) == 0


MATRIX = (
    TEXT.replace('address = "direct 4"', 'address = "column 1 row 1"')
    + '[matrix]\ncolumns = 1\nrows = 1\ndiodes = "none"\n'
)


@pytest.mark.parametrize("work", ["clip", "exchange"])
def test_where_phantoms_can_hide_a_side_what_was_lifted_parts_cuts_of_one_stretch(
    work: str,
) -> None:
    """A broken wire and a plug that is off are alike, but on which side of a clip they lie may
    be hidden by a phantom: without diodes, and where the clip is in their own chain."""

    def classes(text: str, *checks: tuple[str, str]) -> list[tuple[int, ...]]:
        profile = bench_machine(text)
        ground, faults = Ground.of(profile), possible_faults(profile)
        among = suspects(
            profile,
            (),
            faults=tuple(
                fault_named(faults, name) for name in ("wire-open:lane-ball", "plug-off:lane-plug")
            ),
        )[:2]
        results = tuple(
            Result(
                check=attrs.evolve(
                    check(f"{kind}-{sensor}", lambda case: SOUND),
                    work=kind, needs=needs_of(kind), sensors={sensor}, ground=ground,
                ),
                result="well",
            )
            for kind, sensor in checks
        )  # fmt: skip
        return sorted(BenchResults(results=results).system(among, 2).classes().members)

    look, lifted = ("look", "lane-ball"), (work, "lane-ball")
    assert classes(MATRIX, look) == [(0, 1)]
    assert classes(MATRIX, lifted) == [(0,), (1,)]
    assert classes(MATRIX, look, lifted) == classes(MATRIX, lifted, look) == [(0,), (1,)]
    assert classes(MATRIX, look, (work, "t1")) == [(0, 1)]
    assert classes(TEXT, lifted) == [(0, 1)]


def test_a_result_in_words() -> None:
    """As the command line takes it."""
    assert str(said(on("emitter"), "ill")[0]) == "emitter=ill"
