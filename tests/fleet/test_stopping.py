"""Stopped, killed, its workers lost: a campaign loses nothing of what it has done."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from tests.fleet.command import (
    ASKED,
    Undisturbed,
    answer,
    children,
    environment,
    gone,
    kill_group,
    lines,
    size,
    soon,
    started,
    until,
)
from tests.fleet.conftest import FEW
from tests.host.plugin_site import put

KILLS = 4
ON_LINUX = pytest.mark.skipif(not os.path.exists("/proc/self/task"), reason="needs Linux's /proc")


def test_killed_at_any_moment_it_goes_on_where_it_stopped(
    few: Path, small: Undisturbed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The whole group of processes is killed, again and again; the same command then says what
    an undisturbed run says, byte for byte, and does not do again what it had done."""
    seed = int(os.environ.get("SIMRIG_KILL_SEED", "1"))
    chance = Random(seed)
    kept = tmp_path / "kept"
    asked = (str(few), *ASKED, "--workers", "2", "--keep", str(kept))
    # Counted in bytes of the file, from its first one on: within lines as well as between.
    moments = sorted(chance.sample(range(1, size(small.kept)), KILLS))
    for moment in moments:
        process = started(*asked, "--json")
        until(lambda moment=moment: size(kept) >= moment, process)
        kill_group(process)
    told = f"seed {seed}, killed at {moments} bytes"
    stayed = kept.read_bytes().splitlines(keepends=True)[: lines(kept)]
    said = answer(capsys, *asked, "--json")
    assert said == small.said, told
    finished = kept.read_bytes().splitlines(keepends=True)
    assert finished[: len(stayed)] == stayed, told
    assert len(finished) == 1 + FEW, told  # whose work it is, and each machine once
    assert answer(capsys, *asked) == answer(capsys, str(few), *ASKED, *small.again(tmp_path)), told


@ON_LINUX
def test_a_killed_worker_costs_nothing(few: Path, small: Undisturbed, tmp_path: Path) -> None:
    """One of two worker processes is killed in the middle: same answer, same code."""
    kept = tmp_path / "kept"
    process = started(str(few), *ASKED, "--workers", "2", "--json", "--keep", str(kept))
    assert until(lambda: lines(kept) > 1, process)
    os.kill(children(process)[0], signal.SIGKILL)
    said, _ = process.communicate()
    assert process.returncode == 0
    assert said.decode() == small.said


RULE = """
import os, signal, time
from simrig.host import hookimpl
from simrig.vetting.rule import Rule

def look(subject):
    if subject.profile.id == "made-1-002":
        {does}
    return iter(())

@hookimpl
def simrig_rules():
    return [Rule(code="MADE-01", name="made", level="note", what="w", why="w", example="e",
                 mend="m", limits="l", look=look)]
"""


def brought(folder: Path, does: str) -> dict[str, str]:
    """Surroundings with a plug-in that does something when the third machine is vetted."""
    put(folder / "site", "made", RULE.format(does=does))
    path = os.pathsep.join((str(folder / "site"), environment()["PYTHONPATH"]))
    return {"XDG_CACHE_HOME": str(folder / "cache"), "PYTHONPATH": path}


@pytest.fixture
def without_end(few: Path, tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A command that has done two machines, and works on a third without end."""
    kept = tmp_path / "kept"
    files = [str(path) for path in sorted(few.iterdir())[:3]]
    more = brought(tmp_path, "time.sleep(3600)")
    process = started(*files, *ASKED, "--workers", "2", "--keep", str(kept), **more)
    try:
        assert until(lambda: lines(kept) == 3, process)
        yield process
    finally:
        kill_group(process)


@ON_LINUX
def test_workers_end_with_a_command_that_is_killed(without_end: subprocess.Popen[bytes]) -> None:
    """They do not go on without it, nor wait for ever for work that nobody sends."""
    workers = children(without_end)
    assert len(workers) == 2
    without_end.kill()
    without_end.communicate()
    assert soon(lambda: all(gone(pid) for pid in workers))


@ON_LINUX
def test_stopped_by_hand_it_says_where_its_work_is(
    without_end: subprocess.Popen[bytes], tmp_path: Path
) -> None:
    """Told to stop, the command ends its workers in the middle of their work, and ends with 130."""
    workers = children(without_end)
    without_end.send_signal(signal.SIGINT)
    assert soon(lambda: without_end.poll() is not None)
    _, told = without_end.communicate()
    assert without_end.returncode == 130
    assert told.decode().splitlines()[-2:] == [
        f"what is done is kept in {tmp_path / 'kept'}: the same command goes on", "stopped"
    ]  # fmt: skip
    assert soon(lambda: all(gone(pid) for pid in workers))


def test_a_machine_that_kills_its_worker_is_named(
    few: Path, small: Undisturbed, tmp_path: Path
) -> None:
    """Each time: it is told by its file, ends with 2, and all others have their result."""
    more = brought(tmp_path, "os.kill(os.getpid(), signal.SIGKILL)")
    ended = subprocess.run(
        [sys.executable, "-m", "simrig", "campaign", str(few), *ASKED, "--workers", "2", "--json"],
        capture_output=True, env=environment(**more),
    )  # fmt: skip
    assert ended.returncode == 2, ended.stderr
    found = json.loads(ended.stdout)
    (error,) = found["errors"]
    assert error["file"].endswith("made-1-002.toml")
    assert "its worker process ended each time" in error["message"]
    others = json.loads(small.said)["machines"]
    assert found["machines"] == [one for one in others if one["machine"] != "made-1-002"]
