"""The drill on the page, and the question sheet on paper."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import urlencode

import pytest

from simrig import history, load
from simrig.cli.main import main
from simrig.training.asking import TOPICS, question
from simrig.training.subject import Subject

pytest.importorskip("starlette", reason="the page needs Starlette")

from tests.page.serving import Served, serving


def _place(number: int, **more: str | int) -> dict[str, str]:
    place = {"machine": "tidal-clockwork", "seed": 7, "number": number, **more}
    return {name: str(value) for name, value in place.items()}


def _post(served: Served, **fields: str) -> str:
    status, text, _ = served.ask(
        "POST", "/drill/ask", urlencode(fields), content_type="application/x-www-form-urlencoded"
    )
    assert status == 200
    return text


def test_right_and_wrong_are_told_and_kept(tmp_path: Path) -> None:
    """An answer is marked and explained at once, and kept under the initials."""
    subject = Subject(profile=load("tidal-clockwork"))
    one = question(subject, next(iter(TOPICS)), 7000)
    assert one is not None
    store = tmp_path / "history.sqlite"
    with serving(tmp_path) as served:
        assert served.ask("GET", "/drill")[0] == 200
        asked = served.ask("GET", f"/drill/ask?{urlencode(_place(0))}")[1]
        assert "Question 1 of 10" in asked
        assert "Why" not in asked
        right = _post(served, **_place(0, who="AB"), answer=next(iter(one.right)))
        wrong = _post(served, **_place(0, who="AB"), answer="99")
        again = _post(served, **_place(0, who="AB"), answer="many")
    assert "Right." in right
    assert "Why" in right
    assert 'name="right" value="1"' in right
    assert "Not right" in wrong
    assert "wanted a number" in again
    assert "Why" not in again
    with history.open_store(store) as opened:
        assert [one.right for one in history.answers(opened, "AB")] == [True, False]


def test_odd_links_are_borne(tmp_path: Path) -> None:
    """A link that was tampered with gives a question or says that there is none."""
    with serving(tmp_path) as served:
        for place in (
            {"machine": "no-such"}, {}, _place(0, seed="x"), _place(-5), _place(10**12),
            _place(0, who="<b>" * 50),
        ):  # fmt: skip
            status, text, _ = served.ask("GET", f"/drill/ask?{urlencode(place)}")
            assert status in (200, 404)
            assert "<b>" not in text
        assert served.ask("GET", "/drill/ask")[0] == 404
        assert served.ask("POST", "/drill/ask", "", Origin="http://elsewhere")[0] in (400, 403)


def test_question_sheet_on_paper(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The sheet for a class holds no answer, the page behind it one for each question."""
    file = tmp_path / "class.html"
    words = ["paper", "tidal-clockwork", "-o", str(file), "--drill", "5", "--seed", "3"]
    assert main(words) == 0
    sheet, answers = file.read_text().split('<section id="answers">')
    assert len(re.findall(r"<tr>", sheet)) == len(re.findall(r"<tr>", answers)) == 5
    assert main([*words[:-1], "x"]) == 2
    assert main([*words[:5], "1000"]) == 2
