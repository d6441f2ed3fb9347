"""One plug-in tried out in a process of its own.

The parent starts this process with limits of time and memory and reads the
report, a file with one JSON line for each stage that was reached, so that it
knows where a plug-in stopped however it ended.  The file is opened anew for each
line: a plug-in cannot close it by closing everything.

What comes back is data: the profiles with their titles, the kinds of sensor, and
the files whose change makes the report stale.
"""

from __future__ import annotations

import json
import os
import sys
import sysconfig
from collections.abc import Iterator
from contextlib import suppress
from itertools import islice
from pathlib import Path
from typing import Any, Final

MEMORY_LIMIT: Final = 2 << 30
"""Bytes of address space that a plug-in may take while it is tried out."""

OUTPUT_LIMIT: Final = 16 << 20
"""Bytes that it may write into one file."""

MOST_FILES: Final = 500
"""Source files of its package that are watched for changes."""


class Stopped(Exception):  # noqa: N818
    """The plug-in cannot be used: at which stage, and why."""

    def __init__(self, stage: str, message: str) -> None:
        super().__init__(message)
        self.stage = stage
        self.message = message


class Report:
    """The file to which this process says how far it came."""

    def __init__(self, path: str) -> None:
        self._path = path

    def say(self, **facts: Any) -> None:
        """Append one line."""
        with open(self._path, "a", encoding="ascii") as file:
            file.write(json.dumps(facts) + "\n")

    def stage(self, stage: str) -> None:
        """Say which stage begins."""
        self.say(stage=stage)

    def problem(self, stage: str, message: str) -> None:
        """Say what is wrong; the plug-in is used all the same."""
        self.say(problem=[stage, message])


class Manners:
    """What a plug-in must leave alone: standard output and the working folder."""

    def __init__(self) -> None:
        self._folder = os.getcwd()
        self._written = 0

    def check(self, stage: str) -> None:
        """Raise Stopped when the plug-in touched any of it at this stage."""
        try:
            sys.stdout.flush()
            written = os.fstat(1).st_size
        except (OSError, ValueError):
            raise Stopped(stage, "it closed standard output; leave that open") from None
        if written != self._written:
            raise Stopped(
                stage, f"it printed {written - self._written} bytes; a plug-in must be quiet"
            )
        try:
            folder = os.getcwd()
        except OSError:
            folder = ""
        if folder != self._folder:
            raise Stopped(stage, "it changed the working folder; leave that alone")


def words(error: BaseException) -> str:
    """Return an error in one line, cut to a readable length."""
    if isinstance(error, SystemExit):
        return "it ends the whole program (SystemExit); return instead"
    if isinstance(error, RecursionError):
        return "it calls itself without end (RecursionError)"
    if isinstance(error, MemoryError):
        return "it asks for more memory than a plug-in may have (MemoryError)"
    try:
        text = " ".join(str(error).split())[:300]
    except Exception:
        text = ""
    place = f" in line {error.lineno} of {error.filename}" if isinstance(error, SyntaxError) else ""
    return f"{type(error).__name__}{place}: {text}" if text else f"{type(error).__name__}{place}"


def probe(value: str, report: Report) -> None:
    """Try one plug-in out; raise Stopped where it cannot be used."""
    from simrig.host.acceptance import refusals

    manners = Manners()
    report.stage("on import")
    report.say(files=list(_package(value)))
    plugin = _guarded("on import", lambda: loaded(value))
    manners.check("on import")
    report.stage("on registration")
    messages = _guarded("on registration", lambda: list(refusals(plugin)))
    if messages:
        raise Stopped("on registration", "; ".join(messages))
    for hook in (
        "simrig_profiles",
        "simrig_sensor_kinds",
        "simrig_fault_kinds",
        "simrig_rules",
        "simrig_readers",
        "simrig_checks",
        "simrig_questions",
    ):
        function = getattr(plugin, hook, None)
        if function is not None:
            _try_hook(hook, function, report, manners)


def loaded(value: str) -> object:
    """Import what an entry point names: a module, or something in it."""
    from importlib import import_module

    module, _, attribute = value.partition(":")
    found: object = import_module(module.strip())
    for step in filter(None, attribute.strip().split(".")):
        found = getattr(found, step)
    return found


