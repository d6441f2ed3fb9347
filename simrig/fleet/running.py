"""A run over many machines: the orders handed out, and what comes back put together."""

from __future__ import annotations

import hashlib
import heapq
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import attrs

from simrig.errors import Problem, SimrigError
from simrig.fleet.keeping import Keeping
from simrig.fleet.machines import Machine
from simrig.fleet.orders import PIECE, SMALL_PIECE, Options, Order
from simrig.fleet.spreading import Lost, Workers, spread
from simrig.fleet.work import do, surroundings
from simrig.interchange.campaign_document import Campaigned, Conformed, trial

INTERNAL: Final = 70


@attrs.frozen(kw_only=True)
class Failure:
    """Why a machine has no result, and the exit code that says who must act."""

    problems: tuple[Problem, ...]
    code: int = 2


@attrs.frozen(kw_only=True)
class Step:
    """How far a run is: machines done and trials made, kept ones included.

    ``trials`` are those known to be made in all, which grows while machines are still to be
    looked at.  ``finished`` is the machine that this step finished, with a result or without.
    """

    machines: int
    made: int
    trials: int
    finished: Campaigned | None = None


class Run:
    """Many machines, each vetted, its faults injected, and held against the conformance suite.

    Machines that cannot be read, or cannot be done, are failures; they stop no other.
    """

    def __init__(
        self,
        machines: Sequence[Machine],
        options: Options,
        *,
        strict: bool = False,
        keeping: Keeping | None = None,
    ) -> None:
        self.machines = tuple(machines)
        self.options = options
        self.failures: dict[int, Failure] = {}
        self.told: dict[Problem, None] = {}
        """What showed of plug-ins in use, each once."""
        self._strict = strict
        self._keeping = keeping
        self._size = PIECE if len(machines) > 1 else SMALL_PIECE
        self._done: dict[int, Campaigned] = {}
        self._pieces: dict[int, _Pieces] = {}
        self._waiting: list[tuple[tuple[int, bool, int], Order]] = []
        self._made = self._trials = 0

    @property
    def done(self) -> tuple[Campaigned, ...]:
        """The machines that are done, in the order of the fleet."""
        return tuple(self._done[number] for number in sorted(self._done))

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Why machines have no result, in the order of the fleet."""
        ordered = sorted(self.failures.items())
        return tuple(problem for _, failure in ordered for problem in failure.problems)

    @property
    def code(self) -> int:
        """The exit code: that of the worst failure; else 1 where something does not agree."""
        worst = max((failure.code for failure in self.failures.values()), default=0)
        return worst or int(not all(one.agrees() for one in self._done.values()))

    def raise_failures(self) -> None:
        """Raise a SimrigError, with the exit code of the worst, where machines have no result."""
        if self.failures:
            error = SimrigError(self.problems)
            error.exit_code = self.code
            raise error

    def steps(self, workers: Workers) -> Iterator[Step]:
        """Do all of it, and yield how far it is after each piece of work.

        Raises InputError where finished work cannot be kept, or the workers are gone.
        """
        for number, machine in enumerate(self.machines):
            if machine.problems:
                yield self._failed(number, Failure(problems=machine.problems))
            else:
                yield from self._asked(self._order(number))
        for order, result in spread(do, self._next, workers):
            if isinstance(result, Lost):
                yield self._failed(order.machine, Failure(problems=(_lost(order),)))
                continue
            self.told |= dict.fromkeys(Problem(**one) for one in result.pop("told"))
            if failure := _failure(order, result):
                yield self._failed(order.machine, failure)
                continue
            if self._keeping is not None:
                self._keeping.add(order.file, order.name, result)
            yield from self._received(order, result)

    def _order(self, number: int, **more: Any) -> Order:
        machine = self.machines[number]
        return Order(
            machine=number, file=machine.file, data=machine.data, options=self.options,
            size=self._size, strict=self._strict, surroundings=surroundings(), **more,
        )  # fmt: skip

    def _asked(self, order: Order) -> Iterator[Step]:
        """Take what is kept of a piece of work, or have it done."""
        kept = self._keeping.result(order.file, order.name) if self._keeping else None
        if kept is None:
            heapq.heappush(self._waiting, (order.turn, order))
        else:
            yield from self._received(order, kept)

    def _next(self) -> Order | None:
        while self._waiting:
            _, order = heapq.heappop(self._waiting)
            if order.machine not in self.failures:
                return order
        return None

    def _received(self, order: Order, result: dict[str, Any]) -> Iterator[Step]:
        """Note what came of a piece of work, and ask for what follows from it."""
        number = order.machine
        if number in self.failures:
            return
        pieces = self._pieces.setdefault(number, _Pieces())
        pieces.results[order.name] = result
        rest: list[Order] = []
        if "total" in result:
            rest = list(self._rest(number, result["total"]))
            pieces.wanted = [order.name, *[one.name for one in rest]]
            pieces.total = result["total"]
            self._trials += pieces.total
        self._made += len(result.get("trials", ()))
        finished = None
        if pieces.wanted and all(name in pieces.results for name in pieces.wanted):
            finished = self._done[number] = pieces.together(number, order.file)
            del self._pieces[number]
        yield self._step(finished)
        for another in rest:
            yield from self._asked(another)

    def _rest(self, number: int, total: int) -> Iterator[Order]:
        """Yield what follows the first piece of a machine: more trials, and the checks."""
        for piece in range(1, -(-total // self._size)):
            yield self._order(number, piece=piece)
        if self.options.examples is not None:
            from simrig.fleet.conforming import checks

            for place, check in enumerate(checks()):
                yield self._order(number, piece=place, check=check)

    def _failed(self, number: int, failure: Failure) -> Step:
        if number not in self.failures:
            self.failures[number] = failure
            pieces = self._pieces.pop(number, _Pieces())
            self._trials -= pieces.total
            self._made -= pieces.made()
        return self._step(None)

    def _step(self, finished: Campaigned | None) -> Step:
        return Step(
            machines=len(self._done) + len(self.failures),
            made=self._made,
            trials=self._trials,
            finished=finished,
        )


@attrs.define
class _Pieces:
    """What has come of one machine; ``wanted`` are its pieces in order, once they are known."""

    wanted: list[str] = attrs.field(factory=list)
    results: dict[str, dict[str, Any]] = attrs.field(factory=dict)
    total: int = 0

    def made(self) -> int:
        return sum(len(one.get("trials", ())) for one in self.results.values())

    def together(self, number: int, file: str) -> Campaigned:
        ordered = [self.results[name] for name in self.wanted]
        first = ordered[0]
        checks = [Conformed(**one["conformance"]) for one in ordered if "conformance" in one]
        return Campaigned(
            number=number,
            file=file,
            id=first["id"],
            name=first["name"],
            trials=tuple(trial(one) for part in ordered for one in part.get("trials", ())),
            findings=tuple(first["findings"]),
            conformance=tuple(checks) if checks else None,
        )


def _failure(order: Order, result: dict[str, Any]) -> Failure | None:
    """Return what went wrong with a piece of work; None where nothing did."""
    if "problems" in result:
        problems = tuple(Problem(**one) for one in result["problems"])
        return Failure(problems=problems, code=result["code"])
    if "failed" in result:
        message = (
            f"simrig itself has failed ({result['failed']}); please report it with this profile"
        )
        return Failure(problems=(_told(order, message),), code=INTERNAL)
    return None


def _lost(order: Order) -> Problem:
    return _told(
        order, "its worker process ended each time; nothing else was stopped. Watch the memory "
        f"while it runs alone: simrig campaign {order.file}",
    )  # fmt: skip


def _told(order: Order, message: str) -> Problem:
    return Problem(file=order.file, where=f"campaign, {order.name}", message=message)


def kept(path: Path, machines: Iterable[Machine], options: Options) -> Keeping:
    """Open the file in which the work of a run is kept; raises InputError as Keeping does."""
    asked = {"simrig and plug-ins": surroundings(), **attrs.asdict(options)}
    digests = {one.file: hashlib.sha256(one.data).hexdigest() for one in machines}
    return Keeping(path, asked, digests)
