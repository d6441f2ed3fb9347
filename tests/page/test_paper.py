"""Paper: the numbers of the commands, nothing cut, nothing that a name could do to it."""

from __future__ import annotations

import io
import os
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import attrs
import pytest

from simrig import expect, load
from simrig.cli.main import main
from simrig.page.rendering import render_paper
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.reports.feeding import feeding
from simrig.reports.paper import paper

pytest.importorskip("jinja2", reason="paper needs Jinja2")
MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")
# Page sizes in points: ISO 216 A4 (210 x 297 mm), US letter (8.5 x 11 in).
POINTS = {"A4": (595, 842), "Letter": (612, 792)}


class _Cells(HTMLParser):
    """The cells of expected readings: (phase, balls, sensor) to (reading, text)."""

    def __init__(self) -> None:
        super().__init__()
        self.found: dict[tuple[str, int, str], list[str]] = {}
        self._open: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        if tag == "td" and "data-sensor" in values:
            key = (values["data-phase"], int(values["data-balls"]), values["data-sensor"])
            self._open = self.found.setdefault(key, [values["data-reading"], ""])

    def handle_endtag(self, tag: str) -> None:
        if tag == "td":
            self._open = None

    def handle_data(self, data: str) -> None:
        if self._open is not None:
            self._open[1] += data


def _cells(text: str) -> dict[tuple[str, int, str], list[str]]:
    parser = _Cells()
    parser.feed(text)
    return parser.found


def _long() -> Profile:
    """A machine with a trough of 20 and as many balls, and 60 lanes."""
    made = load("orchard-signal")
    trough = attrs.evolve(made.row("place", "trough"), seats=20)
    sensors = [one for one in made.sensor if not one.id.startswith("trough-")]
    sensors += [
        attrs.evolve(made.row("sensor", "trough-1"), id=f"trough-{n}", at=(f"trough.{n}",),
                     name=f"trough position {n}", number=200 + n, address=f"direct {n}")
        for n in range(1, 21)
    ]  # fmt: skip
    lane = made.row("sensor", "left-outlane")
    sensors += [
        attrs.evolve(lane, id=f"lane-{n}", name=f"lane with a rather long name {n}",
                     number=300 + n, address=f"direct {40 + n}")
        for n in range(60)
    ]  # fmt: skip
    places: list[Place] = [trough if one.id == "trough" else one for one in made.place]
    return attrs.evolve(
        made, id="long", title="A long one", place=tuple(places), sensor=tuple(sensors),
        balls=attrs.evolve(made.balls, installed=20), phase=made.phase[:1],
        controller=None,
    )  # fmt: skip


@pytest.mark.parametrize("machine", MACHINES)
def test_numbers_equal_expect(machine: str) -> None:
    """Each printed reading is what ``expect`` answers for that phase and count, ball mark and all."""
    profile = load(machine)
    cells = _cells(render_paper(paper(profile)))
    phases = {phase for phase, _, _ in cells}
    assert phases == {phase.id for phase in profile.phase}
    answers: dict[tuple[str, int], dict[str, Any]] = {}
    for (phase, balls, sensor), (reading, text) in cells.items():
        if (phase, balls) not in answers:
            found = expect(profile, phase=phase, balls=balls)
            answers[phase, balls] = {one.sensor: one for one in found.readings}
        one = answers[phase, balls][sensor]
        assert reading == one.reading
        assert text.strip() == one.reading + (" ●" if one.ball else "")
    assert {balls for _, balls in answers} == set(range(profile.balls.installed + 1))


def test_polarity_stands_first() -> None:
    """The first words after the machine's name say which reading means a ball, and where."""
    text = render_paper(paper(load("basalt-freight")))
    body = re.sub(r"<[^>]+>", " ", text.partition("<body>")[2])
    words = " ".join(body.split())
    assert words.startswith("Basalt Freight closed = ball here at: trough position 1")
    first_page = words.partition("Places, and the ways")[0]
    assert "open = ball here at: side magazine position 1" in first_page
    assert "Door interlock: YES" in first_page
    assert "ball trough: position 1 is at the exit end, position 7 at the far end" in first_page


def test_no_interlock_is_said_loudly() -> None:
    """A machine without an interlock says so at the top and on the job sheet."""
    text = render_paper(paper(load("orchard-signal")))
    assert "Door interlock: NO." in text
    assert "coils live with the door open, said to the owner" in text


def test_unknown_interlock_is_not_called_none() -> None:
    """Where nobody knows, the page says that it is not known."""
    profile = attrs.evolve(load("tidal-clockwork"), interlock=None)
    assert "Door interlock: NOT KNOWN." in render_paper(paper(profile))


