"""A run over machines: what is asked for, and what is not once a machine is given up."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from contextlib import contextmanager
from typing import Any

import attrs

from simrig.fleet.machines import Machine
from simrig.fleet.orders import Options, Order
from simrig.fleet.running import Run
from simrig.fleet.work import do, surroundings
from simrig.fleet.workers import Immediate
from simrig.profile.machine import Profile
from tests.diagnosis.bench_machine import TEXT


class Losing(Immediate):
    """An executor that breaks at one piece of work, each time."""

    def __init__(self, asked: list[str]) -> None:
        self.asked = asked

    def submit(self, work: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        (order,) = [one for one in args if isinstance(one, Order)]
        self.asked.append(order.name)
        if order.name != "trials 1":
            return super().submit(work, *args, **kwargs)
        broken: Future[Any] = Future()
        broken.set_exception(BrokenExecutor())
        return broken


@attrs.frozen
class Loss:
    """Workers whose executor breaks at one piece of work."""

    asked: list[str]

    @contextmanager
    def opened(self) -> Iterator[Executor]:
        yield Losing(self.asked)

    def at_once(self) -> int:
        return 1


def test_a_machine_that_is_given_up_is_asked_for_nothing_more() -> None:
    """After the piece that loses its workers no other is done; nothing of it is counted."""
    asked: list[str] = []
    machine = Machine(file="mill.toml", data=TEXT.encode())
    run = Run([machine], Options(singles=9))
    steps = list(run.steps(Loss(asked)))
    assert asked == ["trials 0", "trials 1", "trials 1", "trials 1"]
    assert (steps[-1].machines, steps[-1].made, steps[-1].trials) == (1, 0, 0)
    assert [problem.where for problem in run.problems] == ["campaign, trials 1"]
    assert (run.done, run.code) == ((), 2)


def test_a_worker_lets_go_of_a_machine_when_the_next_one_comes() -> None:
    """However seldom the collector runs by itself, a fleet does not fill the memory."""

    def profiles_after(number: int) -> int:
        order = Order(
            machine=number, file=f"{number}.toml", data=TEXT.encode() + b"#" * number,
            options=Options(singles=1), size=1, surroundings=surroundings(),
        )  # fmt: skip
        assert "trials" in do(order)
        return sum(isinstance(one, Profile) for one in gc.get_objects())

    gc.collect()
    gc.disable()
    try:
        counts = [profiles_after(number) for number in range(4)]
    finally:
        gc.enable()
    assert counts[3] == counts[1]
