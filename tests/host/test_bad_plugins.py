"""Sixteen bad plug-ins: each named with distribution, version and stage; the good ones go on."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from zlib import crc32

import pytest

from simrig.errors import PluginError, Problem
from simrig.host import index, making, stamps
from simrig.host.catalogue import Catalogue
from simrig.host.found import Index
from simrig.host.manager import Host
from tests.host import plugin_site
from tests.host.plugin_site import BAD, ROOT, VERSION

SECONDS = 6.0
IN_A_PROCESS = (
    "import-error",
    "os-exit",
    "junk-return",
    "misspelt-hook",
    "closes-stdout",
    "raises-in-hook",
    "duplicate-id",
)
"""Bad plug-ins that the command meets in every run of the checks; the others in full ones."""


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> Index:
    """The index of a folder with all sixteen and two good ones."""
    site = tmp_path_factory.mktemp("site")
    for name in BAD:
        plugin_site.bad(site, name)
    for machine in ("harbour-lights", "pier-head"):
        plugin_site.good(site, machine)
    return making.make([str(site), str(ROOT), *sys.path], seconds=SECONDS).found


def _of(found: Index, name: str) -> list[Problem]:
    return [one for one in found.problems if one.file == f"{name} {VERSION}"]


@pytest.mark.parametrize("name", BAD)
def test_each_is_named_with_version_and_stage(name: str, tried: Index) -> None:
    """One problem: the distribution and its version, the stage, what was found and wanted."""
    _, stage, words = BAD[name]
    (problem,) = _of(tried, name)
    assert problem.where == f"plug-in {name}, {stage}"
    assert words in problem.message
    assert "Traceback" not in problem.message


def test_the_good_ones_go_on(tried: Index) -> None:
    """Sound plug-ins bring their machines, and none of the bad ones is accepted but the double."""
    accepted = {entry.distribution for entry in tried.accepted}
    assert accepted & set(BAD) == {"duplicate-id"}
    assert {"harbour-lights", "pier-head"} <= accepted
    assert {entry.distribution for entry in tried.refused} == set(BAD) - {"duplicate-id"}
    assert {machine.id for machine in tried.machines} >= {"harbour-lights", "pier-head"}


def test_nothing_that_a_plugin_started_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process that a plug-in leaves behind is ended with it."""
    mark = f"{time.time_ns()}"
    code = (
        "import subprocess, sys\n"
        f"subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)  # {mark}'])\n"
    )
    plugin_site.put(tmp_path, "leaves-a-child", code + plugin_site.QUIET)
    plugin_site.alone(monkeypatch, tmp_path)
    making.make([str(tmp_path), str(ROOT), *sys.path], seconds=10)
    if not Path("/proc/self/cmdline").exists():
        pytest.skip("waits for a system that lists its processes as files")
    for _ in range(50):
        if not _running(mark):
            return
        time.sleep(0.1)
    raise AssertionError("the child is still running")


def _running(mark: str) -> bool:
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            if mark.encode() in path.read_bytes() and path.parent.name != str(os.getpid()):
                return True
        except OSError:
            continue
    return False


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for the real process: some bad ones, in a full run all, and two good ones."""
    folder = tmp_path_factory.mktemp("installed")
    for name in BAD:
        if name in IN_A_PROCESS or "SIMRIG_FULL" in os.environ:
            plugin_site.bad(folder, name)
    for machine in ("harbour-lights", "pier-head"):
        plugin_site.good(folder, machine)
    plugin_site.age(folder)
    return folder


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One cache for all calls: cold for the first, warm for the others."""
    return tmp_path_factory.mktemp("cache")