def test_feeding_follows_the_fill_order() -> None:
    """Ball 1 passes positions 5 to 2 and stops at 1; with three in, 1 to 3 read closed."""
    steps = feeding(load("tidal-clockwork"))
    assert [sensor.id for sensor in steps[1].past] == [f"trough-{n}" for n in (5, 4, 3, 2)]
    assert steps[1].stops == "ball trough position 1"
    closed = [sensor.id for sensor, reading in steps[3].readings if reading == "closed"]
    assert closed == ["trough-1", "trough-2", "trough-3"]
    assert [step.ball for step in steps] == [0, 1, 2, 3, 4, 5]


def test_a_name_cannot_become_markup() -> None:
    """Names from a profile are printed as they are written."""
    evil = "<img src=x onerror=alert(1)>"
    profile = load("orchard-signal")
    first = attrs.evolve(profile.sensor[0], name=evil, wire=evil)
    made = attrs.evolve(
        profile, title=evil, note=evil, sensor=(first, *profile.sensor[1:]),
        phase=(attrs.evolve(profile.phase[0], name=evil), *profile.phase[1:]),
    )  # fmt: skip
    text = render_paper(paper(made))
    assert "<img" not in text
    assert text.count("&lt;img src=x onerror=alert(1)&gt;") > 5


def test_a_machine_of_which_little_is_known() -> None:
    """A profile with no sensors, phases or places still prints, and invents nothing."""
    profile = load("orchard-signal")
    bare = attrs.evolve(profile, sensor=(), phase=(), place=(), route=(), interlock=None, coil=())
    text = render_paper(paper(bare))
    assert "No ball sensor is known yet." in text
    assert "comparison page" not in text


def test_wrong_options_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A size, a phase or a number that cannot be ends with 2 and words."""
    out = str(tmp_path / "m.html")
    for words in (["--size", "A5"], ["--phase", "idel"], ["--balls", "99"], ["--balls", "x"]):
        assert main(["paper", "tidal-clockwork", "-o", out, *words]) == 2
    told = capsys.readouterr().err
    assert 'did you mean "idle"?' in told
    assert "wanted A4 or Letter" in told
    assert "Traceback" not in told


def test_missing_extra_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without Jinja2 the command ends with 2 and the line that installs it."""
    monkeypatch.setattr("simrig.host.extra.find_spec", lambda name: None)
    assert main(["paper", "tidal-clockwork", "-o", "-"]) == 2
    assert "pip install 'simrig[page]'" in capsys.readouterr().err


MARKING = """
() => {
  let n = 0; const names = [];
  const mark = (cell, word) => { const s = document.createElement('span');
    s.textContent = ' ' + word + ' '; s.style.fontSize = '4px'; cell.append(s); };
  for (const table of document.querySelectorAll('table')) {
    const rows = [...table.querySelectorAll('tbody tr')];
    for (const row of rows) {
      const cells = row.children; mark(cells[0], `QA${n}Z`);
      mark(cells[cells.length - 1], `QB${n}Z`); names.push([`QA${n}Z`, `QB${n}Z`]); n++; }
    if (table.classList.contains('keep') && rows.length) {
      const last = rows[rows.length - 1];
      mark(table.caption || rows[0].children[0], `QA${n}Z`);
      mark(last.children[0], `QB${n}Z`); names.push([`QA${n}Z`, `QB${n}Z`]); n++; }
  }
  return names; }
"""


ALL = [(machine, size) for machine in (*MACHINES, "long") for size in POINTS]
FEW = [("tidal-clockwork", "A4"), ("basalt-freight", "Letter"), ("long", "A4")]


@pytest.mark.parametrize(("machine", "size"), ALL if os.environ.get("SIMRIG_FULL") else FEW)
def test_printed_whole(browser: Any, pictures: Path, machine: str, size: str) -> None:
    """Printed, no row and no table that fits a page is cut, and nothing is wider than the page."""
    pypdf = pytest.importorskip("pypdf")
    profile = _long() if machine == "long" else load(machine)
    page = browser.new_page(viewport={"width": 703 if size == "A4" else 725, "height": 900})
    page.emulate_media(media="print")
    page.set_content(render_paper(paper(profile), size=size))
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= page.viewport_size["width"]
    pairs = page.evaluate(MARKING)
    reader = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    page.close()
    texts = [one.extract_text() for one in reader.pages]
    assert len(texts) < 40
    for one in reader.pages:
        assert (round(one.mediabox.width), round(one.mediabox.height)) == POINTS[size]
    where = {
        word: number for number, text in enumerate(texts) for word in re.findall(r"Q[AB]\d+Z", text)
    }
    assert len(pairs) > 60
    for first, last in pairs:
        assert where[first] == where[last]
