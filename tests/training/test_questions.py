"""Questions, each held against an answer worked out by another way than the one that made it.

The oracle takes what the question says in words, tries every position of the balls
one by one, and never asks the code that made the question.
"""

from __future__ import annotations

import os
import re
from itertools import islice

import pytest

import simrig
from simrig.diagnosis import sequencing
from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.bench_moves import BenchFacts, moves
from simrig.diagnosis.bench_state import BenchState
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import Observation
from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.injection import inject
from simrig.profile.machine import Profile
from simrig.scan.scanner import links, readings
from simrig.training.asking import TOPICS, again, question, questions
from simrig.training.benchwork import side_by_side
from simrig.training.question import LETTERS, Question
from simrig.training.subject import Subject
from simrig.world.balls import Placement
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds

MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")
EACH = 67 if "SIMRIG_FULL" in os.environ else 9
"""Questions of each topic and machine: 240 in all, or 2,000."""


@pytest.fixture(scope="module", params=MACHINES)
def subject(request: pytest.FixtureRequest) -> Subject:
    """One of the demo machines."""
    return Subject(profile=simrig.load(request.param))


def _asked(subject: Subject, topic: str) -> list[Question]:
    found = [question(subject, topic, seed) for seed in range(EACH)]
    return [one for one in found if one is not None]


def _reads(profile: Profile, placement: Placement, *faults: Fault) -> dict[str, str]:
    """Read every ball sensor in one position of the balls."""
    table = inject(profile, links(profile), faults) if faults else links(profile)
    frame = readings(profile, table, worlds(profile, (placement,)))
    return {one.id: frame.reading(one.id) for one in profile.ball_sensors()}


def _ways(profile: Profile, phase: str, balls: int) -> list[Placement]:
    return list(legal_placements(profile, Conditions(phase=phase, balls=balls)))


def _sheet(profile: Profile, text: str) -> dict[str, str]:
    told = re.search(r"These read closed: ([^.]*)\. Every other", text)
    closed = set(told[1].split(", ")) if told else set()
    assert closed or "Every ball sensor reads open." in text
    return {one.id: "closed" if one.id in closed else "open" for one in profile.ball_sensors()}


def _in_it(text: str) -> int:
    told = re.search(r"(\d+) balls? in the machine", text)
    return int(told[1]) if told else 0


def _fault(profile: Profile, words: str) -> Fault:
    told = re.fullmatch(r"(.*) \(([^()]*)\)", words)
    assert told is not None
    (found,) = [
        one for one in possible_faults(profile) if (one.kind.title, one.part) == (told[1], told[2])
    ]
    return found


def test_how_many(subject: Subject) -> None:
    """Of all counts exactly the right one gives the readings, in every way the balls can lie."""
    profile = subject.profile
    for one in _asked(subject, "how-many"):
        sheet = _sheet(profile, one.text)
        fits = {
            str(balls)
            for balls in range(profile.balls.installed + 1)
            for way in _ways(profile, profile.phase[0].id, balls)
            if _reads(profile, way) == sheet
        }
        assert fits == one.right


def test_which_closed(subject: Subject) -> None:
    """In every way the balls can lie, the named sensors read closed, and no other at a position."""
    profile = subject.profile
    by_title = {phase.title: phase.id for phase in profile.phase}
    for one in _asked(subject, "which-closed"):
        title = one.text.removeprefix(f"{profile.name}, ").split(f", {_in_it(one.text)} ball")[0]
        for way in _ways(profile, by_title[title], _in_it(one.text)):
            closed = [
                name
                for name, reading in _reads(profile, way).items()
                if reading == "closed"
                and any(profile.spots[spot].resting for spot in profile.row("sensor", name).spots)
            ]
            assert one.right == {",".join(sorted(closed)) or "none"}


def test_symbols(subject: Subject) -> None:
    """Turned round or not, the sheet fits a sound machine exactly where the answer says so."""
    profile = subject.profile
    for one in _asked(subject, "symbols"):
        sheet = _sheet(profile, one.text)
        turned = {name: {"open": "closed", "closed": "open"}[it] for name, it in sheet.items()}
        sound = [
            _reads(profile, way) for way in _ways(profile, profile.phase[0].id, _in_it(one.text))
        ]
        (letter,) = one.right
        assert (sheet in sound, turned in sound) == {
            "a": (True, False),
            "b": (False, True),
            "c": (False, False),
        }[letter]


