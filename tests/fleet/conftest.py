"""Folders of made machines, and what an undisturbed run says of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fleet import make
from tests.fleet.command import Undisturbed, undisturbed

SEED = 1
COUNT = 20
FEW = 5


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twenty machines of up to 16 switches."""
    found = tmp_path_factory.mktemp("fleet")
    print(f"machines from seed {SEED}")
    assert len(list(make.write(found, COUNT, SEED, small=True))) == COUNT
    return found


@pytest.fixture(scope="session")
def few(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five of them, for what is done over and over."""
    found = tmp_path_factory.mktemp("few")
    for path in sorted(folder.iterdir())[:FEW]:
        (found / path.name).write_bytes(path.read_bytes())
    return found


@pytest.fixture(scope="session")
def whole(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    """One worker on the twenty machines."""
    return undisturbed(folder, tmp_path_factory.mktemp("whole") / "kept", "1")


@pytest.fixture(scope="session")
def small(few: Path, tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    """Two workers on the few machines."""
    return undisturbed(few, tmp_path_factory.mktemp("small") / "kept", "2")
