"""A real browser for the tests that need one: the system's Chromium, driven by Playwright."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")


def chromium() -> str | None:
    """The path of the browser, if there is one."""
    named = os.environ.get("SIMRIG_CHROMIUM")
    return named or next((found for name in NAMES if (found := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """The browser, started once; skips where there is none."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = chromium()
    if path is None:
        pytest.skip("no Chromium on this machine; install the package chromium to run this")
    with sync_api.sync_playwright() as driver:
        # A container has no user namespaces for the browser's own sandbox.
        found = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture
def pictures(tmp_path: Path) -> Path:
    """Where screenshots are kept: a folder named in the environment, outside the repository."""
    named = os.environ.get("SIMRIG_PICTURES")
    if named:
        Path(named).mkdir(parents=True, exist_ok=True)
        return Path(named)
    return tmp_path


PHONE = {"width": 360, "height": 740}
DESKTOP = {"width": 1280, "height": 900}


class Watched:
    """A page of the browser with all that it complains about, and a look at how it stands."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.complaints: list[str] = []
        page.on("console", lambda one: one.type in ("error", "warning")
                and self.complaints.append(one.text))  # fmt: skip
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def check(self) -> None:
        """No horizontal scroll, no complaint, and axe-core finds no serious fault."""
        wide = self.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= self.page.viewport_size["width"]
        assert self.complaints == []
        assert _faults(self.page) == []

    def small_targets(self) -> list[str]:
        """What can be tapped and is smaller than 48 px in height, or narrower."""
        found: list[str] = self.page.evaluate(
            """() => [...document.querySelectorAll('button, summary, a.choice, .back, #count')]
            .filter((one) => one.offsetParent && (one.getBoundingClientRect().height < 47.9
              || one.getBoundingClientRect().width < 47.9)).map((one) => one.outerHTML)"""
        )
        return found


def _faults(page: Any) -> list[str]:
    """The serious and critical faults that axe-core finds (Deque's open rules for WCAG)."""
    carrier = pytest.importorskip("axe_playwright_python", reason="axe-core is not installed")
    script = (Path(carrier.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    # Beside the page's own policy, not past it: the driver runs it in the page's world.
    page.evaluate(f"() => {{ {script}; window.axeHere = axe; }}")
    found = page.evaluate("async () => (await axeHere.run()).violations")
    return [
        f"{one['id']}: {one['nodes'][0]['html'][:120]}"
        for one in found
        if one["impact"] in ("serious", "critical")
    ]
