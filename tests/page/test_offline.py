"""The self-contained file: from disk, with the network off, it says what the commands say."""

from __future__ import annotations

import os
import random
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from simrig import load
from simrig.cli.main import main
from simrig.expectation.comparison import Fit, compare
from simrig.expectation.observation import observe
from simrig.expectation.prediction import expect
from simrig.page.offline import self_contained
from simrig.profile.machine import Profile
from simrig.world.phases import Conditions
from tests.page.conftest import PHONE, Watched
from tests.page.test_same_as_commands import MACHINES, _random_sheet

pytest.importorskip("jinja2", reason="the file needs Jinja2")
Open = Callable[..., Watched]


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Open]:
    """Writes a machine's file and opens it from disk on a phone without a network."""
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True, offline=True)
    asked: list[str] = []
    context.on("request", lambda one: asked.append(one.url))

    def open_(profile: Profile) -> Watched:
        file = tmp_path / f"{profile.id}.html"
        file.write_text(self_contained(profile), encoding="utf-8")
        page = context.new_page()
        page.goto(file.as_uri())
        return Watched(page)

    yield open_
    context.close()
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []


def test_nothing_in_it_points_elsewhere() -> None:
    """The file names no other address, but the name of the drawing language."""
    for machine in MACHINES:
        text = self_contained(load(machine))
        found = set(re.findall(r"(?:https?:)?//[a-z0-9.-]+\.[a-z]+[^\s\"'<]*", text))
        assert found <= {"http://www.w3.org/2000/svg"}
        assert len(text.encode()) < 150 * 1024


def test_names_stay_text(opened: Open) -> None:
    """Names that look like markup are shown as written, and run nothing."""
    evil = "</script><script>window.hit = 1</script><img src=x onerror='window.hit = 1'>"
    profile = load("orchard-signal")
    odd = attrs.evolve(
        profile, title=evil,
        sensor=(attrs.evolve(profile.sensor[0], name=evil), *profile.sensor[1:]),
        phase=(attrs.evolve(profile.phase[0], name=evil, note=evil), *profile.phase[1:]),
        place=(attrs.evolve(profile.place[0], name=evil), *profile.place[1:]),
    )  # fmt: skip
    seen = opened(odd)
    assert seen.page.evaluate("window.hit") is None
    assert evil in seen.page.inner_text("h1")
    assert seen.complaints == []


def test_expected_readings_by_phase_and_count(opened: Open) -> None:
    """For every phase and count each sensor must read what ``expect`` answers."""
    for machine in MACHINES if os.environ.get("SIMRIG_FULL") else MACHINES[1:]:
        profile = load(machine)
        seen = opened(profile)
        shown = seen.page.evaluate(
            """(counts) => { const found = {}; const tap = (id) => document.getElementById(id).click();
            for (const [phase, balls] of counts) { tap('p-' + phase); tap('n-' + balls);
              found[phase + ' ' + balls] = Object.fromEntries([...document.querySelectorAll('.sensor')]
                .map((one) => [one.dataset.sensor, one.dataset.expected])); }
            return found; }""",
            [[phase.id, n] for phase in profile.phase for n in range(profile.balls.installed + 1)],
        )
        for where, rows in shown.items():
            phase, balls = where.split()
            found = expect(profile, Conditions(phase=phase, balls=int(balls)))
            assert rows == {
                one.sensor: "open or closed" if one.reading == "either" else one.reading
                for one in found.readings
                if one.place
            }
        assert seen.complaints == []


def _words(profile: Profile, fit: Fit, phase: str, balls: int) -> str:
    from simrig.reports.wording import fit_words

    return fit_words(profile, fit, Conditions(phase=phase, balls=balls))


