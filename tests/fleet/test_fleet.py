"""A fleet in one command: the same answer whoever does the work, whatever stops it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from random import Random
from threading import Timer
from typing import Any

import attrs
import pytest

import simrig
from simrig.cli.main import main
from simrig.errors import SimrigError
from simrig.fleet.orders import Order
from simrig.interchange import campaign_document
from tests.diagnosis.bench_machine import TEXT
from tests.fleet.command import (
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
from tests.fleet.conftest import COUNT, FEW
from tests.host.plugin_site import put

ASKED = ("--singles", "1")
KILLS = 4
ON_LINUX = pytest.mark.skipif(not os.path.exists("/proc/self/task"), reason="needs Linux's /proc")


def answer(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    """What the command prints."""
    assert main(["campaign", *words]) == code
    return capsys.readouterr().out


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


@pytest.fixture(scope="module")
def whole(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    """One worker on the twenty machines."""
    return undisturbed(folder, tmp_path_factory.mktemp("whole") / "kept", "1")


@pytest.fixture(scope="module")
def small(few: Path, tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    """Two workers on the few machines."""
    return undisturbed(few, tmp_path_factory.mktemp("small") / "kept", "2")


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """A Dask cluster of two processes on this computer; it gives work up at the first loss."""
    distributed = pytest.importorskip("distributed", reason="needs the extra [cluster]")
    import dask

    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1",
            dashboard_address=None, worker_dashboard_address=None, silence_logs=60,
        ) as found,
    ):  # fmt: skip
        yield found


def test_a_fleet_is_vetted_and_campaigned(whole: Undisturbed) -> None:
    """Each machine has the keys of one alone, its findings, and is in the sums."""
    found = json.loads(whole.said)
    machines = found["machines"]
    assert len({one["machine"] for one in machines}) == COUNT
    keys = {"faults", "shown", "isolated", "mean_minutes", "groups", "findings", "levels"}
    assert all(keys <= set(one) for one in machines)
    for key in ("faults", "shown", "isolated", "tried", "held", "unparted"):
        assert found[key] == sum(one[key] for one in machines)
    assert found["levels"]["warning"] == sum(one["levels"]["warning"] for one in machines) > 0
    assert found["faults"] == COUNT
    assert found["held"] == found["tried"] > 0
    assert found["errors"] == []


def test_findings_are_those_of_vet(whole: Undisturbed, capsys: pytest.CaptureFixture[str]) -> None:
    """A machine's findings are what vet says of its file, word for word."""
    one = json.loads(whole.said)["machines"][7]
    assert main(["vet", one["file"], "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["findings"] == one["findings"]


def test_two_workers_say_what_one_says(
    folder: Path, whole: Undisturbed, capsys: pytest.CaptureFixture[str]
) -> None:
    """Byte for byte."""
    assert answer(capsys, str(folder), *ASKED, "--workers", "2", "--json") == whole.said


def test_a_cluster_says_what_one_worker_says(
    folder: Path, whole: Undisturbed, cluster: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    """Through the address of its scheduler, byte for byte."""
    words = (str(folder), *ASKED, "--cluster", cluster.scheduler_address, "--json")
    assert answer(capsys, *words) == whole.said


def test_any_executor_gives_the_same(few: Path, cluster: Any) -> None:
    """What is handed to the library function: threads, a cluster's executor, none at all."""
    files = [str(path) for path in sorted(few.iterdir())[:2]]
    with ThreadPoolExecutor(2) as threads, cluster.get_client() as client:
        found = []
        for executor in (None, threads, client.get_executor()):
            done = list(simrig.campaign(files, executor=executor, singles=1, pairs=1))
            ordered = sorted(done, key=lambda one: one.number)
            found.append(json.dumps([campaign_document.machine(one) for one in ordered]))
    assert len(set(found)) == 1
    assert [len(one["trials"]) for one in json.loads(found[0])] == [2, 2]


class Backwards(Executor):
    """An executor that begins with what came last."""

    def __init__(self) -> None:
        self._waiting: list[tuple[Future[Any], Callable[[], Any], str]] = []
        self.order: list[str] = []

    def submit(self, work: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        (order,) = [one for one in args if isinstance(one, Order)]
        self._waiting.append((future, partial(work, *args, **kwargs), order.name))
        Timer(0.05, self._last).start()
        return future

    def _last(self) -> None:
        future, work, name = self._waiting.pop()
        self.order.append(name)
        future.set_result(work())


def test_pieces_are_put_together_in_their_own_order(tmp_path: Path) -> None:
    """The trials of one machine, done from the last to the first, stand as they do otherwise."""
    path = tmp_path / "mill.toml"
    path.write_text(TEXT)
    backwards = Backwards()
    said = []
    for executor in (None, backwards):
        (one,) = simrig.campaign(str(path), executor=executor, singles=9, pairs=3)
        said.append(json.dumps(campaign_document.machine(one)))
    assert said[0] == said[1]
    assert len(json.loads(said[0])["trials"]) == 12
    assert backwards.order != sorted(backwards.order)


def test_a_cluster_that_loses_a_worker_goes_on(cluster: Any) -> None:
    """A deadly piece of work is named in the end, and all others are done."""
    from simrig.fleet.spreading import Lost, spread
    from simrig.fleet.workers import Given
    from tests.fleet.deadly import deadly

    pieces = [(number, "always" if number == 2 else "") for number in range(1, 6)]
    left = iter(pieces)
    with cluster.get_client() as client:
        workers = Given(client.get_executor())
        found = dict(spread(deadly, lambda: next(left, None), workers))
    assert [piece[0] for piece, result in found.items() if isinstance(result, Lost)] == [2]
    assert len(found) == 5


def test_without_the_extra_the_line_that_installs_it_is_told(
    few: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """--cluster and --conformance end with 2 where their packages are missing."""
    monkeypatch.setattr("simrig.host.extra.find_spec", lambda name: None)
    assert main(["campaign", str(few), *ASKED, "--cluster", "tcp://127.0.0.1:8786"]) == 2
    assert "pip install 'simrig[cluster]'" in capsys.readouterr().err
    assert main(["campaign", str(few), *ASKED, "--conformance"]) == 2
    assert "pip install 'simrig[test]'" in capsys.readouterr().err


def test_nothing_heavy_is_imported_unasked(few: Path) -> None:
    """Neither Dask nor Hypothesis, in a campaign that asks for neither."""
    code = (
        "import sys; from simrig.cli.main import main\n"
        f"main(['campaign', {str(sorted(few.iterdir())[0])!r}, '--singles', '1', '--workers', '1'])\n"
        "print([name for name in ('dask', 'distributed', 'hypothesis') if name in sys.modules])"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, env=environment(), check=True
    )
    assert ended.stdout.decode().splitlines()[-1] == "[]"


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


@pytest.fixture
def mixed(few: Path, tmp_path: Path) -> Path:
    """A folder of two sound machines, two broken ones, a scenario, and a file of another kind."""
    found = tmp_path / "mixed"
    found.mkdir()
    for path in sorted(few.iterdir())[:2]:
        shutil.copy(path, found)
    (found / "a-torn.toml").write_text('format = 1\nid = "torn\n')
    (found / "z-wrong.toml").write_text(TEXT.replace('kind = "trough"', 'kind = "through"'))
    (found / "x.scenario.toml").write_text("format = 1\n")
    (found / "notes.txt").write_text("none\n")
    return found


def test_bad_profiles_stop_no_other(mixed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each is told with file and line; the others are done; 2 in the end."""
    asked = ["campaign", str(mixed), *ASKED, "--workers", "2"]
    assert main([*asked, "--json"]) == 2
    found = json.loads(capsys.readouterr().out)
    assert [one["machine"] for one in found["machines"]] == ["made-1-000", "made-1-001"]
    told = [(Path(one["file"]).name, one["line"]) for one in found["errors"]]
    assert told == [("a-torn.toml", 2), ("z-wrong.toml", 10)]
    assert main(asked) == 2
    printed = capsys.readouterr()
    assert f"{mixed / 'z-wrong.toml'}:10: " in printed.err
    assert 'did you mean "trough"?' in printed.err
    rows = printed.out.splitlines()
    assert "2 machines could not be done; the messages say why." in rows
    assert sum(row.endswith("not done") for row in rows) == 2


def test_the_library_tells_of_bad_profiles_in_the_end(mixed: Path) -> None:
    """The sound ones are yielded first; then what is wrong is raised, all of it."""
    work = simrig.campaign([str(mixed)], singles=1)
    assert [next(work).id, next(work).id] == ["made-1-000", "made-1-001"]
    with pytest.raises(SimrigError) as raised:
        next(work)
    assert len(raised.value.problems) == 2
    assert raised.value.exit_code == 2


def test_names_that_mean_nothing_are_told_before_the_work(
    few: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All of them, with 2, and nothing is kept: a slip is told at once, not after the night."""
    (tmp_path / "empty").mkdir()
    kept = tmp_path / "kept"
    names = [str(few), "no-such-machine", str(tmp_path / "empty"), str(tmp_path / "no.toml")]
    assert main(["campaign", *names, *ASKED, "--keep", str(kept)]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 3
    assert "no profile is in this folder" in told[1]
    assert not kept.exists()


def test_a_machine_named_twice_is_done_once(
    few: Path, small: Undisturbed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By its folder and by its file."""
    first = sorted(few.iterdir())[0]
    asked = (str(few), str(first), *ASKED, "--json", *small.again(tmp_path))
    assert answer(capsys, *asked) == small.said


def test_the_first_screen(
    folder: Path, whole: Undisturbed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """At most 20 lines of 80 signs, the worst machines first, the rest counted; --all lists all."""
    asked = (str(folder), *ASKED, *whole.again(tmp_path))
    shown = answer(capsys, *asked).splitlines()
    assert len(shown) <= 20
    assert max(map(len, shown)) <= 80
    assert shown[-1] == "10 more: --all"
    every = answer(capsys, *asked, "--all").splitlines()
    assert len(every) == len(shown) - 1 + 10
    assert every[: len(shown) - 1] == shown[:-1]


def test_the_conformance_suite_of_a_fleet(few: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each check of each machine is a piece of the work, with what it waits for in words."""
    files = [str(path) for path in sorted(few.iterdir())[:2]]
    asked = (*files, *ASKED, "--conformance", "--examples", "1", "--json")
    for one in json.loads(answer(capsys, *asked, "--workers", "2"))["machines"]:
        outcomes = {check["check"]: check["outcome"] for check in one["conformance"]}
        assert list(outcomes) == [
            "moves", "phases", "readings", "stated", "diagnosis", "record", "export"
        ]  # fmt: skip
        assert set(outcomes.values()) <= {"holds", "waits"}
        assert outcomes["export"] == "holds"


def test_a_machine_that_does_not_conform_ends_with_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sensor that states the opposite of what its links give breaks the check "stated"."""
    path = tmp_path / "mill.toml"
    path.write_text(TEXT.replace('id = "lane-ball"\n', 'id = "lane-ball"\nworked_reads = "open"\n'))
    words = (str(path), "--singles", "1", "--workers", "1", "--conformance", "--examples", "1")
    shown = " ".join(answer(capsys, *words, code=1).split())
    assert "sensors read as they state (stated): broken: lane-ball reads closed" in shown


def test_progress_is_sparse_in_a_pipe(
    folder: Path, whole: Undisturbed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """About ten lines on stderr, the last one complete; none with --quiet."""
    asked = ["campaign", str(folder), *ASKED, *whole.again(tmp_path)]
    assert main(asked) == 0
    told = capsys.readouterr().err.splitlines()
    assert told[0].endswith("keeps work that is done; going on")
    assert len(told) == 11
    assert told[-1] == f"{COUNT} of {COUNT} machines, {COUNT} faults"
    assert main([*asked, "--quiet"]) == 0
    assert capsys.readouterr().err == ""


def test_progress_is_one_line_at_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is written over each time, blanks over what was longer, and left in the end."""
    from simrig.cli.progress import Progress

    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    progress = Progress(quiet=False)
    progress.tell("10 of 99", 0.1)
    progress.tell("9", 0.2)
    progress.end()
    assert capsys.readouterr().err == "\r10 of 99\r9       \n"


def test_made_profiles_depend_on_the_seed_alone(folder: Path, tmp_path: Path) -> None:
    """Another process writes the same files, however many are asked for."""
    subprocess.run(
        [sys.executable, "-m", "tests.fleet.make", str(tmp_path), "--count", "3", "--small"],
        check=True, capture_output=True, env=environment(PYTHONHASHSEED="77"),
    )  # fmt: skip
    made = sorted(tmp_path.iterdir())
    assert len(made) == 3
    assert all(path.read_bytes() == (folder / path.name).read_bytes() for path in made)
