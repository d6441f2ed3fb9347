"""What the shop's record holds: one frozen class per kind of entry.

Times are kept in UTC to the second, dates as the shop writes them.  A person is
named by initials, brought to capitals; an entry without them is as good.  ``id``
is None until the entry is filed.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from typing import Any, ClassVar, Final, TypeVar

import attrs

from simrig.errors import InputError, Problem
from simrig.history.columns import column, columns_of
from simrig.signals import CLOSED, FLICKERS, OPEN, UNKNOWN

NOT_PROVEN: Final = "none"
PROVEN_BY_READINGS: Final = "readings"
PROVEN_ONE_BY_ONE: Final = "fed one by one"
PROOFS: Final = (NOT_PROVEN, PROVEN_BY_READINGS, PROVEN_ONE_BY_ONE)
SEEN: Final = (CLOSED, OPEN, FLICKERS, UNKNOWN)


def _kind(value: object) -> str:
    if isinstance(value, Mapping):
        return "a mapping"
    return "a list" if isinstance(value, tuple) else str(value)


def _id() -> Any:
    return column("id", "the number of the entry", default=None)


@attrs.frozen(kw_only=True)
class Unit:
    """One machine of a model: ``machine`` is the profile's id, ``serial`` tells the units apart."""

    TABLE: ClassVar[str] = "unit"

    id: int | None = _id()
    machine: str = column("name", "the profile's id")
    serial: str = column("name", "the unit's own number")
    place: str = column("word", "where it stands", default="", prose=True)
    note: str = column("text", "anything else", default="", prose=True)


@attrs.frozen(kw_only=True)
class Fact:
    """One thing in which a unit differs from its profile, such as an exchanged board."""

    TABLE: ClassVar[str] = "fact"

    id: int | None = _id()
    unit_id: int = column("id", "the unit", refers="unit")
    key: str = column("name", "what differs")
    value: Any = column("json", "what holds for this unit instead")
    since: datetime.datetime = column("time", "when it was written down")
    who: str = column("initials", "by whom", default="")


@attrs.frozen(kw_only=True)
class Job:
    """One complaint about one unit, open until somebody closes it."""

    TABLE: ClassVar[str] = "job"

    id: int | None = _id()
    unit_id: int = column("id", "the unit", refers="unit")
    complaint: str = column("text", "in the customer's words", default="", prose=True)
    complaint_ids: tuple[str, ...] = column("json", "complaints by the profile's ids", default=())
    place: str = column("word", "where the machine stood", default="", prose=True)
    opened: datetime.datetime = column("time", "when the job was opened")
    closed: datetime.datetime | None = column("time", "when it was closed", default=None)
    explanation: str = column("text", "what was wrong, in words", default="", prose=True)
    who: str = column("initials", "who opened it", default="")

    def __attrs_post_init__(self) -> None:
        if self.closed is not None and self.closed < self.opened:
            raise ValueError("closed: found a time before the job was opened; wanted a later one")
        if not isinstance(self.complaint_ids, tuple):
            raise ValueError(
                f"complaint_ids: found {_kind(self.complaint_ids)}; wanted a list of ids"
            )
        for item in self.complaint_ids:
            if not isinstance(item, str):
                raise ValueError(f"complaint_ids: found {_kind(item)}; wanted a list of ids")

    @property
    def state(self) -> str:
        """``open`` or ``closed``."""
        return "open" if self.closed is None else "closed"


@attrs.frozen(kw_only=True)
class Sheet:
    """One set of readings, with the conditions under which it was taken."""

    TABLE: ClassVar[str] = "sheet"

    id: int | None = _id()
    job_id: int = column("id", "the job", refers="job")
    taken: datetime.datetime = column("time", "when it was taken")
    conditions: Mapping[str, Any] = column("json", "phase, balls and what the eye saw", default={})
    readings: Mapping[str, str] = column("json", "the reading seen at each sensor", default={})
    who: str = column("initials", "by whom", default="")

    def __attrs_post_init__(self) -> None:
        if not isinstance(self.conditions, Mapping):
            found = _kind(self.conditions)
            raise ValueError(f"conditions: found {found}; wanted a mapping such as phase and balls")
        if not isinstance(self.readings, Mapping):
            found = _kind(self.readings)
            raise ValueError(f"readings: found {found}; wanted a mapping of sensors to readings")
        for sensor, reading in self.readings.items():
            if reading not in SEEN:
                wanted = ", ".join(SEEN)
                raise ValueError(f'readings.{sensor}: found "{reading}"; wanted one of {wanted}')


@attrs.frozen(kw_only=True)
class CheckMade:
    """One bench check of a job, its result and what it cost."""

    TABLE: ClassVar[str] = "check_made"

    id: int | None = _id()
    job_id: int = column("id", "the job", refers="job")
    check: str = column("name", "the id of the check")
    result: str = column("word", "what it showed", default="", prose=True)
    minutes: float | None = column("minutes", "what it cost", default=None)
    done: datetime.datetime = column("time", "when it was made")
    who: str = column("initials", "by whom", default="")