def test_revealing_count(subject: Subject) -> None:
    """Exactly with the counts that count as right does the fault change a reading."""
    profile = subject.profile
    for one in _asked(subject, "revealing-count"):
        told = re.search(r"Wrong is: (.*?)\. Name one", one.text)
        assert told is not None
        fault = _fault(profile, told[1])
        shows = {
            str(balls)
            for balls in range(profile.balls.installed + 1)
            for way in _ways(profile, profile.phase[0].id, balls)
            if _reads(profile, way) != _reads(profile, way, fault)
        }
        assert one.right == shows


def test_where_is_it(subject: Subject) -> None:
    """A ball at the right place leaves every reading as it was; at each other it changes one."""
    profile = subject.profile
    words = {}
    for spot in profile.spots:
        from simrig.training.readings import _words

        words.setdefault(_words(profile, spot), spot)
    for route in profile.route:
        words[f"on the way: {route.title}"] = f"{route.id}.way"
    for one in _asked(subject, "where-is-it"):
        sheet = _sheet(profile, one.text)
        balls = profile.balls.installed - 1
        (way,) = _ways(profile, profile.phase[0].id, balls)
        silent = set()
        for letter, choice in zip(LETTERS, one.choices, strict=False):
            spot = words[choice]
            placement = Placement(spots=way.spots | {spot}, states=way.states)
            if spot not in profile.spots or _reads(profile, placement) == sheet:
                silent.add(letter)
        assert one.right == silent


def test_which_part(subject: Subject) -> None:
    """Of the four, the right one gives the sheet and no other does."""
    profile = subject.profile
    for one in _asked(subject, "which-part"):
        sheet = _sheet(profile, one.text)
        (way,) = _ways(profile, profile.phase[0].id, 0)
        fits = {
            letter
            for letter, choice in zip(LETTERS, one.choices, strict=False)
            if _reads(profile, way, _fault(profile, choice)) == sheet
        }
        assert one.right == fits


def test_in_order(subject: Subject) -> None:
    """The right order can be carried out under the rules of the bench, no other can."""
    facts = BenchFacts.of(subject.profile)
    for one in _asked(subject, "in-order"):
        allowed = set()
        for letter, choice in zip(LETTERS, one.choices, strict=False):
            state: BenchState | None = BenchState()
            for words in choice.split("; "):
                if state is None:
                    break
                state = next(
                    (move.after for move in moves(facts, state) if move.words == f"{words}."), None
                )
            if state is not None:
                allowed.add(letter)
        assert one.right == allowed


def test_setting(subject: Subject) -> None:
    """By hand: on without a ball, back; blind to a ball, forward; else leave it.

    Common practice, no source.
    """
    for one in _asked(subject, "setting"):
        told = re.search(
            r"lit with (no ball near|ball near)\. Now: no ball near, (\w+); "
            r"a ball rolls across, (\w+); the ball is gone, (\w+)\.",
            one.text,
        )
        assert told is not None
        on = {"ball near": "lit", "no ball near": "dark"}[told[1]]
        rest, passing, gone = (word == on for word in told.groups()[1:])
        assert one.right == {"a" if rest or gone else "b" if not passing else "c"}


def test_reading_a_log(subject: Subject) -> None:
    """By hand: every other sensor of the log does what balls do that fill from the exit end."""
    profile = subject.profile
    for one in _asked(subject, "reading-a-log"):
        (letter,) = one.right
        odd = one.choices[LETTERS.index(letter)]
        told = re.findall(r"Ball (\d+): ([^.]*)\.", one.text)
        closed = set(re.search(r"read closed: ([^.]*)\.", one.text)[1].split(", ")) - {"none"}
        by_ball = {
            int(ball): {part.split(" ")[0]: part.split(" ", 1)[1] for part in did.split("; ")}
            for ball, did in told
            if did != "nothing changed"
        }
        (home,) = _ways(profile, profile.phase[0].id, 0)
        at_rest = _reads(profile, home)
        for choice in one.choices:
            spots = profile.row("sensor", choice).spots
            position = profile.spots[spots[0]].position
            place = profile.spots[spots[0]].place
            fed = place == profile.balls.store
            usual = at_rest[choice]
            ends = {
                ball: did[choice].split(", then ")[-1]
                for ball, did in by_ball.items()
                if choice in did
            }
            stays = [ball for ball, end in sorted(ends.items()) if end != usual]
            sound = (choice in closed) == (usual == "closed") and (
                stays == [position] if fed and position in {int(b) for b, _ in told} else not stays
            )
            assert sound == (choice != odd), (one.text, choice)


