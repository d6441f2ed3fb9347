"""A trainee at the terminal."""

from __future__ import annotations

import io
import json
import sys
from itertools import islice
from pathlib import Path

import pexpect
import pytest

import simrig
from simrig import history
from simrig.cli.drill import _level
from simrig.cli.main import main
from simrig.training.asking import questions
from simrig.training.question import Question
from simrig.training.subject import Subject

Capture = pytest.CaptureFixture[str]
WORDS = ["drill", "tidal-clockwork", "--topic", "how-many", "--seed", "3", "--count", "3"]


def _drawn(count: int = 3) -> list[Question]:
    subject = Subject(profile=simrig.load("tidal-clockwork"))
    return list(islice(questions([subject], 3, topics=["how-many"]), count))


def test_a_session(tmp_path: Path) -> None:
    """Right, wrong, help, one taken back, left, gone on with to the end: nothing is lost."""
    store = str(tmp_path / "shop.sqlite")
    first, second, third = (sorted(one.right)[0] for one in _drawn())
    command = ["-m", "simrig", *WORDS, "--who", "AB", "--store", store]
    child = pexpect.spawn(
        sys.executable, command, encoding="utf-8", timeout=60, dimensions=(40, 80)
    )
    child.expect("Question 1 of 3: how-many, level 1")
    child.expect("> ")
    child.sendline("?")
    child.expect("Answer with a number")
    child.sendline(first)
    child.expect(r"Right\. Why: ")
    child.expect("Question 2 of 3")
    child.sendline("99")
    child.expect(f"Not right: {second}")
    child.expect("Question 3 of 3")
    child.sendline("u")
    child.expect("Taken back")
    child.expect("Question 2 of 3")
    child.sendline("q")
    child.expect("the same command goes on from here")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0, "all that was answered was right"

    child = pexpect.spawn(
        sys.executable, command, encoding="utf-8", timeout=60, dimensions=(40, 80)
    )
    child.expect("Going on at question 2 of 3")
    child.expect("> ")
    child.sendline(second)
    child.expect(r"Right\.")
    child.expect("Question 3 of 3")
    child.sendline(third)
    child.expect("how-many +3 of 3 right")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0
    with history.open_store(Path(store)) as opened:
        assert [one.right for one in history.answers(opened, "AB")] == [True, True, True]
        assert history.training(opened, "AB") is None


def test_wrong_answer_comes_back(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was answered wrongly goes back to the first box, and is due again after a day."""
    store = str(tmp_path / "shop.sqlite")
    one = _drawn(1)[0]

    monkeypatch.setattr("sys.stdin", io.StringIO("99\n"))
    assert main([*WORDS[:-1], "1", "--who", "AB", "--store", store]) == 1
    with history.open_store(Path(store)) as opened:
        (card,) = history.cards(history.answers(opened, "AB"))
    assert (card.item, card.box) == (one.id, 1)


def test_json_for_other_trainers(capsys: Capture) -> None:
    """The same seed gives the same questions, each with its answer and why."""
    found = []
    for _ in range(2):
        assert main([*WORDS, "--json"]) == 0
        found.append(json.loads(capsys.readouterr().out))
    assert found[0] == found[1]
    assert found[0]["seed"] == 3
    assert {"id", "topic", "text", "answer", "why"} <= found[0]["questions"][0].keys()


def test_printed_answers_stand_on_another_page(capsys: Capture) -> None:
    """The sheet for a class holds no answer; the page behind it holds them all."""
    assert main([*WORDS, "--print"]) == 0
    sheet, answers = capsys.readouterr().out.split("\f")
    assert sheet.count("Answer: ___") == 3
    assert "Why" not in sheet
    for one in _drawn():
        assert one.why.split(",")[0] in " ".join(answers.split())
    assert max(map(len, (sheet + answers).splitlines())) <= 80


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--topic", "juggling"], 'no topic is called "juggling"'),
        (["--count", "many"], "wanted a whole number"),
        (["--seed", "-1"], "wanted a whole number"),
    ],
)
def test_wrong_options(capsys: Capture, words: list[str], told: str) -> None:
    """A wrong option is exit code 2 and one message."""
    assert main(["drill", "tidal-clockwork", *words]) == 2
    assert told in capsys.readouterr().err


def test_hidden_fault_is_found(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    """The part is named, minutes are counted, and the plan's stand beside them."""
    from random import Random

    from simrig.training.hands_on import hands_on

    hidden = hands_on(simrig.load("tidal-clockwork"), Random(5))
    assert hidden is not None
    typed = f"read-again\nno-such-check\nit is {hidden.fault.name}\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    assert main(["drill", "tidal-clockwork", "--topic", "hands-on", "--seed", "5"]) == 0
    printed = capsys.readouterr().out
    assert "Right: that is it." in printed
    assert "Yours: 0.5 minutes." in printed
    minutes = sum(one.minutes for one in hidden.best)
    assert f"The plan's: {minutes:.1f} minutes." in printed
    assert "no-such-check" in printed


def test_best_plan_of_a_hidden_fault_ends_with_it() -> None:
    """Following the plan leaves the hidden fault among what is left."""
    from random import Random

    from simrig.training.hands_on import hands_on

    for seed in range(3):
        hidden = hands_on(simrig.load("tidal-clockwork"), Random(seed))
        assert hidden is not None
        left = hidden.job.isolation([one.result for one in hidden.best])
        names = {one.name for cause in left.causes for one in cause.faults}
        assert hidden.fault.name in names


@pytest.mark.parametrize(
    ("rights", "level"),
    [
        ([], 1),
        ([True] * 3, 1),
        ([True] * 4, 2),
        ([True] * 8, 3),
        ([True] * 12, 3),
        ([True] * 4 + [False] * 2, 2),
        ([True] * 4 + [False] * 3, 1),
        ([False] * 9, 1),
        ([True, True, False, True, True, True, True], 2),
    ],
)
def test_level_rises_and_falls(rights: list[bool], level: int) -> None:
    """Four right in a row rise by one, three wrong in a row fall by one, within 1 to 3."""
    assert _level(rights) == level