@attrs.frozen(kw_only=True)
class Repair:
    """What was done about one part.

    A temporary repair owes a follow-up by ``due``; it is open until ``settled``.
    ``follows`` is the temporary repair that this one finishes as planned: then
    it is no new failure of the part.
    """

    TABLE: ClassVar[str] = "repair"

    id: int | None = _id()
    job_id: int = column("id", "the job", refers="job")
    part_kind: str = column("name", "the kind of part")
    part: str = column("name", "the id of the part")
    fault: str = column("word", "the kind of fault", default="")
    beside_kicker: bool = column("flag", "whether it stands beside a kicker", default=False)
    what: str = column("text", "what was done", prose=True)
    lasting: bool = column("flag", "false for a temporary repair", default=True)
    due: datetime.date | None = column("day", "when the follow-up is due", default=None)
    settled: datetime.datetime | None = column("time", "when it was followed up", default=None)
    follows: int | None = column("id", "the repair that it finishes", default=None, refers="repair")
    minutes: float | None = column("minutes", "what it cost", default=None)
    done: datetime.datetime = column("time", "when it was done")
    who: str = column("initials", "by whom", default="")
    proven: str = column("word", "how it was proven", default=NOT_PROVEN, choices=PROOFS)
    proven_at: datetime.datetime | None = column("time", "when it was proven", default=None)
    balls_aboard: int | None = column("count", "the balls left in the machine", default=None)

    def __attrs_post_init__(self) -> None:
        if not self.lasting and self.due is None:
            raise ValueError(
                "due: found nothing; a temporary repair owes a follow-up: give its date"
            )
        if self.proven != NOT_PROVEN and self.proven_at is None:
            raise ValueError(
                f'proven_at: found none with the proof "{self.proven}"; wanted the time of the proof'
            )
        if self.proven == NOT_PROVEN and self.proven_at is not None:
            raise ValueError(
                "proven_at: found a time without a proof; wanted how it was proven, or no time"
            )


@attrs.frozen(kw_only=True)
class PartOrder:
    """A part to order: value, package and quantity; ``minimum_stock`` is what ``van`` carries."""

    TABLE: ClassVar[str] = "part_order"

    id: int | None = _id()
    job_id: int | None = column("id", "the job that needs it", default=None, refers="job")
    value: str = column("name", "what it is, with its value")
    package: str = column("word", "its package", default="")
    quantity: int = column("count", "how many", default=1)
    minimum_stock: int | None = column("count", "never fewer in stock", default=None)
    van: str = column("word", "whose stock", default="", prose=True)
    asked: datetime.datetime = column("time", "when it was asked for")
    ordered: datetime.datetime | None = column("time", "when it was ordered", default=None)
    reference: str = column("word", "the number of the order", default="", prose=True)
    received: datetime.datetime | None = column("time", "when it came", default=None)
    who: str = column("initials", "who asked", default="")


@attrs.frozen(kw_only=True)
class Answer:
    """One answer of a trainee; the boxes follow from the answers."""

    TABLE: ClassVar[str] = "answer"

    id: int | None = _id()
    trainee: str = column("initials", "the trainee")
    topic: str = column("name", "the topic")
    item: str = column("name", "what was asked")
    right: bool = column("flag", "whether the answer was right")
    answered: datetime.datetime = column("time", "when")


@attrs.frozen(kw_only=True)
class Training:
    """Where a trainee stopped: at most one for each trainee."""

    TABLE: ClassVar[str] = "training"

    id: int | None = _id()
    trainee: str = column("initials", "the trainee")
    saved: datetime.datetime = column("time", "when")
    progress: Mapping[str, Any] = column("json", "what is needed to go on", default={})


RECORDS: Final = (
    Unit,
    Fact,
    Job,
    Sheet,
    CheckMade,
    Repair,
    PartOrder,
    Answer,
    Training,
)
"""Every kind of entry; an entry refers to kinds before its own, or to its own."""

R = TypeVar("R")


def record_problems(record: type[R], values: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return every column that does not hold, with what was found and wanted."""
    problems = []
    for name, described in columns_of(record):
        if name in values:
            problem = described.problem(described.normal(values[name]))
        else:
            needed = attrs.fields_dict(record)[name].default is attrs.NOTHING  # type: ignore[arg-type]
            problem = "found nothing; wanted a value" if needed else None
        if problem:
            problems.append((name, problem))
    return problems


def make(
    record: type[R], *, file: str, where: str = "", line: int | None = None, **values: Any
) -> R:
    """Return a record of what a person typed; raises InputError with every column that is wrong."""
    found = record_problems(record, values)
    if not found:
        try:
            return record(**values)
        except ValueError as error:
            name, _, message = str(error).partition(": ")
            found = [(name, message)]
    raise InputError(problems(found, file=file, where=where, line=line))


def problems(
    found: Iterable[tuple[str, str]], *, file: str, where: str = "", line: int | None = None
) -> list[Problem]:
    """Return columns and messages as problems of one place."""
    return [
        Problem(file=file, line=line, where=f"{where}.{name}" if where else name, message=message)
        for name, message in found
    ]
