"""Sessions of pytest in processes of their own: to see what each test runs, and to try mutants.

A session is forked from a process that has imported pytest and Hypothesis and nothing of
simrig.  Every process ends when the time of its processor is up, whatever else runs on
the machine.
"""

from __future__ import annotations

import gc
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import resource
import signal
import sys
import time
import types
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NoReturn

import coverage
import pytest
from hypothesis import HealthCheck, Phase, settings

from tests.biting.operators import Mutant

KILLED, SURVIVED, TIMED_OUT = "killed", "survived", "timed out"

SLACK_S, TIMES = 1.0, 8.0
"""What a test may take of the processor under a mutant: so many seconds, and so many
times what it takes without one."""

MEMORY = 3 << 30
# Plain asserts: else pytest would load simrig's modules itself, as those of a plug-in of its own.
QUIET = ("-q", "-s", "--tb=line", "--assert=plain", "-p", "no:cacheprovider", "-W", "ignore")
FAILED = 1

Seconds = Mapping[str, float]
"""Tests by their ids, and what each takes of the processor."""


class Deterministic:
    """Hypothesis with the same examples each time, and no shrinking of those that fail."""

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self) -> None:
        settings.register_profile(
            "biting",
            derandomize=True,
            deadline=None,
            database=None,
            phases=(Phase.explicit, Phase.generate),
            report_multiple_bugs=False,
            suppress_health_check=list(HealthCheck),
        )
        settings.load_profile("biting")


class Watching(Deterministic):
    """Writes for each test what it takes of the processor and the lines that it runs."""

    def __init__(self, folders: Sequence[str], file: Path) -> None:
        self.coverage = coverage.Coverage(
            data_file=None, include=[f"{folder}/*" for folder in folders], config_file=False
        )
        self.file = file
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.coverage.switch_context(item.nodeid)
        began = time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = time.process_time() - began
            self.coverage.switch_context("")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed or report.skipped:
            self.failed.add(report.nodeid)

    def pytest_sessionstart(self) -> None:
        self.coverage.start()

    def pytest_sessionfinish(self) -> None:
        self.coverage.stop()
        data = self.coverage.get_data()
        lines: dict[str, dict[int, list[str]]] = {}
        for file in data.measured_files():
            by_line = data.contexts_by_lineno(file)
            lines[os.path.relpath(file)] = {
                line: [test for test in tests if test in self.seconds]
                for line, tests in by_line.items()
            }
        for test in self.failed:
            self.seconds.pop(test, None)
        found = {"seconds": self.seconds, "lines": lines, "left_out": sorted(self.failed)}
        self.file.write_text(json.dumps(found), encoding="utf-8")


class Trying(Deterministic):
    """Collects once; then forks for each mutant, changes the functions there and runs tests."""

    def __init__(
        self,
        work: Sequence[tuple[int, Mutant, Sequence[str]]],
        seconds: Seconds,
        jobs: int,
        told: Callable[[int, str, str], None],
    ) -> None:
        self.work, self.seconds, self.jobs, self.told = work, seconds, jobs, told
        self.killed: dict[str, Counter[str]] = {}

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = {item.nodeid: item for item in session.items}
        functions = _functions({mutant.file for _, mutant, _ in self.work})
        gc.collect()
        gc.freeze()
        running: dict[int, tuple[int, str, int]] = {}
        for number, mutant, tests in self.work:
            reader, writer = os.pipe()
            process = os.fork()
            if not process:
                os.close(reader)
                # What killed a mutant of this file is likely to kill the next one.
                killed = self.killed.get(mutant.file, Counter())
                first = sorted(tests, key=lambda test: -killed[test])
                self._child(mutant, functions, [items[test] for test in first], writer)
            os.close(writer)
            running[process] = number, mutant.file, reader
            while len(running) >= self.jobs:
                self._await(running)
        while running:
            self._await(running)
        return True

    def _await(self, running: dict[int, tuple[int, str, int]]) -> None:
        process, status = os.wait()
        number, file, reader = running.pop(process)
        with os.fdopen(reader, "rb") as pipe:
            last = pipe.read().decode().splitlines()
        found = verdict(status)
        if found == KILLED and last:
            self.killed.setdefault(file, Counter())[last[-1]] += 1
        self.told(number, found, last[-1] if last else "")

    def _child(
        self,
        mutant: Mutant,
        functions: Mapping[tuple[str, str, int], list[types.FunctionType]],
        items: Sequence[pytest.Item],
        writer: int,
    ) -> NoReturn:
        try:
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            changed = change_functions(mutant, functions)
        except ValueError:
            changed = False
        if not changed:
            os._exit(NOT_HERE)
        for item, following in zip(items, [*items[1:], None], strict=True):
            os.write(writer, f"{item.nodeid}\n".encode())
            limit(self.seconds[item.nodeid])
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        os._exit(0)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            os._exit(FAILED)