def test_random_observations(opened: Open) -> None:
    """Verdict, differences and better fits are those of ``compare``, for random observations."""
    dice = random.Random(5)
    pages = {machine: opened(load(machine)) for machine in MACHINES}
    for number in range(60 if os.environ.get("SIMRIG_FULL") else 6):
        machine = MACHINES[number % 3]
        profile, page = load(machine), pages[machine].page
        phase, balls, seen = _random_sheet(machine, dice)
        page.evaluate(
            """([phase, balls, seen]) => { const tap = (id) => document.getElementById(id).click();
            tap('clear'); tap('p-' + phase); tap('n-' + balls);
            for (const [name, reading] of Object.entries(seen)) tap('t-' + name + '-' + reading); }""",
            [phase, balls, seen],
        )
        groups: dict[str, list[str]] = {"closed": [], "open": [], "flickers": []}
        for name, reading in seen.items():
            groups[reading].append(name)
        observation = observe(profile, closed=groups["closed"], open=groups["open"],
                              flicker=groups["flickers"], closed_named=True,
                              open_named=True)  # fmt: skip
        found = compare(profile, observation, Conditions(phase=phase, balls=balls))
        text = " ".join(page.inner_text("#answer").split())
        assert text.startswith("It agrees") == found.agrees
        rows = re.findall(r"must read (closed|open|open or closed), you saw (\w+)", text)
        # Both count differences from one legal placement with fewest; there can be several.
        assert len(rows) == len(found.differences)
        fits = [fit for fit in found.fits if fit.moving is None and not found.agrees]
        exact = [fit for fit in fits if not fit.differences]
        assert ("no difference left" in text) == bool(exact)
        if len(fits) == len(found.fits):
            shown = exact or fits[:3]
            for fit in shown:
                assert _words(profile, fit, phase, balls) in text
        turned = any(fit.inverted for fit in fits)
        if turned and len(found.differences) > 1:
            assert "Your symbols may be the wrong way round" in text


def test_what_was_tapped_survives_sleep(opened: Open) -> None:
    """Closed and opened again, from the browser's store or from the address, every tap is there."""
    seen = opened(load("tidal-clockwork"))
    page = seen.page
    page.tap("#assumed summary")
    page.tap("#n-3")
    page.tap("#t-trough-1-closed")
    page.tap("#t-trough-4-flickers")
    page.reload()
    for name in ("t-trough-1-closed", "t-trough-4-flickers", "n-3"):
        assert page.get_attribute(f"#{name}", "aria-pressed") == "true"
    page.tap("#undo")
    assert page.get_attribute("#t-trough-4-flickers", "aria-pressed") == "false"
    page.evaluate("localStorage.clear()")
    page.reload()
    assert page.get_attribute("#t-trough-1-closed", "aria-pressed") == "true"
    assert seen.complaints == []


def test_undo_and_all_the_rest(opened: Open) -> None:
    """Undo takes back one tap at a time; all the rest agree leaves what was tapped."""
    page = opened(load("tidal-clockwork")).page
    page.tap("#t-trough-5-open")
    page.tap("#agree")
    assert "23 of 23 looked at, 1 differ" in page.inner_text("#count")
    page.tap("#undo")
    assert "1 of 23 looked at" in page.inner_text("#count")
    page.tap("#undo")
    assert "0 of 23 looked at" in page.inner_text("#count")
    assert page.is_disabled("#undo")


def test_copied_out_as_a_sheet(
    opened: Open, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is copied out is a sheet that the commands read."""
    page = opened(load("tidal-clockwork")).page
    page.evaluate("document.getElementById('n-4').click()")
    page.tap("#t-trough-5-open")
    page.tap("#t-trough-1-closed")
    file = tmp_path / "sheet.toml"
    file.write_text(page.input_value("#copy"), encoding="utf-8")
    assert main(["compare", "tidal-clockwork", "--sheet", str(file)]) == 0
    assert "It agrees: 4 in the ball trough." in capsys.readouterr().out


def test_looks(opened: Open, pictures: Path) -> None:
    """On a phone: no horizontal scroll, nothing too small to tap, no serious fault by axe-core."""
    seen = opened(load("basalt-freight"))
    seen.page.tap("#assumed summary")
    seen.page.tap("#p-ready")
    seen.page.tap("#t-trough-5-closed")
    seen.page.tap("#feeding summary")
    seen.check()
    assert seen.small_targets() == []
    seen.page.screenshot(path=pictures / "file-360.png", full_page=True)
