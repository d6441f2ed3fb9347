"""The eight questions: what answers make of a profile, and that no answer can break it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.interchange.beginning import feeding, naming, proposals, starting
from simrig.interchange.beginning.facts import document
from simrig.interchange.beginning.questions import QUESTIONS, answered, open_questions
from simrig.interchange.switch_list import read as read_list
from simrig.interchange.toml_editing import edited
from simrig.interchange.toml_writer import written
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.vetting.vet import looked_at

FULL = bool(os.environ.get("SIMRIG_FULL"))
ASKED = {question.id: question for question in QUESTIONS}
LIST = b"""number,column,row,name
11,1,1,start button
12,1,2,captive ball target
21,2,1,left outlane
27,2,7,ball in the launcher
31,3,1,trough 1
32,3,2,trough 2
33,3,3,trough 3
36,3,6,trough jam beam
41,4,1,lock 1 beam
42,4,2,lock 2 beam
43,4,3,lock entry beam
51,5,1,saucer
52,5,2,ramp (inductive)
"""


def fresh(balls: int | None = 3) -> Profile:
    profile, _ = starting.with_switches(starting.begin("new", balls), read_list(LIST, "list"))
    return profile


def said(profile: Profile, **answers: str) -> Profile:
    for name, words in answers.items():
        profile = answered(profile, ASKED[name], words)
    return profile


def spots(profile: Profile) -> dict[str, Any]:
    return {sensor.id: sensor.at for sensor in profile.sensor if sensor.spots}


def test_the_questions_are_at_most_eight_and_come_in_order() -> None:
    """Answered one after the other, none is left."""
    profile = fresh(None)
    assert [one.id for one in open_questions(profile)] == [
        "balls", "captive", "trough", "places", "kinds", "ready", "interlock"]  # fmt: skip
    profile = said(profile, balls="3", captive="none", trough="31-33")
    assert next(open_questions(profile)).id == "places"
    profile = said(profile, places="none")
    assert next(open_questions(profile)).id == "polarity"
    profile = said(profile, polarity="?", kinds="none", ready="none", interlock="don't know")
    assert list(open_questions(profile)) == []
    assert len(QUESTIONS) <= 8


def test_names_are_proposed_and_nothing_is_taken_by_itself() -> None:
    """What the list's names suggest, as words that the question takes."""
    profile = fresh()
    assert proposals.trough(profile) == "31-33; jam 36"
    assert proposals.places(profile) == "launcher: 27; lock: 41, 42; saucer: 51"
    assert proposals.kinds(profile) == "36, 41-43; inductive 52"
    assert proposals.captive(profile) == "1 at 12"
    assert spots(profile) == {}
    for name in ("captive", "trough", "places", "kinds", "ready"):
        proposal = ASKED[name].propose(profile)
        assert proposal is not None
        profile = said(profile, **{name: proposal})
    assert len(spots(profile)) == 9
    assert profile.row("place", "saucer").kind == "hold"


@pytest.mark.parametrize(("words", "numbers"), [
    ("31-33", [31, 32, 33]), ("33-31", [33, 32, 31]), ("31 to 33", [31, 32, 33]), ("33, 31", [33, 31]),
    ("31 33", [31, 33]), ("c3 r1, c3 r3", [31, 33]), ("c3 r1-3", [31, 32, 33]), ("c3r3", [33]),
    ("column 3 rows 3-1", [33, 32, 31]), ("trough 1 to trough 3", [31, 32, 33]), ("trough 1-2", [31, 32]),
    ("Trough 2 and trough-1", [32, 31]), ("c3 r1 c3 r2", [31, 32]), ("saucer", [51]), ("", []),
])  # fmt: skip
def test_switches_are_named_as_people_name_them(words: str, numbers: list[int]) -> None:
    """Numbers, ranges either way, addresses and names, in the order said."""
    profile = fresh()
    found = [profile.row("sensor", name).number for name in naming.switches(profile, words)]
    assert found == numbers


@given(st.lists(st.integers(0, 12), unique=True))
def test_short_words_name_the_same_switches(chosen: list[int]) -> None:
    """What is proposed reads back as what was meant, with numbers and with addresses alone."""
    numbered = fresh()
    bare = attrs.evolve(
        numbered, sensor=tuple(attrs.evolve(one, number=None) for one in numbered.sensor)
    )
    for profile in (numbered, bare):
        ids = [profile.sensor[index].id for index in chosen]
        assert list(naming.switches(profile, naming.short(profile, ids))) == ids


