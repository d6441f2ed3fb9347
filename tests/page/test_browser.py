"""The page in a real browser: the whole job by taps alone, by keys alone, and over a killed server."""

from __future__ import annotations

import os
import re
import signal
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from simrig import history, load
from simrig.diagnosis.bench_case import Case
from simrig.diagnosis.benches import Bench
from simrig.diagnosis.checks import check_named
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import observe
from simrig.faults.candidates import fault_named, possible_faults
from simrig.proving.plan import prove
from simrig.world.phases import Conditions
from tests.page.conftest import DESKTOP, PHONE, Watched
from tests.page.serving import Served, process, serving

pytest.importorskip("starlette", reason="the page needs Starlette")
MACHINE = "tidal-clockwork"
PATIENCE = 180_000
FULL = bool(os.environ.get("SIMRIG_FULL"))


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The page, for this computer alone."""
    with serving(tmp_path_factory.mktemp("page")) as found:
        yield found


def _phone(browser: Any) -> Any:
    return browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)


def _settled(page: Any, count: str) -> None:
    """Wait until everything tapped is on the disk and the answer is to what was tapped."""
    _until(page, f"document.getElementById('count').textContent.includes({count!r})"
           " && document.querySelector('.verdict') !== null")  # fmt: skip


def _until(page: Any, holds: str) -> None:
    """Ask until something holds; the page's own policy forbids the driver's way of asking."""
    end = time.monotonic() + PATIENCE / 1000
    while not _holds(page, holds):
        assert time.monotonic() < end, holds
        time.sleep(0.05)


def _holds(page: Any, holds: str) -> bool:
    """Whether something holds; a tap before the script is there sends the form, and loads again."""
    from playwright.sync_api import Error

    try:
        return bool(page.evaluate(holds))
    except Error as error:
        if "navigation" not in str(error):
            raise
        return False


class _Machine:
    """A machine with one thing wrong in it, at which somebody does the checks."""

    def __init__(self, machine: str, fault: str, balls: int) -> None:
        profile = load(machine)
        self.fault = fault_named(possible_faults(profile), fault)
        conditions = Conditions(balls=balls)
        sheet = Sheet(observation=observe(profile), conditions=conditions)
        self.bench = Bench.of(profile, [sheet])

    def result(self, check: str, offered: list[str]) -> str:
        """What a check shows at this machine."""
        made = check_named(self.bench.checks, check)
        can = made.outcomes(Case(ground=made.ground, faults=(self.fault,)))
        return next(result for result in offered if result in can)


def _check_until_told_apart(page: Any, press: Callable[[str], None]) -> int:
    """Do the checks that the page asks for, truthfully; a few of them unless all are wanted."""
    machine = _Machine(MACHINE, "emitter-dead:trough-4", 3)
    done = 0
    while True:
        page.wait_for_selector("#causes .causes", timeout=PATIENCE)
        if not page.query_selector(".next") or (done == 1 and not FULL):
            return done
        check = page.get_attribute(".next", "data-check")
        offered = [one.get_attribute("data-result") for one in page.query_selector_all(".answer")]
        result = machine.result(check, offered)
        press(f".answer[data-result='{result}']")
        done += 1
        _until(page, f"!document.querySelector('.next[data-check={check}]')")


def _jobs(served: Served) -> list[history.Job]:
    assert served.desk.store is not None
    with history.open_store(served.desk.store) as store:
        return store.find(history.Job)


def test_dark_emitter_by_taps_alone(browser: Any, served: Served, pictures: Path) -> None:
    """On a phone, from choosing the machine to the filed entry, with nothing but taps."""
    context = _phone(browser)
    seen = Watched(context.new_page())
    page = seen.page
    page.goto(served.base)
    seen.check()
    page.tap(f"button[value={MACHINE}]")
    page.wait_for_selector("#job[data-ready]")
    assert "must read" in page.inner_text("#sheet")  # one tap to the expected readings
    page.tap("#assumed summary")
    page.tap("#n-3")
    page.wait_for_selector("#n-3[aria-pressed=true]")
    _until(page, "document.querySelector('#h-trough small').textContent == '3 of 5'")
    page.tap("#t-trough-4-closed")
    page.tap("#agree")
    _settled(page, "23 of 23 looked at, 1 differ")
    seen.check()
    assert seen.small_targets() == []
    text = page.inner_text("#answer")
    assert "It differs at 1 sensor." in text
    assert "ball trough position 4: must read open, you saw closed" in text
    page.screenshot(path=pictures / "story-360-sheet.png", full_page=True)
    page.tap("#ask")
    page.wait_for_selector("#causes .causes", timeout=PATIENCE)
    assert "Not as it must be at trough-4." in page.inner_text("#causes")
    assert "Do this next" in page.inner_text("#causes")
    page.screenshot(path=pictures / "story-360-causes.png", full_page=True)
    checks = _check_until_told_apart(page, page.tap)
    seen.check()
    assert seen.small_targets() == []
    page.screenshot(path=pictures / "story-360-checked.png", full_page=True)
    if FULL:
        assert "Only this is left: emitter LED dead at trough-4" in page.inner_text("#causes")
    page.tap("#feeding summary")
    page.tap("#f-0-right")
    page.wait_for_selector("#f-0-right[aria-pressed=true]")
    page.tap("#f-1-wrong")
    page.wait_for_selector("#f-1-wrong[aria-pressed=true]")
    assert f"2 of {len(prove(load(MACHINE)).steps)} steps" in page.inner_text("#feeding summary")
    assert "Feed ball 1 by hand" in page.inner_text("#steps")
    seen.check()
    page.tap("#to-file")
    page.wait_for_selector("input[name=found]", timeout=PATIENCE)
    seen.check()
    page.tap("label.pick:has(input[name=found]):has-text('trough-4') >> nth=0")
    page.tap("label.pick:has(input[value=yes])")
    page.tap("button.strong")
    page.wait_for_selector("text=Filed as job")
    seen.check()
    context.close()
    job = _jobs(served)[-1]
    assert job.state == "closed"
    assert ("emitter LED dead at trough-4" if FULL else "trough-4") in job.explanation
    with history.open_store(served.desk.store) as store:
        (sheet,) = store.find(history.Sheet, "job_id = ?", (job.id,))
        assert len(store.find(history.CheckMade, "job_id = ?", (job.id,))) == checks > 0
    assert sheet.conditions == {"balls": 3}
    assert sheet.readings["trough-4"] == "closed"
    assert sheet.readings["trough-5"] == "open"


class _Keys:
    """Somebody with a keyboard and nothing else."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def to(self, selector: str) -> None:
        """Go to an element by Tab or Shift+Tab alone."""
        for _ in range(400):
            where = self.page.evaluate(
                """(selector) => { const wanted = document.querySelector(selector);
                const here = document.activeElement;
                if (here === wanted) return 0;
                return here.compareDocumentPosition(wanted) & Node.DOCUMENT_POSITION_PRECEDING ? -1 : 1; }""",
                selector,
            )
            if not where:
                return
            self.page.keyboard.press("Tab" if where > 0 else "Shift+Tab")
        raise AssertionError(f"{selector} cannot be reached by the keyboard")

    def press(self, selector: str, key: str = "Enter") -> None:
        """Go to an element and press a key there."""
        self.to(selector)
        self.page.keyboard.press(key)


