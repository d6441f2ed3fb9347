"""A log dropped on the page: the command's verdict, drawn and explained."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import pytest

from simrig import load
from simrig.errors import InputError
from simrig.expectation.flow import Flow
from simrig.expectation.recording import Recorder
from simrig.expectation.replay import replay
from simrig.interchange.logs import Event, write_csv
from simrig.page.logs import log_view
from simrig.page.session import SheetState
from simrig.profile.machine import Profile
from simrig.world.moves import parse, start
from simrig.world.phases import Conditions, legal_placements

pytest.importorskip("starlette", reason="the page needs Starlette")
SVG = "{http://www.w3.org/2000/svg}"


def _recorded(profile: Profile) -> list[Event]:
    placement = start(profile, legal_placements(profile, Conditions())[0])
    flow = Flow.of(profile, placement)
    moves = [parse(profile, text) for text in ("serve", "launch", "left-drain")]
    return list(Recorder(flow.motions, flow.table, seed=3).record(placement, moves))


def _csv(events: list[Event]) -> bytes:
    return b"".join(write_csv(events))


def test_a_sound_log_agrees() -> None:
    """What the simulator records agrees, and its wave forms stand above those expected."""
    profile = load("tidal-clockwork")
    found = log_view(profile, SheetState(), _csv(_recorded(profile)), "run.csv")
    assert found.agrees
    assert found.verdict == "It agrees: 5 in the ball trough at its end."
    assert len(found.charts) == 1
    forms = list(ElementTree.fromstring(found.charts[0]).iter(f"{SVG}polyline"))
    texts = ["".join(one.itertext()) for one in ElementTree.fromstring(found.charts[0]).iter()]
    assert texts.count("expected") == texts.count("recorded") == len(forms) / 2 > 2


def test_a_missed_change_is_marked_and_explained() -> None:
    """A change taken out of the log is one anomaly of the command's, numbered in the drawing."""
    profile = load("tidal-clockwork")
    events = _recorded(profile)
    gone = [e for e in events if e.signal == "trough-5" and e.time_ms][:1]
    spoilt = [event for event in events if event not in gone]
    found = log_view(profile, SheetState(), _csv(spoilt), "run.csv")
    judged = replay(profile, iter(spoilt))
    assert not found.agrees
    assert len(found.anomalies) == len(judged.anomalies) > 0
    for words, one in zip(found.anomalies, judged.anomalies, strict=True):
        assert one.why in words
    drawing = ElementTree.fromstring(found.charts[0])
    texts = ["".join(one.itertext()) for one in drawing.iter(f"{SVG}text")]
    assert "1" in texts
    assert any(text.startswith("1. ") for text in texts)


def test_a_log_without_times_is_drawn_in_its_order() -> None:
    """Where only the order is known no time is invented."""
    profile = load("tidal-clockwork")
    events = [Event(signal=e.signal, reading=e.reading) for e in _recorded(profile)
              if e.reading in ("open", "closed")]  # fmt: skip
    found = log_view(profile, SheetState(), _csv(events), "run.csv")
    assert found.replay.timed is False
    assert " ms" not in re.sub(r"<[^>]+>", " ", found.charts[0])


def test_every_broken_line_is_told() -> None:
    """Each line that cannot be read is told with its number."""
    data = b"time,sensor,reading\n1,trough-1,closed\nx,trough-2,open\n3,trough-3,ajar\n"
    with pytest.raises(InputError) as caught:
        log_view(load("tidal-clockwork"), SheetState(), data, "run.csv")
    assert [problem.line for problem in caught.value.problems] == [3, 4]


def test_dropped_on_the_page(browser: Any, tmp_path: Path, pictures: Path) -> None:
    """Chosen in the browser, a log is judged, drawn and explained; a broken one told in words."""
    from tests.page.conftest import PHONE, Watched
    from tests.page.serving import serving

    profile = load("tidal-clockwork")
    events = [e for e in _recorded(profile) if not (e.signal == "trough-5" and e.time_ms)]
    good, bad = tmp_path / "run.csv", tmp_path / "bad.csv"
    good.write_bytes(_csv(events))
    bad.write_text("time,sensor,reading\n1,<b>trough</b>,maybe\n", encoding="utf-8")
    with serving(tmp_path) as served:
        context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
        seen = Watched(context.new_page())
        page = seen.page
        page.goto(served.base)
        page.tap("button[value=tidal-clockwork]")
        page.wait_for_selector("#job[data-ready]")
        page.tap("#log summary")
        page.set_input_files("#log-file", str(good))
        page.wait_for_selector("#log-answer svg")
        assert "1 thing in it cannot be; at its end" in page.inner_text("#log-answer")
        assert "expected" in page.inner_text("#log-answer")
        seen.check()
        page.locator("#log").screenshot(path=pictures / "log-360.png")
        page.set_input_files("#log-file", str(bad))
        page.wait_for_selector("#log-answer .warning")
        assert page.query_selector("#log-answer b") is None
        context.close()
