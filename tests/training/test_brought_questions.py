"""Questions that plug-ins bring, asked among the made ones."""

from __future__ import annotations

import io
from itertools import islice
from pathlib import Path
from typing import Any

import attrs
import pytest

import simrig
from simrig import history
from simrig.cli.context import Context
from simrig.cli.main import main
from simrig.training.asking import TOPICS, again, drawn, levels, questions
from simrig.training.question import Question
from simrig.training.subject import Subject


def _question(which: str, topic: str = "reeds", level: int = 2) -> Question:
    return Question(
        id=which,
        topic=topic,
        level=level,
        form="number",
        text=f"How many blades has a reed ({which})?",
        right=frozenset(("2",)),
        why="they pull together",
    )


def _subject(*brought: Question, machine: str = "orchard-signal") -> Subject:
    profile = attrs.evolve(simrig.load(machine), brought={"simrig_questions": brought})
    return Subject(profile=profile)


def test_every_one_is_asked_once() -> None:
    """All questions of a topic of their own are asked, each once, in an order that the seed gives,
    also where only one of several machines has them."""
    brought = [_question(f"q{number}") for number in range(7)]
    here = [
        _subject(machine="basalt-freight"),
        _subject(*brought),
        _subject(machine="tidal-clockwork"),
    ]
    runs = [[one.id for one in questions(here, seed, topics=["reeds"])] for seed in (1, 1, 2)]
    assert sorted(runs[0]) == [f"reeds:orchard-signal:q{number}" for number in range(7)]
    assert runs[0] == runs[1] != runs[2]
    assert sorted(runs[2]) == sorted(runs[0])


def test_they_join_a_topic_that_is_there() -> None:
    """Named after a built-in topic they are asked among its questions, neither crowding out the
    other."""
    subject = _subject(_question("blades", "how-many", 1))
    texts = [drawn(subject, "how-many", seed) for seed in range(40)]
    ours = [one for one in texts if one is not None and one.id.endswith(":blades")]
    assert 5 < len(ours) < 35
    assert levels([subject]) == {name: level for name, (level, _) in TOPICS.items()}


def test_a_trainee_meets_them_at_their_level() -> None:
    """Below its level a question is not asked, whether its topic is its own or shared."""
    subject = _subject(_question("mine", level=3), _question("shared", "how-many", 3))
    assert levels([subject])["reeds"] == 3
    low = list(islice(questions([subject], 5, level=1), 30))
    assert low
    assert not [one for one in low if one.id.endswith((":mine", ":shared"))]
    high = {one.id for one in islice(questions([subject], 5, level=3), 60)}
    assert {"reeds:orchard-signal:mine", "how-many:orchard-signal:shared"} <= high


def test_without_any_the_seed_gives_what_it_gave() -> None:
    """A plug-in's questions aside, the same seed gives the same questions in the same order."""
    plain = list(islice(questions([_subject()], 9, topics=["how-many", "symbols"]), 6))
    more = _subject(_question("mine"))
    assert list(islice(questions([more], 9, topics=["how-many", "symbols"]), 6)) == plain


def test_one_is_found_again_by_its_id() -> None:
    """The id leads back to the question while its plug-in is there, and to none without it."""
    subject = _subject(_question("mine"))
    assert again({"orchard-signal": subject}, "reeds:orchard-signal:mine") == subject.brought[0]
    for id_ in ("reeds:orchard-signal:other", "reeds:orchard-signal:7", "reeds:no-such:mine"):
        assert again({"orchard-signal": subject}, id_) is None


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Subject:
    """Have every command load orchard-signal with three questions of a plug-in."""
    subject = _subject(*[_question(f"q{number}") for number in range(3)])

    def profile(context: Context, reference: str) -> Any:
        return subject.profile

    monkeypatch.setattr(Context, "profile", profile)
    return subject


def test_at_the_terminal_they_are_marked_and_kept(
    machine: Subject,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """Help, right, wrong, and the end when no more are there; each answer goes into the record."""
    store = tmp_path / "shop.sqlite"
    monkeypatch.setattr("sys.stdin", io.StringIO("?\n2\n3\n2\n"))
    words = ["drill", "orchard-signal", "--topic", "reeds", "--seed", "1"]
    assert main([*words, "--who", "AB", "--store", str(store)]) == 1
    told = capsys.readouterr().out
    assert "Question 1 of 10: reeds, level 2" in told
    assert "Answer with a number. simrig show orchard-signal lists" in told
    assert "Right. Why: they pull together." in told
    assert "Not right: 2. Why: they pull together." in told
    assert "These machines give no more questions on that." in told
    assert "reeds            2 of 3 right" in told
    with history.open_store(store) as opened:
        given = history.answers(opened, "AB")
    assert sorted(one.item for one in given) == [one.id for one in machine.brought]
    assert [one.right for one in given] == [True, False, True]


def test_they_are_on_the_sheet_for_a_class(machine: Subject, tmp_path: Path) -> None:
    """A printed sheet holds them among the others, their answers behind it."""
    pytest.importorskip("jinja2", reason="paper needs Jinja")
    file = tmp_path / "class.html"
    words = ["paper", "orchard-signal", "-o", str(file), "--drill", "30", "--seed", "3"]
    assert main(words) == 0
    sheet, answers = file.read_text().split('<section id="answers">')
    assert "How many blades has a reed" in sheet
    assert "they pull together" in answers
    assert "they pull together" not in sheet


def test_the_page_asks_them_too(machine: Subject, tmp_path: Path) -> None:
    """A round of ten questions comes to their topic, marks the answer and files it."""
    pytest.importorskip("starlette", reason="the page needs Starlette")
    from tests.page.serving import serving

    with serving(tmp_path) as served:
        served.desk.machine = lambda name: (machine.profile, "")  # type: ignore[assignment,method-assign]
        for number in range(10):
            place = f"machine=orchard-signal&seed=3&number={number}&who=AB"
            if "How many blades" in served.ask("GET", f"/drill/ask?{place}")[1]:
                break
        kind = "application/x-www-form-urlencoded"
        marked = served.ask("POST", "/drill/ask", place + "&answer=2", content_type=kind)[1]
    assert "Right." in marked
    assert "Why: they pull together." in marked
    with history.open_store(tmp_path / "history.sqlite") as opened:
        (given,) = history.answers(opened, "AB")
    assert given.item in {one.id for one in machine.brought}
