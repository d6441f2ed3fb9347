"""Keeps the record's file well: verifies it, copies it while in use, rescues what can be read."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import attrs

from simrig.errors import InputError, Problem
from simrig.history import opening
from simrig.history.columns import columns_of
from simrig.history.records import RECORDS, Job, Repair
from simrig.history.released import APPLICATION_ID
from simrig.history.store import Store, open_store, record_of, table_of
from simrig.history.troubles import refusal, translated

_MOST_PROBLEMS: Final = 100
_NEXT: Final = "Go back to a backup, or rescue it with: simrig history check --rescue NEW"


@attrs.frozen(kw_only=True)
class Verdict:
    """What a verification found: the entries read by kind, and every problem."""

    entries: dict[str, int]
    problems: tuple[Problem, ...]


def verify(store: Store) -> Verdict:
    """Verify a record: the file itself, every entry, and what entries say of each other."""
    file = str(store.path)
    found: list[Problem] = []
    counts: dict[str, int] = {}
    with store.reading():
        for (said,) in store.rows(f"PRAGMA integrity_check({_MOST_PROBLEMS})"):
            if said != "ok":
                message = f"found damage ({said}); wanted none. {_NEXT}"
                found.append(Problem(file=file, where="file", message=message))
        for table, row, parent, _ in store.rows("PRAGMA foreign_key_check"):
            message = f"found no {parent} that it refers to; wanted one. {_NEXT}"
            found.append(Problem(file=file, where=f"{table} {row}", message=message))
        for record in RECORDS:
            name = table_of(record)
            counts[name] = 0
            for row in store.rows(_all_of(record)):
                counts[name] += 1
                try:
                    record_of(record, row)
                except ValueError as error:
                    message = f"{error}. {_NEXT}"
                    found.append(Problem(file=file, where=f"{name} {row[0]}", message=message))
        if not found:
            found += _contradictions(store)
    return Verdict(entries=counts, problems=tuple(found[:_MOST_PROBLEMS]))


def _all_of(record: type[Any], order: str = "ASC") -> str:
    names = ", ".join(f'"{name}"' for name, _ in columns_of(record))
    return f"SELECT {names} FROM {table_of(record)} ORDER BY id {order}"


def _contradictions(store: Store) -> Iterator[Problem]:
    """Yield what single entries cannot show: repairs that follow something they cannot."""
    file = str(store.path)
    repairs = {repair.id: repair for repair in store.find(Repair)}
    unit_of = {job.id: job.unit_id for job in store.find(Job)}
    for repair in repairs.values():
        if repair.follows is None:
            continue
        followed = repairs[repair.follows]
        where = f"repair {repair.id}"
        if followed.lasting:
            message = f"found that it follows the lasting repair {followed.id}; wanted a temporary"
            yield Problem(file=file, where=where, message=message)
        elif unit_of[followed.job_id] != unit_of[repair.job_id]:
            message = f"found that it follows repair {followed.id} of another unit; wanted the same"
            yield Problem(file=file, where=where, message=message)


def backup(store: Store, target: Path) -> None:
    """Copy the record as it is now into one file, while others go on using it.

    The copy appears whole or not at all.  An older copy is replaced; a file that
    is no shop record is not.  Raises InputError.
    """
    if target.exists() and target.samefile(store.path):
        raise refusal(str(target), "found the record itself; wanted another file for the copy")
    _refuse_foreign(target)
    partial = target.with_name(f"{target.name}.{os.getpid()}.partial")
    with translated(str(target)):
        try:
            copy = opening.connect(partial, "rwc")
            try:
                store.connection.backup(copy)
                # One file that needs no companions.
                copy.execute("PRAGMA journal_mode = DELETE")
            finally:
                copy.close()
            _keep(partial)
            os.replace(partial, target)
            _keep(target.parent)
        except OSError as error:
            raise refusal(
                str(target),
                f"found that the copy cannot be written ({error.strerror}); wanted it whole. "
                "The record is intact: name another place for the copy",
            ) from error
        finally:
            partial.unlink(missing_ok=True)


def _is_record(connection: sqlite3.Connection) -> bool:
    return bool(connection.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID)


def _refuse_foreign(target: Path) -> None:
    if not opening.inspect_path(target, may_create=True) or target.stat().st_size == 0:
        return
    with translated(str(target)):
        connection = opening.connect(target, "ro")
        try:
            ours = _is_record(connection)
        finally:
            connection.close()
    if not ours:
        raise refusal(
            str(target),
            "found a file of another program; wanted a new name or an older copy. "
            "It was not touched: name another file",
        )


def _keep(path: Path) -> None:
    """Wait until the disk has a file or the entries of a folder."""
    if os.name == "nt":  # pragma: no cover - Windows opens no folder
        return
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def rescue(damaged: Path, target: Path) -> Verdict:
    """Copy every entry that a damaged file still gives into a new record, and say what was lost.

    The damaged file is only read.  An entry whose unit or job is lost cannot be
    kept.  Raises InputError where not even the outline of the file can be read.
    """
    opening.inspect_path(damaged, may_create=False)
    if opening.inspect_path(target, may_create=True):
        raise refusal(str(target), "found a file of this name; wanted a new name for the rescue")
    found: list[Problem] = []
    counts: dict[str, int] = {}
    with translated(str(damaged)), closing(opening.connect(damaged, "ro")) as source:
        # The length of the file may contradict its header: read what is there all the same.
        source.execute("PRAGMA writable_schema = ON")
        source.execute("PRAGMA cell_size_check = ON")
        if not _is_record(source):
            raise refusal(
                str(damaged),
                "found a file of another program; wanted a shop record. It was not touched",
            )
        with open_store(target, write=True) as new, new.writing():
            new.execute("PRAGMA defer_foreign_keys = ON")
            for record in RECORDS:
                name = table_of(record)
                kept, faults = _rescue_table(source, new, record, str(damaged))
                counts[name] = kept - _drop_strays(new, record, str(damaged), faults)
                found += faults
    return Verdict(entries=counts, problems=tuple(found))


def _rescue_table(
    source: sqlite3.Connection, new: Store, record: type[Any], file: str
) -> tuple[int, list[Problem]]:
    """Copy the readable rows of a table from both ends, where the middle may be lost."""
    name = table_of(record)
    faults: list[Problem] = []
    rows: dict[int, tuple[Any, ...]] = {}
    for order in ("ASC", "DESC"):
        try:
            for row in source.execute(_all_of(record, order)):
                if row[0] in rows:
                    # Pages that lead in a circle, or the other end reached.
                    raise sqlite3.DatabaseError(f"entry {row[0]} comes twice")
                rows[row[0]] = row
            break
        except sqlite3.DatabaseError as error:
            if order == "ASC":
                message = f"found entries that cannot be read ({error}); the others were kept"
                faults.append(Problem(file=file, where=name, message=message))
    kept = 0
    for number in sorted(rows):
        try:
            new.add(record_of(record, rows[number]))
            kept += 1
            continue
        except ValueError as error:
            message = f"found an entry that does not hold ({error}); it was left out"
        except InputError as error:
            if not isinstance(error.__cause__, sqlite3.IntegrityError):
                raise
            message = (
                f"found an entry that contradicts another ({error.__cause__}); it was left out"
            )
        faults.append(Problem(file=file, where=f"{name} {number}", message=message))
    return kept, faults


def _drop_strays(new: Store, record: type[Any], file: str, faults: list[Problem]) -> int:
    """Remove the rescued rows of a table whose unit, job or repair was lost."""
    name = table_of(record)
    dropped = 0
    for column, known in columns_of(record):
        if not known.refers:
            continue
        sql = (
            f"DELETE FROM {name} WHERE {column} IS NOT NULL"
            f" AND {column} NOT IN (SELECT id FROM {known.refers})"
        )
        while lost := new.execute(sql):
            dropped += lost
    if dropped:
        message = f"found {dropped} entries whose unit or job is lost; they were left out"
        faults.append(Problem(file=file, where=name, message=message))
    return dropped
