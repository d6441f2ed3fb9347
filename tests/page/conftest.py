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
