"""The open record: transactions, and entries in and out.

An entry is acknowledged when the outermost ``writing`` block ends without an
error: then it is on the disk, and a process killed at any moment later loses
none of it.  Whatever ends the block by an error leaves no trace of it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

import attrs

from simrig.history import opening
from simrig.history.columns import columns_of
from simrig.history.places import default_store
from simrig.history.released import MIGRATIONS
from simrig.history.troubles import refusal, translated

R = TypeVar("R")


def open_store(
    path: Path | None = None,
    *,
    write: bool = False,
    patience: float = opening.PATIENCE,
    migrations: Sequence[str] = MIGRATIONS,
) -> Store:
    """Open the record at ``path``, or where it belongs on this system.

    To write, the file is made if need be, in the default place with its folder.
    To read, a record that is missing from the default place answers as an empty
    one.  Raises InputError for a file that cannot serve.
    """
    place = path if path is not None else default_store()
    if write:
        if path is None:
            _make_folder(place)
        return Store(opening.open_for_writing(place, patience, migrations), place, patience)
    if path is None and not place.exists():
        return Store(opening.empty(migrations), place, patience)
    return Store(opening.open_for_reading(place, patience, migrations), place, patience)


def _make_folder(place: Path) -> None:
    try:
        place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise refusal(
            str(place.parent),
            f"found that the folder cannot be made ({error.strerror}); wanted one for the record. "
            "Make it, or name another file with --store",
        ) from error


class Store:
    """An open record.  Close it, or use it in a ``with`` statement."""

    def __init__(self, connection: sqlite3.Connection, path: Path, patience: float) -> None:
        self.connection = connection
        self.path = path
        self.patience = patience
        self._may_write = False

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        with translated(str(self.path)):
            self.connection.close()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """One transaction that writes; a block inside another joins it."""
        if self.connection.in_transaction:
            if not self._may_write:
                raise RuntimeError("a block that writes cannot stand inside one that only reads")
            yield
            return
        with self._transaction("BEGIN IMMEDIATE"):
            self._may_write = True
            try:
                yield
            finally:
                self._may_write = False

    @contextmanager
    def reading(self) -> Iterator[None]:
        """One transaction in which all questions see the same state of the record."""
        if self.connection.in_transaction:
            yield
            return
        with self._transaction("BEGIN"):
            yield

    @contextmanager
    def _transaction(self, begin: str) -> Iterator[None]:
        with translated(str(self.path)):
            opening.patiently(lambda: self.connection.execute(begin), self.patience)
            try:
                yield
                self.connection.execute("COMMIT")
            except BaseException:
                # A full disk may have ended the transaction already.
                if self.connection.in_transaction:
                    self.connection.execute("ROLLBACK")
                raise

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Return the rows of a question."""

        def ask() -> list[tuple[Any, ...]]:
            return self.connection.execute(sql, values).fetchall()

        with translated(str(self.path)):
            if self.connection.in_transaction:
                return ask()
            return opening.patiently(ask, self.patience)

    def execute(self, sql: str, values: Sequence[Any] = ()) -> int:
        """Run one statement that writes, inside ``writing``; return the number of rows changed."""
        with self.writing(), translated(str(self.path)):
            return self.connection.execute(sql, values).rowcount

    def add(self, record: R) -> R:
        """File a new entry and return it with its number; an entry that has one keeps it."""
        cells = cells_of(record)
        names = ", ".join(f'"{name}"' for name in cells)
        marks = ", ".join("?" * len(cells))
        sql = f"INSERT INTO {table_of(record)} ({names}) VALUES ({marks})"
        with self.writing(), translated(str(self.path)):
            number = self.connection.execute(sql, tuple(cells.values())).lastrowid
        return attrs.evolve(record, id=number)  # type: ignore[misc]

    def change(self, record: R) -> R:
        """Replace the entry that has the record's number."""
        cells = cells_of(record)
        number = cells.pop("id")
        names = ", ".join(f'"{name}" = ?' for name in cells)
        sql = f"UPDATE {table_of(record)} SET {names} WHERE id = ?"
        self.execute(sql, (*cells.values(), number))
        return record

    def find(self, record: type[R], where: str = "", values: Sequence[Any] = ()) -> list[R]:
        """Return the entries of a kind for which an SQL condition holds, by number."""
        names = ", ".join(f'"{name}"' for name, _ in columns_of(record))
        condition = f" WHERE {where}" if where else ""
        sql = f"SELECT {names} FROM {table_of(record)}{condition} ORDER BY id"
        return [self.record(record, row) for row in self.rows(sql, values)]

    def get(self, record: type[R], number: int) -> R:
        """Return the entry with a number; raises InputError if there is none."""
        found = self.find(record, "id = ?", (number,))
        if not found:
            name = table_of(record).replace("_", " ")
            raise refusal(
                str(self.path),
                f"found no {name} {number} on record; wanted one that is. "
                "See the numbers with: simrig history list",
                where=name,
            )
        return found[0]

    def record(self, record: type[R], row: Sequence[Any]) -> R:
        """Return the record of a row that holds every column; raises InputError where one does
        not hold."""
        try:
            return record_of(record, row)
        except ValueError as error:
            raise refusal(
                str(self.path),
                f"found an entry that does not hold ({error}); wanted the record whole. "
                "Verify it with: simrig history check",
                where=f"{table_of(record)} {row[0]}",
            ) from error


def table_of(record: Any) -> str:
    """Return the name of the table that holds a record or a class of them."""
    return str(record.TABLE)


def cells_of(record: Any) -> dict[str, Any]:
    """Return the cells of an entry by column."""
    return {name: known.cell(getattr(record, name)) for name, known in columns_of(type(record))}


def record_of(record: type[R], row: Sequence[Any]) -> R:
    """Return the record of a row of cells; raises ValueError where a cell does not hold."""
    values = {}
    for (name, known), cell in zip(columns_of(record), row, strict=True):
        try:
            values[name] = known.from_cell(cell)
        except ValueError as error:
            raise ValueError(f"{name}: {error}") from None
    return record(**values)