def test_a_trough_with_fewer_switches_than_balls_is_assumed_to_hold_them_all() -> None:
    """What follows from an assumption says so."""
    profile = said(fresh(5), trough="31-33")
    trough = profile.row("place", "trough")
    assert (trough.seats, trough.assumption("seats") is not None) == (5, True)
    assert profile.row("phase", "idle").assumption("placements") is not None
    whole = said(fresh(3), trough="31-33")
    assert whole.row("place", "trough").assumed is None
    assert whole.row("phase", "idle").assumed is None


def test_a_trough_named_from_its_far_end_keeps_its_numbers() -> None:
    """Said from the exit end as 33, 32, 31: position 1 is at the far end."""
    profile = said(fresh(), trough="33-31")
    assert profile.row("place", "trough").position_1 == "far end"
    assert spots(profile) == {f"trough-{n}": (f"trough.{n}",) for n in (1, 2, 3)}


def test_readings_are_assumed_unless_tried_and_exceptions_are_the_other_way() -> None:
    """A word without a trial is an assumption; what was tried before is not changed."""
    profile = said(fresh(), trough="31-33", places="lock: 41, 42")
    profile = said(profile, polarity="closed, tried, except 41, 42")
    reads = {s.number: (s.worked_reads, s.assumed) for s in profile.sensor if s.spots}
    assert reads[31] == ("closed", None)
    assert reads[41] == ("open", None)
    profile = said(said(profile, places="saucer: 51"), polarity="open")
    reads = {s.number: (s.worked_reads, bool(s.assumed)) for s in profile.sensor if s.spots}
    assert reads[31] == ("closed", False)
    assert reads[51] == ("open", True)


def test_balls_that_wait_make_a_phase_that_adds_up() -> None:
    """The trough has the rest; more balls than there are is refused in words."""
    profile = said(fresh(), trough="31-33", places="launcher: 27")
    assert said(profile, ready="launcher 1").row("phase", "ready").placements == (
        {"launcher": 1, "trough": "rest"},)  # fmt: skip
    assert said(profile, ready="none").row("phase", "ready").placements == ({"trough": "rest"},)
    with pytest.raises(ValueError, match="holds 1"):
        said(profile, ready="launcher 2")
    with pytest.raises(ValueError, match=r"4 balls.*the machine carries 3"):
        said(said(profile, places="bay: 41, 42; nook: 51, 52"), ready="bay 2, nook 2")


@pytest.mark.parametrize(("name", "words", "wanted"), [
    ("balls", "many", "1 to 20"), ("balls", "0", "1 to 20"), ("captive", "yes", "wanted none"),
    ("captive", "1 at 31, 32", "at most 1 switch"), ("trough", "99", "99"), ("trough", "31, 31", "twice"),
    ("places", "31", "wanted a place"), ("places", "playfield: 51", "there already"),
    ("polarity", "yes", "closed or open"), ("polarity", "closed open", "closed or open"),
    ("kinds", "31; inductive 31", "can be one"), ("interlock", "maybe", "yes, no"),
])  # fmt: skip
def test_an_answer_that_cannot_be_says_what_is_wanted(name: str, words: str, wanted: str) -> None:
    """Each question refuses in words."""
    profile = fresh() if name == "balls" else said(fresh(), captive="none")
    profile = profile if name != "polarity" else said(profile, trough="31-33")
    with pytest.raises(ValueError, match=wanted):
        said(profile, **{name: words})


def test_a_switch_has_one_position() -> None:
    """What is in the trough is not also in the lock."""
    with pytest.raises(ValueError, match=r"trough\.1 already"):
        said(said(fresh(), trough="31-33"), places="lock: 31")


def test_do_not_know_is_an_answer_that_is_not_asked_again_and_changes_nothing_else() -> None:
    """The unknown stays unknown: coils count as live."""
    before = fresh()
    after = said(before, **dict.fromkeys(ASKED, "don't know"))
    assert attrs.evolve(after, begun=None) == before
    assert list(open_questions(after)) == []
    assert after.interlock is None
    states = {one["fact"]: one["state"] for one in document(after)["facts"]}
    assert states["whether there is a door interlock"] == "unknown"


def test_a_list_given_again_adds_only_what_is_new() -> None:
    """Known by number, by address, or by name where there is neither."""
    profile = said(fresh(), trough="31-33")
    same, count = starting.with_switches(profile, read_list(LIST, "list"))
    assert (same, count) == (profile, 0)
    more, count = starting.with_switches(profile, read_list(LIST + b"61,6,1,trough 1\n", "list"))
    assert (count, more.sensor[-1].id, more.matrix.columns) == (1, "trough-1-61", 6)


