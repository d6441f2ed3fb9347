"""The same answer, byte for byte, whoever does the work."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from threading import Timer
from typing import Any

import pytest

import simrig
from simrig.cli.main import main
from simrig.fleet.orders import Order
from simrig.interchange import campaign_document
from tests.diagnosis.bench_machine import TEXT
from tests.fleet.command import ASKED, Undisturbed, answer, environment


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
            done = list(simrig.campaign(files, executor=executor, singles=1))
            ordered = sorted(done, key=lambda one: one.number)
            found.append(json.dumps([campaign_document.machine(one) for one in ordered]))
    assert len(set(found)) == 1
    assert [len(one["trials"]) for one in json.loads(found[0])] == [1, 1]


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
        (one,) = simrig.campaign(str(path), executor=executor, singles=5, pairs=1)
        said.append(json.dumps(campaign_document.machine(one)))
    assert said[0] == said[1]
    assert len(json.loads(said[0])["trials"]) == 6
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