def test_dark_emitter_by_keys_alone(browser: Any, served: Served, pictures: Path) -> None:
    """At a desk, the same job with nothing but the keyboard."""
    context = browser.new_context(viewport=DESKTOP)
    seen = Watched(context.new_page())
    page, keys = seen.page, _Keys(seen.page)
    page.goto(served.base)
    keys.press(f"button[value={MACHINE}]")
    page.wait_for_selector("#job[data-ready]")
    keys.press("#assumed summary")
    keys.press("#n-3", "Space")
    _until(page, "document.querySelector('#h-trough small').textContent == '3 of 5'")
    keys.press("#t-trough-4-closed", "Space")
    keys.press("#agree")
    _settled(page, "23 of 23 looked at, 1 differ")
    keys.press("#ask")
    page.wait_for_selector("#causes .causes", timeout=PATIENCE)
    assert _check_until_told_apart(page, keys.press) > 0
    seen.check()
    page.screenshot(path=pictures / "story-desktop.png", full_page=True)
    keys.press("#to-file")
    page.wait_for_selector("input[name=found]", timeout=PATIENCE)
    keys.to("input[name=found]:checked")
    chosen = "document.querySelector('input[name=found]:checked').value"
    for _ in range(10):
        page.keyboard.press("ArrowDown")  # from the last round to the first
        if "trough-4" in page.evaluate(chosen):
            break
    keys.to("input[name=close]:checked")
    page.keyboard.press("ArrowUp")
    keys.press("button.strong")
    page.wait_for_selector("text=Filed as job")
    seen.check()
    context.close()
    job = _jobs(served)[-1]
    assert job.state == "closed"
    assert ("emitter LED dead at trough-4" if FULL else "trough-4") in job.explanation


