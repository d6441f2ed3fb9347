"""The index made anew: every plug-in tried out, each in a process of its own, some at a time."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import Any, Final

from simrig.errors import Problem
from simrig.host.entries import Entry, installed
from simrig.host.found import Index, Kind, Machine, Made
from simrig.host.stamps import Stamp

TIME_LIMIT: Final = 15.0
"""Seconds that a plug-in may take while it is tried out."""

AT_ONCE: Final = 4

_CHILD: Final = (
    "import json, sys; sys.path[:] = json.loads(sys.argv[1])['path']; "
    "from simrig.host.probe import main; main(sys.argv[1])"
)


class Tried:
    """What is known of one plug-in after it was tried out."""

    def __init__(self, entry: Entry) -> None:
        self.entry = entry
        self.machines: list[Machine] = []
        self.kinds: list[Kind] = []
        self.files: list[Stamp] = []
        self.problems: list[Problem] = []
        self.hooks: list[str] = []
        self.usable = False
        self.timed_out = False


def make(path: list[str], *, seconds: float = TIME_LIMIT) -> Made:
    """Try out every plug-in on a search path and return what they bring."""
    entries = list(installed(path))
    with ThreadPoolExecutor(max_workers=AT_ONCE) as pool:
        tried = list(pool.map(lambda entry: _try(entry, path, seconds), entries))
    usable = [plugin for plugin in tried if plugin.usable]
    machines = [machine for plugin in usable for machine in plugin.machines]
    problems = [problem for plugin in tried for problem in plugin.problems]
    kinds: dict[str, Kind] = {}
    for plugin in usable:
        for kind in plugin.kinds:
            if kinds.setdefault(kind.id, kind) != kind:
                problems.append(
                    plugin.entry.problem(
                        "in simrig_sensor_kinds",
                        f'another plug-in already brings the kind "{kind.id}"; '
                        "that one is used; give yours another id",
                    )
                )
    problems += _twice(usable)
    return Made(
        found=Index(
            machines=tuple(sorted(dict.fromkeys(machines))),
            kinds=tuple(kinds.values()),
            accepted=tuple(plugin.entry for plugin in usable),
            refused=tuple(plugin.entry for plugin in tried if not plugin.usable),
            problems=tuple(problems),
            hooks=tuple(sorted({hook for plugin in usable for hook in plugin.hooks})),
        ),
        rests_on=tuple(sorted({file for plugin in tried for file in plugin.files})),
        timed_out=any(plugin.timed_out for plugin in tried),
    )


def _twice(usable: list[Tried]) -> list[Problem]:
    brought = [(plugin.entry, machine) for plugin in usable for machine in plugin.machines]
    times = Counter(name for name, _ in {(machine.id, machine.path) for _, machine in brought})
    problems = []
    for entry, machine in brought:
        if times[machine.id] > 1:
            others = sorted(
                {
                    other.source
                    for _, other in brought
                    if other.id == machine.id and other.path != machine.path
                }
            )
            problems.append(
                entry.problem(
                    "in its profiles",
                    f'the machine "{machine.id}" in {machine.path} is also brought by '
                    f"{', '.join(others)}; uninstall one, or name a profile file by its path",
                )
            )
    return problems


def _try(entry: Entry, path: list[str], seconds: float) -> Tried:
    tried = Tried(entry)
    with tempfile.TemporaryDirectory(prefix="simrig-", ignore_cleanup_errors=True) as folder:
        report, printed = os.path.join(folder, "report"), os.path.join(folder, "printed")
        work = os.path.join(folder, "work")
        os.mkdir(work)
        search = [os.path.abspath(part) for part in path]
        request = json.dumps({"path": search, "value": entry.value, "report": report})
        with open(printed, "wb") as output:
            process = subprocess.Popen(
                [sys.executable, "-c", _CHILD, request],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.DEVNULL,
                cwd=work,
                start_new_session=True,
            )
            try:
                process.wait(seconds)
            except subprocess.TimeoutExpired:
                tried.timed_out = True
            finally:
                _end(process)
        _understand(tried, _lines(report), process.returncode, seconds)
    return tried


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the process and whatever it started."""
    with suppress(OSError, AttributeError):  # Windows has no groups of processes
        os.killpg(process.pid, signal.SIGKILL)
    with suppress(OSError):
        process.kill()
    process.wait()


def _lines(report: str) -> list[dict[str, Any]]:
    lines = []
    with suppress(OSError), open(report, encoding="ascii", errors="replace") as file:
        for line in file:
            try:
                lines.append(json.loads(line))
            except ValueError:
                break
    return lines


def _understand(
    tried: Tried, lines: list[dict[str, Any]], returned: int | None, seconds: float
) -> None:
    entry, stage, done, stopped = tried.entry, "on import", False, False
    for line in lines:
        stage = line.get("stage", stage)
        done = done or line.get("done", False)
        for path, content, changed, size in line.get("files", ()):
            tried.files.append((path, content, changed, size))
        if "problem" in line:
            tried.problems.append(entry.problem(*line["problem"]))
        tried.hooks += line.get("hooks", ())
        if "kinds" in line:
            tried.kinds += [Kind(*kind) for kind in line["kinds"]]
        if "machine" in line:
            name, title, balls, path = line["machine"]
            tried.machines.append(Machine(name, title, balls, path, entry.source, entry.name))
        if "stopped" in line:
            stopped = True
            tried.problems.append(entry.problem(*line["stopped"]))
    if tried.timed_out:
        tried.problems.append(
            entry.problem(
                stage,
                f"it was not done within {seconds:g} seconds; have it end sooner; it is left out",
            )
        )
    elif not done and not stopped:
        how = f"signal {-returned}" if returned is not None and returned < 0 else f"code {returned}"
        tried.problems.append(
            entry.problem(stage, f"it ended the whole process ({how}); raise an error instead")
        )
    tried.usable = done and not tried.timed_out
