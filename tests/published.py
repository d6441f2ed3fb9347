"""Published material that tests are held against, where it is at hand."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def published(name: str) -> Path:
    """Return a published file or folder; skip the test, saying why, where it is not at hand.

    It is looked for in the folder that ``SIMRIG_PUBLISHED`` names, and in folders
    called ``data`` beside the project.
    """
    named = os.environ.get("SIMRIG_PUBLISHED")
    folders = [Path(named)] if named else sorted(ROOT.parent.glob("*/data"))
    for folder in folders:
        if (folder / name).exists():
            return folder / name
    pytest.skip(f"{name} is not at hand; name its folder in SIMRIG_PUBLISHED")
