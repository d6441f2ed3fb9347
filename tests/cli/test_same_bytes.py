"""Same input, same bytes: answers depend on no hash seed and on no number of workers."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SCENARIO = ROOT / "scenarios/orchard-signal/moves.scenario.toml"
RUN = """
import sys
from simrig.cli.main import main
for words in {calls!r}:
    print("==", words[0], flush=True)
    print("code", main(words), flush=True)
"""


def _calls(machine: str, workers: str) -> list[list[str]]:
    closed = {
        "tidal-clockwork": "trough-1,trough-2,trough-4",
        "basalt-freight": "trough-1,side-2,freight-1",
        "orchard-signal": "trough-3,trough-2",
    }[machine]
    return [
        ["expect", machine, "--json"],
        ["compare", machine, "--closed", closed, "--json"],
        ["locate", machine, "--closed", closed, "--json"],
        ["diagnose", machine, "--closed", closed, "--faults", "1", "--json"],
        ["show", machine, "--json"],
        ["export", machine, "--format", "csv"],
        ["vet", machine, "--json"],
        ["diff", "tidal-clockwork", machine, "--json"],
        ["campaign", machine, "--singles", "3", "--seed", "3", "--workers", workers, "--json"],
        ["record", str(SCENARIO), "--seed", "5", "-o", "run.csv", "--json"],
        ["prove", machine, "--json"],
        ["run", str(SCENARIO), "--json"],
        ["checks", machine, "--json"],
        ["machines", "--json"],
    ]


def _bytes(machine: str, seed: str, workers: str, folder: Path) -> bytes:
    folder.mkdir()
    path = os.pathsep.join((str(ROOT), os.environ.get("PYTHONPATH", "")))
    ended = subprocess.run(
        [sys.executable, "-c", RUN.format(calls=_calls(machine, workers))],
        capture_output=True, cwd=folder,
        env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": path},
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr.decode()
    return ended.stdout + (folder / "run.csv").read_bytes()


MACHINES = ("orchard-signal", "tidal-clockwork", "basalt-freight")


@pytest.mark.parametrize("machine", MACHINES if "SIMRIG_FULL" in os.environ else MACHINES[:1])
def test_answers_do_not_depend_on_the_hash_seed(machine: str, tmp_path: Path) -> None:
    """Every answer as JSON, the CSV export and a recorded log are equal byte for byte over two hash
    seeds, and over one and two workers."""
    one = _bytes(machine, "1", "1", tmp_path / "one")
    other = _bytes(machine, "4242", "2", tmp_path / "other")
    assert one.count(b"== ") == len(_calls(machine, "1"))
    assert b"code 2" not in one
    assert b"code 70" not in one
    assert one == other
