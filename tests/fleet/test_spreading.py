"""Work spread over an executor: all of it is done, whoever does it and whoever is lost."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterator
from concurrent.futures import (
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
)
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import attrs
import pytest

from simrig.fleet import spreading
from simrig.fleet.spreading import ALONE, Lost, spread
from simrig.fleet.workers import Given, Here, Immediate, Processes
from tests.fleet.deadly import deadly, slow, tripled


def given(pieces: Any) -> Callable[[], Any]:
    """What hands out pieces, one after the other."""
    left = iter(pieces)
    return lambda: next(left, None)


@attrs.define
class Counted:
    """Processes, and how many pools of them were made."""

    count: int
    pools: int = 0

    @contextmanager
    def opened(self) -> Iterator[Executor]:
        self.pools += 1
        with Processes(self.count).opened() as pool:
            yield pool

    def at_once(self) -> int:
        return Processes(self.count).at_once()


@pytest.mark.parametrize("make", [Immediate, lambda: ThreadPoolExecutor(3)])
def test_any_executor_does_all_of_it(make: Callable[[], Executor]) -> None:
    """Each piece comes back once, with its own result."""
    with make() as executor:
        found = dict(spread(tripled, given(range(1, 40)), Given(executor)))
    assert found == {number: 3 * number for number in range(1, 40)}


def test_results_come_as_they_are_done() -> None:
    """A piece that is begun later and takes less time is yielded before the others."""
    with ThreadPoolExecutor(9) as executor:
        found = [piece for piece, _ in spread(slow, given(range(1, 10)), Given(executor))]
    assert sorted(found) == list(range(1, 10))
    assert found != sorted(found)


def test_no_more_is_under_way_than_asked_for() -> None:
    """The next piece is taken when one is done: in this process, one by one."""
    taken: list[int] = []

    def take() -> int | None:
        taken.append(len(taken) + 1)
        return taken[-1] if taken[-1] < 6 else None

    for number, (piece, _) in enumerate(spread(tripled, take, Here()), 1):
        assert piece == number
        assert len(taken) == number


def test_a_result_can_bring_more_work() -> None:
    """What is there only after a result has come is taken too."""
    waiting = [1]
    done = []
    for piece, _ in spread(tripled, lambda: waiting.pop() if waiting else None, Here()):
        done.append(piece)
        if piece < 5:
            waiting.append(piece + 1)
    assert done == [1, 2, 3, 4, 5]


def test_what_the_work_raises_is_raised() -> None:
    """An error of the work itself is no loss of a worker."""
    with pytest.raises(TypeError):
        list(spread(slow, given([9, "nine"]), Given(Immediate())))


def test_a_lost_worker_costs_no_result(tmp_path: Path) -> None:
    """Two workers are killed once each: every piece still comes back, from fresh pools."""
    pieces = [(number, "") for number in range(1, 20)]
    pieces[4] = (5, str(tmp_path / "one"))
    pieces[12] = (13, str(tmp_path / "other"))
    workers = Counted(2)
    found = dict(spread(deadly, given(pieces), workers))
    assert found == {piece: 3 * piece[0] for piece in pieces}
    assert workers.pools in (2, 3)  # both can be lost from one pool


def test_who_was_in_company_once_is_tried_alone_twice(tmp_path: Path) -> None:
    """What kills a worker in company and once more alone is done at the third try."""
    pieces = [(1, f"{tmp_path / 'one'}:{tmp_path / 'two'}"), (2, ""), (3, "")]
    found = dict(spread(deadly, given(pieces), Counted(2)))
    assert found == {piece: 3 * piece[0] for piece in pieces}


class KilledError(Exception):
    """How an executor that stays whole tells of a lost worker."""


class Crowded(ThreadPoolExecutor):
    """An executor that loses the worker of piece 2 whenever others are under way."""

    under_way = 0
    asked = 0

    def submit(
        self, call: Callable[..., Any], /, work: Any, *args: Any, **more: Any
    ) -> Future[Any]:
        self.under_way += 1
        crowded = args[0] == 2 and self.under_way > 1
        self.asked += args[0] == 2

        def done() -> Any:
            time.sleep(0.02)
            self.under_way -= 1
            if crowded:
                raise KilledError
            return call(work, *args, **more)

        return super().submit(done)


def test_a_suspect_is_tried_when_all_others_are_done(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also by an executor that goes on after a loss, as a cluster's does."""
    monkeypatch.setattr(spreading, "_signs_of_loss", lambda: (KilledError,))
    with Crowded(1) as executor:
        found = dict(spread(tripled, given(range(1, 9)), Given(executor)))
    assert found == {number: 3 * number for number in range(1, 9)}
    assert executor.asked == 2


def test_what_kills_each_worker_is_named_and_stops_nothing() -> None:
    """Two deadly pieces among twenty are lost, and only they; the tries are bounded."""
    pieces = [(number, "always" if number in (3, 17) else "") for number in range(1, 21)]
    workers = Counted(2)
    found = dict(spread(deadly, given(pieces), workers))
    assert [piece[0] for piece, result in found.items() if isinstance(result, Lost)] == [3, 17]
    assert len(found) == 20
    assert all(result in (3 * piece[0], Lost()) for piece, result in found.items())
    assert workers.pools <= 1 + 2 * (ALONE + 1)


def test_a_broken_executor_of_somebody_else_is_told() -> None:
    """What was handed over cannot be made anew: its owner is told, after what was done."""
    pieces = itertools.chain([(1, "")], [(2, "always")])
    with ProcessPoolExecutor(1) as pool, pytest.raises(BrokenExecutor, match="make another"):
        list(spread(deadly, given(pieces), Given(pool)))
