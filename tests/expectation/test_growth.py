"""A profile that grows: what is definite stays true, and more becomes definite."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

import attrs
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from simrig.expectation.comparison import compare
from simrig.expectation.doubts import doubts
from simrig.expectation.facts import underlying
from simrig.expectation.location import locate
from simrig.expectation.observation import observe
from simrig.expectation.prediction import expect
from simrig.expectation.worth_candidates import with_fact
from simrig.expectation.worth_finding import answers, worth_finding
from simrig.host.catalogue import Catalogue
from simrig.profile.checking import contradictions
from simrig.profile.components import Sensor
from simrig.profile.keys import attribute_of, keys_of
from simrig.profile.layout import Balls, Phase, Place
from simrig.profile.machine import Profile
from simrig.sensing.chain import chain, contact
from simrig.world.phases import Conditions
from simrig.world.worlds import Value
from tests.generated_profiles import profiles

DEFINITE = ("open", "closed")
FULL = bool(os.environ.get("SIMRIG_FULL"))


@st.composite
def machines(draw: st.DrawFn) -> Profile:
    """A made machine, fully known, where one ball too many can also lie at the jam position."""
    made = draw(profiles())
    lies = (
        "trough",
        *(("trough.jam",) if made.row("place", "trough").jam else ()),
        "launcher",
        "playfield",
    )
    extra = draw(st.sampled_from((made.balls.extra, lies)))
    return attrs.evolve(made, balls=attrs.evolve(made.balls, extra=extra))


def facts(profile: Profile) -> Iterator[tuple[str, int | None, str]]:
    """Every optional key that a profile states: table, row, key.

    Not the states of a phase: what is left out there is at rest, by the format.
    """
    for table, key in keys_of(profile.__class__).items():
        value = getattr(profile, attribute_of(table))
        if key.table is None or value is None:
            continue
        rows = value if key.shape == "tables" else (value,)
        for index, row in enumerate(rows):
            for name, below in keys_of(key.table).items():
                stated = getattr(row, attribute_of(name)) is not None
                if (
                    stated
                    and not below.required
                    and below.shape != "tables"
                    and name not in ("counted", "states")
                ):
                    yield table, index if key.shape == "tables" else None, name


def without(profile: Profile, fact: tuple[str, int | None, str]) -> Profile:
    table, index, name = fact
    change = {attribute_of(name): None}
    value = getattr(profile, attribute_of(table))
    if index is None:
        fresh: Any = attrs.evolve(value, **change)
    else:
        fresh = tuple(
            attrs.evolve(row, **change) if n == index else row for n, row in enumerate(value)
        )
    return attrs.evolve(profile, **{attribute_of(table): fresh})


def conditions(profile: Profile) -> Iterator[Conditions]:
    """Every phase with every count, and every place with every count that can be seen there."""
    for phase in profile.phase:
        for balls in range(profile.balls.installed + 2):
            yield Conditions(phase=phase.id, balls=balls)
    for place in profile.place:
        if not place.open_area and not place.captive:
            for balls in range(min(place.capacity, profile.balls.installed) + 1):
                yield Conditions(at={place.id: balls})


def read(profile: Profile, asked: Conditions) -> dict[str, str]:
    """The definite readings under some conditions; none where the profile cannot answer."""
    try:
        found = expect(profile, asked)
    except ValueError:
        return {}
    return {one.sensor: one.reading for one in found.readings if one.reading in DEFINITE}


@settings(max_examples=1500 if FULL else 60)
@given(st.data())
def test_what_is_definite_without_some_facts_is_so_with_them(data: st.DataObject) -> None:
    """Whatever is left out, no reading becomes definite and wrong."""
    complete = data.draw(machines())
    known = list(facts(complete))
    gone = data.draw(st.lists(st.sampled_from(known), unique=True, max_size=len(known)))
    partial = complete
    for fact in gone:
        partial = without(partial, fact)
    if data.draw(st.booleans()):
        partial = attrs.evolve(partial, phase=partial.phase[:1])
    # Such as a sensor at a jam position that is not said to be there: refused by the reader.
    assume(not any(True for _ in contradictions(partial)))
    for asked in conditions(complete):
        full = read(complete, asked)
        for sensor, reading in read(partial, asked).items():
            assert full.get(sensor, "either") == reading, (asked, sensor, gone)


def stages(complete: Profile) -> Iterator[tuple[str, Profile]]:
    """A complete machine as it is found out: the trough, the phases, boards and banks, coils."""
    trough = {spot for spot in complete.spots if spot.startswith("trough.")}
    plain = {
        "rest_reads": None, "worked_reads": None, "board": None, "channel": None, "bank": None,
        "common": None, "supply": None, "contact": None, "kind": None, "connector": None, "pin": None,
    }  # fmt: skip

    def sensors(known: set[str]) -> tuple[Sensor, ...]:
        found = []
        for sensor in complete.sensor:
            at: dict[str, Any] = {"at": None, "follows": None}
            if set(sensor.spots) & known:
                value = contact(chain(complete, sensor), Value(1, 1), 1)
                at = {"at": sensor.at, "follows": None}
                fresh = {**plain, **at, "worked_reads": "closed" if value.surely else "open"}
            else:
                fresh = {**plain, **at}
            found.append(attrs.evolve(sensor, **fresh))
        return tuple(found)

    bare = attrs.evolve(
        complete,
        balls=attrs.evolve(complete.balls, store=None, extra=None),
        place=tuple(place for place in complete.place if place.id == "trough"),
        route=(), mechanism=(), phase=(), bank=(), board=(), return_=(), supply=(), fuse=(),
        connector=(), coil_bank=(), coil=(), interlock=None, scan=None, controller=None,
        inputs=tuple(attrs.evolve(one, supply=None, plug=None) for one in complete.inputs),
        sensor=sensors(trough),
    )  # fmt: skip
    yield "the trough", bare
    rest = {spot.id for spot in complete.spots.values() if spot.place is not None}
    phased = attrs.evolve(
        bare, balls=complete.balls, place=complete.place,
        mechanism=tuple(attrs.evolve(one, coil=None, reset_coil=None) for one in complete.mechanism),
        phase=complete.phase, sensor=sensors(rest),
    )  # fmt: skip
    yield "the phases", phased
    routes = tuple(attrs.evolve(route, coil=None) for route in complete.route)
    yield "boards and banks", attrs.evolve(
        phased, bank=complete.bank, board=complete.board, return_=complete.return_,
        supply=complete.supply, fuse=complete.fuse, connector=complete.connector, route=routes,
        inputs=complete.inputs,
        sensor=tuple(attrs.evolve(sensor, beside=None) for sensor in complete.sensor),
    )  # fmt: skip
    yield "the coils", complete


@settings(max_examples=100 if FULL else 12)
@given(machines())
def test_a_machine_found_out_stage_by_stage_never_says_less_nor_other(complete: Profile) -> None:
    """Definite answers are the complete profile's at every stage, and their number never falls."""
    full = {index: read(complete, asked) for index, asked in enumerate(conditions(complete))}
    before = 0
    for name, partial in stages(complete):
        assert not list(contradictions(partial)), name
        count = 0
        for index, asked in enumerate(conditions(complete)):
            for sensor, reading in read(partial, asked).items():
                assert full[index].get(sensor, "either") == reading, (name, asked, sensor)
                count += 1
        assert count >= before, name
        before = count
    assert before == sum(len(one) for one in full.values())