def test_symbols_the_wrong_way_round(browser: Any, served: Served) -> None:
    """When everything is the opposite, the page says loudly that the symbols may be."""
    context = _phone(browser)
    page = context.new_page()
    page.goto(served.base)
    page.tap("button[value=orchard-signal]")
    for number in (1, 2, 3):
        page.tap(f"#t-trough-{number}-open")
    page.tap("#t-outhole-ball-closed")
    page.tap("#t-shooter-ball-closed")
    page.wait_for_selector(".loud")
    assert "Your symbols may be the wrong way round everywhere" in page.inner_text(".loud")
    context.close()


def test_undo_by_tap(browser: Any, served: Served) -> None:
    """A tap too many is taken back by one tap, on the sheet and on the disk."""
    context = _phone(browser)
    page = context.new_page()
    page.goto(served.base)
    page.tap(f"button[value={MACHINE}]")
    page.tap("#t-trough-1-open")
    page.wait_for_selector(".sensor.differs")
    page.wait_for_selector("#undo:not([disabled])")
    page.tap("#undo")
    page.wait_for_selector("#t-trough-1-open[aria-pressed=false]")
    _until(page, "document.getElementById('count').textContent.startsWith('0 of')")
    context.close()


def test_two_phones_at_one_job(browser: Any, served: Served) -> None:
    """What one taps appears at the other, who has the same job open."""
    one, other = _phone(browser), _phone(browser)
    first, second = one.new_page(), other.new_page()
    first.goto(served.base)
    first.tap(f"button[value={MACHINE}]")
    first.wait_for_selector("#job[data-ready]")
    second.goto(first.url)
    second.wait_for_selector("#job[data-ready]")
    first.tap("#t-trough-2-closed")
    second.wait_for_selector("#t-trough-2-closed[aria-pressed=true]")
    second.tap("#t-trough-3-open")
    first.wait_for_selector("#t-trough-3-open[aria-pressed=true]")
    one.close()
    other.close()


def _free_port() -> int:
    with socket.socket() as asking:
        asking.bind(("127.0.0.1", 0))
        return int(asking.getsockname()[1])


