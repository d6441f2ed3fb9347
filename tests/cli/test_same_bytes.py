"""Same input, same bytes: JSON does not depend on the hash seed of the process."""

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
    print("==", *words, flush=True)
    print("code", main(words), flush=True)
"""


def _calls(machine: str) -> list[list[str]]:
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
        ["run", str(SCENARIO), "--json"],
        ["checks", machine, "--json"],
        ["machines", "--json"],
    ]


def _bytes(machine: str, seed: str) -> bytes:
    ended = subprocess.run(
        [sys.executable, "-c", RUN.format(calls=_calls(machine))],
        capture_output=True, env={**os.environ, "PYTHONHASHSEED": seed}, cwd=ROOT,
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr.decode()
    return ended.stdout


MACHINES = ("basalt-freight", "tidal-clockwork", "orchard-signal")


@pytest.mark.parametrize("machine", MACHINES if "SIMRIG_FULL" in os.environ else MACHINES[:1])
def test_answers_do_not_depend_on_the_hash_seed(machine: str) -> None:
    """Every answer as JSON, and the CSV export, is equal byte for byte over two hash seeds."""
    one, other = _bytes(machine, "1"), _bytes(machine, "4242")
    assert one.count(b"==") >= 10
    assert b"code 2" not in one
    assert b"code 70" not in one
    assert one == other