WORDS = ("31", "31-33", "33-31", "41, 42", "27", "51", "99", "c3 r1", "launcher", "lock:", "saucer: 51",
         "none", "no", "yes", "closed", "open", "tried", "except", "inductive", "1", "2", "3", "20", "21",
         "at", ";", ",", ":", "all", "don't know", "trough", "playfield", "captive ball", "-", "ball-1",
         "idle", "'", '"', "\\", "é", "=", "[", "#", "back")  # fmt: skip
PHRASES = st.lists(st.sampled_from(WORDS), min_size=1, max_size=6).map(" ".join) | st.text(
    max_size=20
)


@settings(max_examples=2000 if FULL else 60)
@given(st.data())
def test_no_answer_breaks_the_profile_or_its_file(data: st.DataObject) -> None:
    """Whatever is said, in whatever order: refused in words, or a file that reads back the same."""
    profile = fresh(data.draw(st.sampled_from((None, 1, 3, 20))))
    text = written(profile)
    profile = read(text.encode(), "x")
    steps: list[Any] = [
        *QUESTIONS,
        feeding.emptied,
        feeding.ball_fed,
        feeding.finished,
        feeding.taken_back,
    ]
    for step in data.draw(st.lists(st.sampled_from(range(len(steps))), max_size=10)):
        words = data.draw(PHRASES)
        what = steps[step]
        try:
            if what in (feeding.finished, feeding.taken_back):
                after = what(profile)
            elif step < len(QUESTIONS):
                after = answered(profile, what, words)
            else:
                after = what(profile, words)
        except ValueError:
            continue
        text = edited(text, profile, after)
        profile = read(text.encode(), "x")
        assert profile == after
    assert len(document(profile)["facts"]) >= len(QUESTIONS)
    assert all(one.id not in (profile.begun or {}) for one in open_questions(profile))


def test_what_is_only_unknown_is_no_warning_at_any_stage() -> None:
    """Looked over after each answer, a growing profile gets notes, and one that sums up."""
    profile = fresh(None)
    answers = {
        "balls": "3", "captive": "1 at 12", "trough": "31-33", "places": "launcher: 27; lock: 41, 42",
        "polarity": "closed", "kinds": "36, 41-43", "ready": "launcher 1", "interlock": "don't know",
    }  # fmt: skip
    for name, words in answers.items():
        profile = read(written(said(profile, **{name: words})).encode(), "x")
        found = list(looked_at(profile))
        assert {one.level for one in found} == {"note"}, name
        assert sum(one.code == "FACT-01" for one in found) == 1, name


def test_a_machine_of_which_only_the_name_is_known_can_begin() -> None:
    """The smallest file is a valid profile."""
    profile = starting.begin("Möwe no. 7 (left)", None)
    assert (profile.id, profile.title) == ("mowe-no-7-left", "Möwe no. 7 (left)")
    assert read(written(profile).encode(), "x") == profile


def test_the_sensor_above_the_kicker_comes_with_the_trough() -> None:
    """After jam: it is bound to the position where a ball stacks, and the trough has one."""
    profile = said(fresh(), balls="3", captive="none", trough="31-33; jam 36")
    assert profile.row("place", "trough").jam
    (jam,) = (one for one in profile.sensor if one.at == ("trough.jam",))
    assert jam.number == 36
    for wrong in ("31-33; jam", "31-33; jam 36, 41", "31-33; jam 33"):
        with pytest.raises(ValueError, match=r"jam 36|named twice"):
            answered(fresh(), ASKED["trough"], wrong)


def test_a_dash_is_a_position_without_a_switch() -> None:
    """Fewer switches than balls: the second position has none."""
    profile = said(fresh(), balls="3", captive="none", trough="31, -, 33")
    assert spots(profile) == {"trough-1": ("trough.1",), "trough-3": ("trough.3",)}


def test_names_that_leave_numbers_out_say_where_the_switches_are() -> None:
    """Trough 1 and trough 3 for three balls: taken to be at 1 and 3, as an assumption."""
    profile = said(fresh(), balls="3", captive="none", trough="31, 33")
    assert spots(profile) == {"trough-1": ("trough.1",), "trough-3": ("trough.3",)}
    assert profile.row("sensor", "trough-3").assumption("at") is not None


def test_a_profile_that_accounts_for_every_switch_is_asked_nothing() -> None:
    """Neither for captive balls nor for a trough that the machine does not have."""
    heldout = Path(__file__).parents[1] / "heldout"
    for name in ("glacier-post", "copper-lantern", "meadow-telegraph", "harbour-bell"):
        path = heldout / f"{name}.toml"
        assert list(open_questions(read(path.read_bytes(), str(path)))) == []
    growing = heldout / "sparrow-loom.toml"
    left = {one.id for one in open_questions(read(growing.read_bytes(), "sparrow-loom"))}
    assert left == {"polarity", "interlock"}