def test_next_check_counts_minutes(subject: Subject) -> None:
    """Each choice costs over the best what the whole plan after it costs more.

    The plans are built out, branch by branch, and their minutes added up.
    """
    profile = subject.profile
    for one in _asked(subject, "next-check")[: None if EACH > 9 else 4]:
        sheet = Sheet(
            observation=Observation(
                readings=_sheet(profile, one.text), taken_for_open=0, taken_for_closed=0
            ),
            conditions=Conditions(spots=frozenset()),
        )
        job = Job(profile=profile, sheets=(sheet,), limit=1)
        problem = side_by_side(job.isolation(()).problem)
        titles = {check.title: check.id for check in job.bench.checks}
        least = sequencing.plan(problem).expected_minutes
        costs = {
            letter: _minutes(problem, titles[choice]) - least
            for letter, choice in zip(LETTERS, one.choices, strict=False)
        }
        assert one.costs == pytest.approx(costs, abs=1e-6)
        assert one.right == {letter for letter, over in costs.items() if over <= 0.05}


def _minutes(problem: sequencing.Problem, name: str) -> float:
    """Add up what is spent when a check is made first and the plan goes on from each result."""
    (check,) = [one for one in problem.checks if one.id == name]
    change = problem.change(problem.start, check)
    assert change is not None
    shares: dict[str, float] = {}
    for weight, results in zip(problem.weights, check.results, strict=True):
        for word, probability in results.items():
            shares[word] = shares.get(word, 0.0) + weight * probability
    spent = change[0] + check.minutes
    for word, share in shares.items():
        if share:
            left = sequencing.condition(sequencing.advance(problem, name), name, word)
            spent += share / sum(problem.weights) * sequencing.plan(left).expected_minutes
    return spent


def test_same_seed_same_questions() -> None:
    """Questions follow from the seed alone; an id brings its question back."""
    subjects = [Subject(profile=simrig.load(name)) for name in MACHINES]
    topics = ["how-many", "which-closed", "symbols", "where-is-it", "setting"]
    first = list(islice(questions(subjects, 7, topics=topics), 20))
    again_ = list(islice(questions(subjects, 7, topics=topics), 20))
    assert first == again_
    assert first != list(islice(questions(subjects, 8, topics=topics), 20))
    by_id = {one.profile.id: one for one in subjects}
    assert [again(by_id, one.id) for one in first] == first


def test_every_topic_is_asked() -> None:
    """Each topic gives questions on some machine at hand."""
    subjects = [Subject(profile=simrig.load(name)) for name in MACHINES]
    for topic in TOPICS:
        assert any(question(one, topic, 0) is not None for one in subjects), topic


@pytest.mark.parametrize(
    ("form", "answer", "right", "understood"),
    [
        ("number", " 3 ", True, True),
        ("number", "03", True, True),
        ("number", "4", False, True),
        ("number", "three", False, False),
        ("number", "", False, False),
        ("number", "-3", False, False),
    ],
)
def test_marking_numbers(form: str, answer: str, right: bool, understood: bool) -> None:
    """A number counts however it is written; what is none is asked for again."""
    one = Question(
        id="x", topic="how-many", level=1, form=form, text="?", right=frozenset(("3",)), why="so"
    )
    marked = one.mark(answer)
    assert (marked.right, marked.understood) == (right, understood)


def test_marking_names() -> None:
    """Names count in any order, with commas or blanks; none is an answer of its own."""
    one = Question(
        id="x", topic="t", level=1, form="names", text="?", right=frozenset(("a-1,b-2",)), why="so"
    )
    assert one.mark("B-2, a-1").right
    assert one.mark("a-1 b-2").right
    assert not one.mark("a-1").right
    assert one.mark("none").understood


def test_question_without_a_right_answer_cannot_be_made() -> None:
    """Nor one whose every choice is right."""
    with pytest.raises(ValueError, match="no answer is right"):
        Question(id="x", topic="t", level=1, form="number", text="?", right=frozenset(), why="")
    with pytest.raises(ValueError, match="every choice is right"):
        Question(
            id="x", topic="t", level=1, form="choice", text="?", choices=("p", "q"),
            right=frozenset("ab"), why="",
        )  # fmt: skip