@settings(max_examples=100 if FULL else 10)
@given(st.data())
def test_every_stage_can_be_compared_and_the_balls_located(data: st.DataObject) -> None:
    """What a sound machine shows agrees at every stage, and its balls are all found."""
    complete = data.draw(machines())
    assume(any(spot.startswith("trough.") for spot in complete.covering))
    balls = complete.balls.installed
    shown = expect(complete, Conditions(at={"trough": balls}, balls=balls))
    for name, partial in stages(complete):
        counted = {sensor.id for sensor in partial.ball_sensors()}
        seen = {kind: [one.sensor for one in shown.readings
                       if one.reading == kind and one.sensor in counted] for kind in DEFINITE}  # fmt: skip
        observation = observe(partial, **seen, closed_named=True, open_named=True)
        asked = Conditions(at={"trough": balls}, balls=balls)
        assert compare(partial, observation, asked).agrees, name
        found = locate(partial, observation, Conditions(balls=balls))
        assert any(one.at == {"trough": balls} for one in found.placements), name


@settings(max_examples=100 if FULL else 15)
@given(st.data())
def test_what_is_worth_finding_does_become_definite(data: st.DataObject) -> None:
    """With facts removed: put back, each fact that is said to sharpen readings makes them
    definite, whatever the complete profile says it is."""
    complete = data.draw(machines())
    keys = ("position_1", "rest_end", "output_closes", "diodes", "rest", "store", "extra")
    known = [fact for fact in facts(complete) if fact[2] in keys]
    partial = complete
    for fact in data.draw(st.lists(st.sampled_from(known), unique=True, max_size=3)):
        partial = without(partial, fact)
    now = answers(partial)
    for one in worth_finding(partial):
        if one.state != "unknown" or len(one.facts) != 1 or not one.answers:
            continue
        (fact,) = one.facts
        table = getattr(complete, fact.table)
        row = next(row for row in table if row.id == fact.row) if fact.row else table
        value = getattr(row, fact.key)
        # Where one ball too many lies is tried place by place; a machine may name several.
        if value is not None and fact.key != "extra":
            then = answers(with_fact(partial, fact, value))
            gained = [key for key in then if then[key] in DEFINITE and now.get(key) not in DEFINITE]
            assert len(gained) >= one.answers, one