def call(function: Any, **arguments: Any) -> Any:
    """Call a hook with those of the arguments that it takes."""
    import inspect

    taken = inspect.signature(function).parameters
    return function(**{name: value for name, value in arguments.items() if name in taken})


def _try_hook(hook: str, function: Any, report: Report, manners: Manners) -> None:
    from simrig.host.acceptance import sorted_out

    stage = f"in {hook}"
    report.stage(stage)
    found, messages = _guarded(stage, lambda: sorted_out(hook, call(function, profile=_sample())))
    manners.check(stage)
    if messages:
        raise Stopped(stage, "; ".join(messages[:3]))
    if hook == "simrig_profiles":
        for path in found:
            _profile(Path(os.path.abspath(path)), report)
    elif hook != "simrig_sensor_kinds":
        report.say(hooks=[hook])
    else:
        report.say(kinds=[[kind.id, kind.title, kind.technology, kind.lugs] for kind in found])


def _profile(path: Path, report: Report) -> None:
    from simrig.errors import Problem
    from simrig.host import folders
    from simrig.host.stamps import stamp

    seen = stamp(str(path)), stamp(str(path.parent))
    found = folders.read(path)
    report.say(files=[list(entry) for entry in seen])
    if isinstance(found, folders.Summary):
        report.say(machine=[*found, str(path)])
    elif isinstance(found, Problem):
        line = "" if found.line is None else f":{found.line}"
        report.problem("in its profiles", f"{path}{line}: {found.message}")
    else:
        report.problem("in its profiles", f"{path}: {folders.NO_PROFILE}")


def _sample() -> Any:
    """A machine small enough for any hook to answer at once."""
    from simrig.profile.layout import Balls
    from simrig.profile.machine import Profile

    return Profile(format=1, id="sample", balls=Balls(installed=1))


def _guarded(stage: str, work: Any) -> Any:
    try:
        return work()
    except BaseException as error:
        raise Stopped(stage, words(error)) from None


def _package(value: str) -> Iterator[list[Any]]:
    """Stamp the sources of the package that an entry point names, before it is imported."""
    from importlib.util import find_spec

    from simrig.host.stamps import stamp

    with suppress(Exception):
        spec = find_spec(value.partition(":")[0].partition(".")[0].strip())
        for folder in (spec.submodule_search_locations or ()) if spec else ():
            files = [str(file) for file in islice(Path(folder).rglob("*.py"), MOST_FILES)]
            yield from (list(stamp(file)) for file in [folder, *files])
        if spec is not None and spec.has_location and spec.origin:
            yield list(stamp(spec.origin))


def _sources(modules: set[str]) -> Iterator[list[Any]]:
    """Stamp the files of modules that neither Python nor simrig itself brought."""
    from simrig.host.stamps import stamp

    own = str(Path(__file__).resolve().parents[1]) + os.sep
    library = tuple(
        str(Path(sysconfig.get_path(name)).resolve()) + os.sep for name in ("stdlib", "platstdlib")
    )
    for name in sorted(modules):
        file = getattr(sys.modules.get(name), "__file__", None)
        if not isinstance(file, str):
            continue
        resolved = os.path.realpath(file)
        inside = resolved.startswith(library) and "site-packages" not in resolved
        if not inside and not resolved.startswith(own):
            yield list(stamp(file))


def _limit() -> None:
    try:
        import resource
    except ImportError:  # pragma: no cover - Windows: there the time limit stands alone
        return
    for limit, most in (
        (resource.RLIMIT_AS, MEMORY_LIMIT),
        (resource.RLIMIT_FSIZE, OUTPUT_LIMIT),
        (resource.RLIMIT_CORE, 0),
    ):
        with suppress(OSError, ValueError):
            resource.setrlimit(limit, (most, most))


def main(request: str) -> None:
    """Run as the child process: ``request`` is JSON with the search path, the entry, the report."""
    wanted = json.loads(request)
    sys.path[:] = wanted["path"]
    _limit()
    report = Report(wanted["report"])
    before = set(sys.modules)
    try:
        probe(wanted["value"], report)
        report.say(done=True)
    except Stopped as stopped:
        report.say(stopped=[stopped.stage, stopped.message])
    except BaseException as error:
        report.say(stopped=["while it was tried out", words(error)])
    report.say(files=list(_sources(set(sys.modules) - before)))
    os._exit(0)