NOT_HERE = 99
"""Status of a process that could not change the function where it stands."""


class FirstFailure(Deterministic):
    """Runs tests in the order given, each with its own limit, and ends at the first failure."""

    def __init__(self, tests: Sequence[str], seconds: Seconds, writer: int) -> None:
        self.tests, self.seconds, self.writer = tests, seconds, writer

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        by_name = {item.nodeid: item for item in items}
        # A test that a mutant leaves uncollected is one that it fails.
        if any(test not in by_name for test in self.tests):
            os._exit(FAILED)
        items[:] = [by_name[test] for test in self.tests]

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> None:
        os.write(self.writer, f"{item.nodeid}\n".encode())
        limit(self.seconds[item.nodeid])

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            os._exit(FAILED)


def verdict(status: int) -> str:
    """What the end of a process says of its mutant."""
    if os.WIFSIGNALED(status):
        return TIMED_OUT if os.WTERMSIG(status) == signal.SIGPROF else KILLED
    code = os.waitstatus_to_exitcode(status)
    return {0: SURVIVED, NOT_HERE: ""}.get(code, KILLED)


def limit(seconds: float) -> None:
    """Let the process end when a test takes many times what it should."""
    signal.signal(signal.SIGPROF, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_PROF, SLACK_S + TIMES * seconds)


def _functions(files: Iterable[str]) -> dict[tuple[str, str, int], list[types.FunctionType]]:
    """The functions of some files by file, name and first line, as they are alive now."""
    absolute = {os.path.realpath(file): file for file in files}
    found: dict[tuple[str, str, int], list[types.FunctionType]] = {}
    for one in gc.get_objects():
        if isinstance(one, types.FunctionType):
            file = absolute.get(one.__code__.co_filename)
            if file is not None:
                key = (file, one.__code__.co_qualname, one.__code__.co_firstlineno)
                found.setdefault(key, []).append(one)
    return found


def change_functions(
    mutant: Mutant, functions: Mapping[tuple[str, str, int], list[types.FunctionType]]
) -> bool:
    """Give the living function its changed code; False where there is none to change."""
    assert mutant.function is not None
    alive = functions.get((mutant.file, *mutant.function), [])
    if not alive:
        return False
    file = os.path.realpath(mutant.file)
    module = compile(mutant.tree(Path(mutant.file).read_text(encoding="utf-8")), file, "exec")
    (code,) = [one for one in _codes(module) if _place(one) == mutant.function]
    for function in alive:
        function.__code__ = code
    return True


def _place(code: types.CodeType) -> tuple[str, int]:
    return code.co_qualname, code.co_firstlineno


def _codes(code: types.CodeType) -> Iterator[types.CodeType]:
    yield code
    for constant in code.co_consts:
        if isinstance(constant, types.CodeType):
            yield from _codes(constant)


class _Changed(importlib.machinery.SourceFileLoader):
    """Loads one module with a mutant's change in it."""

    def __init__(self, name: str, mutant: Mutant) -> None:
        super().__init__(name, os.path.realpath(mutant.file))
        self.mutant = mutant

    def get_code(self, fullname: str) -> types.CodeType:
        source = Path(self.path).read_text(encoding="utf-8")
        return compile(self.mutant.tree(source), self.path, "exec")


class _Finder(importlib.abc.MetaPathFinder):
    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant
        self.name = mutant.file.removesuffix(".py").replace("/", ".")

    def find_spec(self, name: str, *_: Any) -> importlib.machinery.ModuleSpec | None:
        if name != self.name:
            return None
        return importlib.util.spec_from_loader(name, _Changed(name, self.mutant))


def forked(work: Callable[[], None]) -> int:
    """Do some work in a process of its own, with nothing printed, and return how it ended."""
    process = os.fork()
    if not process:
        status = 70
        try:
            nowhere = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(nowhere, stream)
            work()
            status = 0
        finally:
            os._exit(status)
    return os.waitpid(process, 0)[1]


def tried_afresh(mutant: Mutant, tests: Sequence[str], seconds: Seconds) -> tuple[str, str]:
    """Import everything anew with the change made, then run tests: the verdict, the last test."""
    reader, writer = os.pipe()

    def work() -> None:
        os.close(reader)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        # What is imported and collected has a limit as well.
        limit(5.0)
        sys.meta_path.insert(0, _Finder(mutant))
        files = list(dict.fromkeys(test.partition("::")[0] for test in tests))
        code = pytest.main([*QUIET, *files], plugins=[FirstFailure(tests, seconds, writer)])
        os._exit(0 if code == pytest.ExitCode.OK else FAILED)

    status = forked(work)
    os.close(writer)
    with os.fdopen(reader, "rb") as pipe:
        last = pipe.read().decode().splitlines()
    return verdict(status), last[-1] if last else ""
