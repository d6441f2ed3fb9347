"""The command as a process of its own, for tests that kill it, and what a folder of machines needs."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import attrs
import pytest

from simrig.cli.main import main

ROOT = Path(__file__).parents[2]
ASKED = ("--singles", "1")
"""What the command is asked in most tests."""

PATIENCE = 60.0
"""Seconds after which a test gives up waiting."""


def answer(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    """What the command prints."""
    assert main(["campaign", *words]) == code
    return capsys.readouterr().out


def environment(**more: str) -> dict[str, str]:
    """The surroundings of the command: this repository first."""
    path = os.pathsep.join((str(ROOT), os.environ.get("PYTHONPATH", "")))
    return {**os.environ, "PYTHONPATH": path, **more}


def started(*words: str, **more: str) -> subprocess.Popen[bytes]:
    """The command, in a group of processes of its own, that Ctrl-C stops wherever tests run."""
    return subprocess.Popen(
        [sys.executable, "-m", "simrig", "campaign", *words], start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment(**more),
    )  # fmt: skip


@attrs.frozen
class Undisturbed:
    """A run that nothing stopped: what it says as JSON, and a copy of the work it kept."""

    said: str
    kept: Path

    def again(self, folder: Path) -> tuple[str, str]:
        """The options that take all of it from what was kept."""
        shutil.copy(self.kept, folder / "done")
        return "--keep", str(folder / "done")


def undisturbed(folder: Path, kept: Path, workers: str) -> Undisturbed:
    """Run the command in a process of its own."""
    words = [str(folder), *ASKED, "--workers", workers, "--json", "--keep", str(kept)]
    process = started(*words)
    said, told = process.communicate()
    assert process.returncode == 0, told
    return Undisturbed(said.decode(), kept)


def soon(holds: Callable[[], bool]) -> bool:
    """Wait until something holds, and return True; False where it never does."""
    end = time.monotonic() + PATIENCE
    while not holds():
        if time.monotonic() > end:
            return False
        time.sleep(0.002)
    return True


def until(holds: Callable[[], bool], process: subprocess.Popen[bytes]) -> bool:
    """Wait until something holds; False where the process ended before."""
    assert soon(lambda: holds() or process.poll() is not None), "waited in vain"
    return process.poll() is None


def size(path: Path) -> int:
    """Bytes of a file; 0 while it is not there."""
    return path.stat().st_size if path.exists() else 0


def lines(path: Path) -> int:
    """Whole lines of a file; 0 while it is not there."""
    return path.read_bytes().count(b"\n") if path.exists() else 0


def children(process: subprocess.Popen[bytes]) -> list[int]:
    """The processes that a process has started (Linux)."""
    listed = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    return [int(word) for word in listed.read_text().split()]


def gone(pid: int) -> bool:
    """Whether a process has ended, whoever waits for it."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] in "ZX"
    except OSError:
        return True


def kill_group(process: subprocess.Popen[bytes]) -> None:
    """Kill a process and all that it started, at once."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    for stream in (process.stdout, process.stderr):
        assert stream is not None
        stream.close()