def test_a_killed_server_loses_no_answer(browser: Any, tmp_path: Path) -> None:
    """Killed in the middle and started again: the page reconnects, and every answer is there.

    Taps made while the server is away wait on the phone and arrive once.
    """
    port = _free_port()
    context = _phone(browser)
    page = context.new_page()
    with process(tmp_path, port=port) as (running, base):
        page.goto(base)
        page.tap(f"button[value={MACHINE}]")
        page.wait_for_selector("#job[data-ready]")
        page.tap("#t-trough-1-closed")
        _until(page, "document.querySelector('.verdict') !== null")
        os.kill(running.pid, signal.SIGKILL)
        running.wait(10)
        page.tap("#t-trough-2-open")
        page.tap("#t-lock-1-flickers")
        page.wait_for_selector("#line:not([hidden])")
        # The line was written at the first tap; it is written again when the second fails too.
        _until(
            page,
            "document.querySelector('#line').innerText.includes('2 taps are kept on this phone')",
        )
    with process(tmp_path, port=port):
        page.wait_for_selector("#line[hidden]", state="attached", timeout=PATIENCE)
        page.reload()
        for name in ("trough-1-closed", "trough-2-open", "lock-1-flickers"):
            assert page.get_attribute(f"#t-{name}", "aria-pressed") == "true"
        page.goto(base)
        assert "Go on with" in page.inner_text("main")
        taps = page.evaluate(
            "async () => (await (await fetch(document.querySelector('a.choice').href + '/seq')).json()).seq"
        )
        assert taps == 3
    context.close()


def test_without_scripts(browser: Any, served: Served) -> None:
    """A browser without scripts can do the whole sheet too: every button is part of a form."""
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(served.base)
    page.click(f"button[value={MACHINE}]")
    page.click("#t-trough-5-open")
    page.click("#agree")
    assert "ball trough position 5: must read closed, you saw open" in page.inner_text("#answer")
    page.goto(page.url + "?open=steps")
    page.click("#f-0-right")
    page.goto(page.url + "?open=steps")
    assert page.get_attribute("#f-0-right", "aria-pressed") == "true"
    page.click("#undo")
    page.click("#undo")
    page.click("#undo")
    assert "Tap what you see" in page.inner_text("#answer")
    context.close()


def test_only_the_server_is_asked(browser: Any, served: Served) -> None:
    """First load: under 150 KiB in all as it comes over the wire, from nowhere but the server."""
    context = _phone(browser)
    page = context.new_page()
    sizes: dict[str, int] = {}

    def add(answer: Any) -> None:
        if not answer.url.startswith("data:"):
            sizes[answer.url] = len(answer.body()) + len(str(answer.headers))

    page.on("requestfinished", lambda request: add(request.response()))
    page.goto(served.base)
    page.tap("button[value=basalt-freight]")
    page.wait_for_load_state("networkidle")
    context.close()
    assert sum(sizes.values()) < 150 * 1024
    assert all(url.startswith(served.base + "/") for url in sizes)


def test_a_phone_of_the_network(browser: Any, tmp_path: Path) -> None:
    """With ``--lan`` a phone gets in by its link, once; another without a link does not."""
    from simrig.page.serving import own_address

    if own_address() is None:
        pytest.skip("this computer is in no network")
    with process(tmp_path, "--lan", port=_free_port()) as (running, _):
        assert running.stdout is not None
        link = re.search(r"http://\S+/pair/\S+", running.stdout.readline())
        assert link
        address = link[0].partition("/pair/")[0]
        stranger, phone = _phone(browser), _phone(browser)
        outside, inside = stranger.new_page(), phone.new_page()
        assert outside.goto(address).status == 401
        assert "not paired" in outside.inner_text("body")
        seen = Watched(inside)
        inside.goto(link[0])
        seen.check()
        inside.tap("button.strong")
        inside.wait_for_selector("text=Which machine?")
        inside.tap(f"button[value={MACHINE}]")
        inside.tap("#t-trough-1-closed")
        inside.wait_for_selector(".verdict")
        outside.goto(link[0])
        assert "This link is not good" in outside.inner_text("h1")
        inside.goto(address)
        inside.tap("text=Let another phone in")
        inside.wait_for_selector(".code svg")
        seen.check()
        again = re.search(r"http://\S+/pair/[\w-]+", inside.inner_text("main"))
        assert again
        outside.goto(again[0])
        outside.tap("button.strong")
        outside.wait_for_selector("text=Which machine?")
        stranger.close()
        phone.close()