@pytest.fixture
def simrig(site: Path, cache: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command in a process of its own."""

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        path = os.pathsep.join((str(site), str(ROOT)))
        environ = {**os.environ, "PYTHONPATH": path, "XDG_CACHE_HOME": str(cache)}
        ended = subprocess.run(
            [sys.executable, "-m", "simrig", *words], capture_output=True, text=True, env=environ
        )
        assert "Traceback" not in ended.stderr
        return ended

    return run


Command = Callable[..., subprocess.CompletedProcess[str]]


def test_the_command_goes_on(simrig: Command, site: Path) -> None:
    """Machines are listed with 0, every bad plug-in is named on stderr, JSON stays alone on stdout;
    the same with a cold index and with a warm one."""
    told = []
    for _ in range(2):
        ended = simrig("machines", "--json")
        assert ended.returncode == 0
        ids = [one["id"] for one in json.loads(ended.stdout)["machines"]]
        assert {"harbour-lights", "pier-head"} <= set(ids)
        for name in BAD:
            if (site / name.replace("-", "_")).exists():
                assert f"{name} {VERSION}: plug-in {name}, {BAD[name][1]}: " in ended.stderr
        told.append(ended.stderr)
    assert told[0] == told[1]


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("expect", "pier-head", "--json"), 0, ""),
        (("machines", "--strict-plugins"), 3, "plug-in os-exit, on import"),
        (("expect", "pier-head", "--strict-plugins"), 3, "plug-in junk-return"),
        (("expect", "raises-in-hook"), 3, "ValueError: no tide table"),
        (("expect", "import-error"), 3, "No module named 'no_such_module'"),
        (("expect", "harbour-lights"), 3, 'the machine "harbour-lights" is there twice'),
        (("expect", "pier-haed"), 2, 'did you mean "pier-head"?'),
    ],
)
def test_exit_codes(words: tuple[str, ...], code: int, told: str, simrig: Command) -> None:
    """0 where the answer needs none of them, 3 where it does or with --strict-plugins, 2 for a
    name that nobody knows."""
    ended = simrig(*words)
    assert ended.returncode == code, ended.stderr
    assert told in ended.stderr


def test_strict_errors_as_json(simrig: Command) -> None:
    """With --json the failed plug-ins are errors of the document, one each, and the code is 3."""
    ended = simrig("machines", "--strict-plugins", "--json")
    assert ended.returncode == 3
    errors = json.loads(ended.stdout)["errors"]
    assert {"file", "line", "where", "message"} == set(errors[0])
    assert f"misspelt-hook {VERSION}" in {one["file"] for one in errors}


def test_one_of_two_doubles_is_named_by_its_file(simrig: Command, site: Path) -> None:
    """A machine that two plug-ins bring is still at hand by the path of its profile."""
    ended = simrig("expect", str(site / "harbour_lights/harbour-lights.toml"), "--json")
    assert ended.returncode == 0
    assert json.loads(ended.stdout)["machine"] == "harbour-lights"


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], tuple[Index, int]]:
    """A folder with one plug-in: return its index, and how often plug-ins were tried out for it."""
    folder = tmp_path / "site"
    plugin_site.good(folder, "pier-head")
    plugin_site.age(folder)
    plugin_site.alone(monkeypatch, folder)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    # Compiled files beside the sources would count as a change of the folder, once.
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")
    time.sleep(2 * stamps.TICK / 1e9)
    search = [str(folder), str(ROOT), *[part for part in sys.path if part]]
    count = 0
    make = making.make

    def counted(*arguments: Any, **more: Any) -> Any:
        nonlocal count
        count += 1
        return make(*arguments, **more)

    monkeypatch.setattr(making, "make", counted)

    def ask() -> tuple[Index, int]:
        return index.current(search), count

    return ask


def _file(tmp_path: Path) -> Path:
    (file,) = (tmp_path / "cache/simrig").glob("plugins-*.json")
    return file


def test_a_warm_index_tries_nothing_out(kept: Callable[[], tuple[Index, int]]) -> None:
    """The second time the same is answered from the kept file."""
    first, tried_once = kept()
    second, tried_still = kept()
    assert (first, tried_once, tried_still) == (second, 1, 1)


DAMAGE = {
    "empty": b"",
    "not JSON": b"\xff\xfe{",
    "cut off": None,
    "another format": b'{"format": 99}',
    "a list": b"[]",
    "deep": b"[" * 100_000,
    "wrong rows": b'"machines": [[1]]',
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_index_is_made_anew(
    damage: str, tmp_path: Path, kept: Callable[[], tuple[Index, int]]
) -> None:
    """A kept file that cannot be used is made again, and then serves."""
    sound, _ = kept()
    file = _file(tmp_path)
    if damage == "cut off":
        file.write_bytes(file.read_bytes()[:-40])
    elif damage == "wrong rows":
        document = json.loads(file.read_bytes())
        file.write_text(json.dumps({**document, "machines": [[1]], "problems": [[2]]}))
    else:
        file.write_bytes(DAMAGE[damage] or b"")
    assert kept() == (sound, 2)
    assert kept() == (sound, 2)


def test_a_changed_plugin_is_tried_again(
    tmp_path: Path, kept: Callable[[], tuple[Index, int]]
) -> None:
    """An index is stale once a module of a plug-in, its profile or the set of plug-ins changes."""
    kept()
    folder = tmp_path / "site"
    (folder / "pier_head/__init__.py").write_text("raise RuntimeError('broken since')\n")
    found, times = kept()
    assert (times, [one.where for one in found.problems]) == (2, ["plug-in pier-head, on import"])
    plugin_site.good(folder, "harbour-lights")
    found, times = kept()
    assert times == 3
    assert "harbour-lights" in {machine.id for machine in found.machines}


@pytest.mark.parametrize(("later", "times"), [(-1, 2), (300, 1), (10_000, 2)])
def test_what_ran_out_of_time_is_tried_again(
    later: int, times: int, tmp_path: Path, kept: Callable[[], tuple[Index, int]]
) -> None:
    """An index with a plug-in that ran out of time serves for ten minutes, then no longer; nor
    does one from a clock that was ahead."""
    found, _ = kept()
    file = _file(tmp_path)
    document = json.loads(file.read_bytes())
    assert document["until"] is None
    file.write_text(json.dumps({**document, "until": time.time() + later}))
    assert kept() == (found, times)


def test_a_cache_that_cannot_be_written_costs_time_only(
    tmp_path: Path, kept: Callable[[], tuple[Index, int]]
) -> None:
    """Where the cache folder is a file, every call tries the plug-ins out and answers."""
    (tmp_path / "cache").write_text("in the way")
    assert [kept()[1], kept()[1]] == [1, 2]
    assert kept()[0].machines


def _host(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, code: str) -> Index:
    plugin_site.put(tmp_path, name, code)
    plugin_site.alone(monkeypatch, tmp_path)
    monkeypatch.syspath_prepend(str(tmp_path))
    return making.make([str(tmp_path), str(ROOT), *sys.path], seconds=10).found


RULES = """import os
from simrig.host import hookimpl
calls = []

@hookimpl
def simrig_rules():
    return []

@hookimpl
def simrig_questions(profile):
    {body}
"""


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("return [object()] if profile.id != 'sample' else []", "wanted a Question"),
        ("return 7 if profile.id != 'sample' else []", "it returned int '7'; wanted a list"),
        ("return [] if profile.id == 'sample' else 1 / 0", "ZeroDivisionError"),
        (
            "return [] if profile.id == 'sample' else exit(4)",
            "it ends the whole program (SystemExit)",
        ),
    ],
)
def test_results_are_checked_again_in_use(
    body: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plug-in that behaves while it is tried out and not later is named then, and others go on;
    strictly, it raises."""
    name = f"turns-bad-{crc32(body.encode()):08x}"
    found = _host(tmp_path, monkeypatch, name, RULES.format(body=body))
    accepted = tuple(one for one in found.accepted if one.distribution == name)
    mine = found._replace(accepted=accepted, problems=())
    assert len(mine.accepted) == 1
    host = Host(known=mine)
    profile = Catalogue(known=Index()).load(
        str(ROOT / "plugins/simrig_machines/orchard-signal.toml")
    )
    assert host.gather("simrig_questions", profile=profile) == []
    (problem,) = host.problems
    assert (problem.file, problem.where) == (
        f"{name} {VERSION}",
        f"plug-in {name}, in simrig_questions",
    )
    assert words in problem.message
    assert host.gather("simrig_rules") == []
    with pytest.raises(PluginError) as refused:
        Host(known=mine, strict=True).gather("simrig_questions", profile=profile)
    assert refused.value.exit_code == 3