def begun(**changes: Any) -> Profile:
    """A trough of three whose switches are said, not tried, to close with a ball."""
    sensors = tuple(
        Sensor(
            id=f"t{n}", at=(f"trough.{n}",), worked_reads="closed", assumed={"worked_reads": "said"}
        )
        for n in (1, 2, 3)
    )
    profile = Profile(
        format=1, id="begun", balls=Balls(installed=3),
        place=(Place(id="trough", kind="trough", seats=3, position_1="exit end"),),
        phase=(Phase(id="idle", placements=({"trough": "rest"},)),), sensor=sensors,
    )  # fmt: skip
    return attrs.evolve(profile, **changes)


def test_a_wrong_assumption_comes_back_as_a_profile_that_may_be_wrong() -> None:
    """Idle and full, all three read open: the assumed polarity would explain it."""
    trough = Place(id="trough", kind="trough", seats=3, position_1="exit end",
                   assumed={"position_1": "looks so"})  # fmt: skip
    profile = begun(place=(trough,))
    seen = observe(profile, open=["t1", "t2", "t3"])
    (doubt,) = doubts(profile, seen, Conditions())
    assert doubt == "how 3 switches read with a ball (said)"
    agreeing = observe(profile, closed=["t1", "t2", "t3"])
    assert list(doubts(profile, agreeing, Conditions())) == []
    tried = begun(sensor=tuple(attrs.evolve(one, assumed=None) for one in profile.sensor))
    assert list(doubts(tried, seen, Conditions())) == []


def test_an_answer_from_readings_names_what_it_stands_on() -> None:
    """What is assumed of the sensors looked at, and what is not known about how they read."""
    assert underlying(begun(), ["t1"], "idle") == ("assumed: how t1 reads with a ball (said)",)
    bare = begun(sensor=tuple(Sensor(id=f"t{n}", at=(f"trough.{n}",)) for n in (1, 2, 3)))
    assert underlying(bare, ["t2"], None) == ("not known: whether t2 is open or closed at rest",)
    tried = begun(sensor=tuple(attrs.evolve(one, assumed=None) for one in begun().sensor))
    assert underlying(tried, ["t1", "t2"], "idle") == ()


def test_one_ball_too_many_may_stack_where_nobody_says_where_it_lies() -> None:
    """A full trough with a jam position leaves the jam sensor open or closed."""
    jam = Sensor(id="jam", at=("trough.jam",), worked_reads="closed")
    trough = Place(id="trough", kind="trough", seats=3, position_1="exit end", jam=True)
    field = Place(id="playfield", kind="playfield", seats="any")
    profile = begun(place=(trough, field), sensor=(*begun().sensor, jam))
    rows = {one.sensor: one.reading for one in expect(profile, Conditions(balls=4)).readings}
    assert rows == {"t1": "closed", "t2": "closed", "t3": "closed", "jam": "either"}


def test_what_an_answer_stands_on_is_in_its_row() -> None:
    """Each reading names the assumption behind it, in words."""
    rows = expect(begun(), Conditions()).readings
    assert any("how t1 reads with a ball (said)" in words for words in rows[0].depends_on)


@pytest.mark.parametrize(("changes", "first", "sharpened", "count"), [
    # Two of the four counts, 1 and 2, leave the ends of a trough of three open: 1 ball at t1 or
    # t3, 2 balls at t1-t2 or t2-t3: worked out by hand, four readings at t1 and t3; four balls
    # have no place.
    ({"place": (Place(id="trough", kind="trough", seats=3),)},
     "at which end of the trough position 1 is", ("t1", "t3"), 4),
    # All counts from none to three at all three switches.
    ({"sensor": tuple(Sensor(id=f"t{n}", at=(f"trough.{n}",)) for n in (1, 2, 3))},
     "how the switches of the trough read with a ball", ("t1", "t2", "t3"), 12),
])  # fmt: skip
def test_the_gain_of_a_fact_is_counted_by_trying(
    changes: dict[str, Any], first: str, sharpened: tuple[str, ...], count: int
) -> None:
    """The number of readings that become definite, held against a count by hand."""
    best = worth_finding(begun(**changes))[0]
    assert (best.fact, best.sharpens, best.answers) == (first, sharpened, count)
    assert best.minutes > 0


def test_a_complete_machine_leaves_nothing_open_that_sharpens_a_reading() -> None:
    """No fact is made up for a machine of which all is known."""
    assert worth_finding(Catalogue().load("basalt-freight")) == ()
