"""Opens the record's file: recognises it, creates it, brings it to the newest version.

A file is recognised before anything is written to it, so that a foreign file is
refused untouched.  Creating is migrating from version 0.  All migrations needed
run in one transaction under the write lock.
"""

from __future__ import annotations

import os
import sqlite3
import stat
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final, TypeVar

from simrig.history.released import APPLICATION_ID, MIGRATIONS
from simrig.history.troubles import is_busy, primary, refusal, translated

PATIENCE: Final = 60.0
"""Seconds to wait for another program before saying so."""

_TURN: Final = 5.0
_PAUSE: Final = 0.01
_NEEDS_WRITING: Final = frozenset((sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY))

T = TypeVar("T")


def patiently(act: Callable[[], T], patience: float) -> T:
    """Return what ``act`` returns, tried again while others hold the file, up to ``patience``."""
    end = time.monotonic() + patience
    while True:
        try:
            return act()
        except sqlite3.OperationalError as error:
            if not is_busy(error) or time.monotonic() >= end:
                raise
            time.sleep(_PAUSE)


def connect(path: Path, mode: str, patience: float = PATIENCE) -> sqlite3.Connection:
    """Return a connection to a file; ``mode`` is rw, ro or ro&immutable=1."""
    uri = f"{path.absolute().as_uri()}?mode={mode}"
    return sqlite3.connect(uri, uri=True, timeout=min(_TURN, patience), isolation_level=None)


def statements(script: str) -> Iterator[str]:
    """Yield the statements of an SQL text one by one."""
    pending = ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            yield pending.strip()
            pending = ""
    if pending.strip():
        yield pending.strip()


def version_of(connection: sqlite3.Connection) -> int:
    """Return the schema version of an open file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def migrate(connection: sqlite3.Connection, migrations: Sequence[str] = MIGRATIONS) -> None:
    """Bring an open file to the newest version in one transaction; raises sqlite3.Error."""
    connection.execute("PRAGMA foreign_keys = OFF")
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another program may have done it while this one waited for the lock.
        found = version_of(connection)
        for number, script in enumerate(migrations[found:], start=found + 1):
            for statement in statements(script):
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number}")
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        if connection.execute("PRAGMA foreign_key_check").fetchone() is not None:
            raise sqlite3.IntegrityError("an entry refers to one that is missing")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def inspect_path(path: Path, *, may_create: bool) -> bool:
    """Return whether the file exists; raises InputError for what cannot hold a record."""
    try:
        mode = os.stat(path).st_mode
    except FileNotFoundError:
        mode = None
    except OSError as error:
        raise refusal(
            str(path),
            f"found that it cannot be reached ({error.strerror}); wanted a file in a folder where "
            "you may read and write. Look at the path, or name another with --store",
        ) from error
    if mode is None:
        if not path.parent.is_dir():
            raise refusal(
                str(path),
                f"found no folder {path.parent}; wanted one to keep the record in. "
                "Make the folder, or name another file with --store",
            )
        if not may_create:
            raise refusal(
                str(path),
                "found no such file; wanted a shop record. "
                "Look at the path, or file a first entry with: simrig history add",
            )
        return False
    if not stat.S_ISREG(mode):
        kind = "a folder" if stat.S_ISDIR(mode) else "something that is no file"
        raise refusal(str(path), f"found {kind}; wanted a file. Name a file in it with --store")
    return True


def recognise(connection: sqlite3.Connection, path: Path, migrations: Sequence[str]) -> int:
    """Return the version of a file, 0 for an empty one; raises InputError for a foreign or
    newer one."""
    application = int(connection.execute("PRAGMA application_id").fetchone()[0])
    version = version_of(connection)
    tables = int(connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
    if application == 0 and version == 0 and tables == 0:
        return 0
    if application != APPLICATION_ID or version < 1:
        raise refusal(
            str(path),
            "found a database of another program; wanted a shop record. "
            "It was not touched: name another file with --store",
        )
    if version > len(migrations):
        raise refusal(
            str(path),
            f"found version {version} of the record, from a newer simrig; wanted at most "
            f"version {len(migrations)}. It was not touched: use the newer simrig, or have it "
            "export the record and import that here",
        )
    return version


def look_first(path: Path, migrations: Sequence[str], patience: float = PATIENCE) -> None:
    """Refuse a file that is no record of ours before anything opens it for writing.

    The last connection that may write tidies up a database when it is closed, a
    foreign one too; one that only reads leaves it alone.
    """
    mode = "ro" if _has_log(path) else "ro&immutable=1"
    with closing(connect(path, mode, patience)) as connection:
        try:
            recognise(connection, path, migrations)
        except sqlite3.DatabaseError as error:
            # Somebody may be writing just now: the proper opening tells what else is wrong.
            if primary(error) == sqlite3.SQLITE_NOTADB:
                raise


def _has_log(path: Path) -> bool:
    try:
        return path.with_name(path.name + "-wal").stat().st_size > 0
    except FileNotFoundError:
        return False


def open_for_writing(
    path: Path, patience: float = PATIENCE, migrations: Sequence[str] = MIGRATIONS
) -> sqlite3.Connection:
    """Return a connection that may write, its file created or migrated as needed."""
    exists = inspect_path(path, may_create=True)
    with translated(str(path)):
        if exists:
            look_first(path, migrations, patience)
        connection = connect(path, "rw" if exists else "rwc", patience)
        with _closed_on_error(connection):
            version = patiently(lambda: recognise(connection, path, migrations), patience)
            patiently(lambda: _keep_log(connection, path), patience)
            if version < len(migrations):
                patiently(lambda: migrate(connection, migrations), patience)
            _settle(connection)
    return connection


@contextmanager
def _closed_on_error(connection: sqlite3.Connection) -> Iterator[None]:
    try:
        yield
    except BaseException:
        connection.close()
        raise


def open_for_reading(
    path: Path, patience: float = PATIENCE, migrations: Sequence[str] = MIGRATIONS
) -> sqlite3.Connection:
    """Return a connection for questions; a file of an older version is migrated if it can be."""
    inspect_path(path, may_create=False)
    with translated(str(path)):
        look_first(path, migrations, patience)
        connection, writable = _readable(path, patience)
        with _closed_on_error(connection):
            version = patiently(lambda: recognise(connection, path, migrations), patience)
        if version == len(migrations):
            connection.execute("PRAGMA query_only = ON")
            return connection
    connection.close()
    if version == 0:
        return empty(migrations)
    if not writable:
        raise refusal(
            str(path),
            f"found version {version} of the record, which must not be written; wanted version "
            f"{len(migrations)}. Copy it to where you may write and open the copy with --store",
        )
    return open_for_writing(path, patience, migrations)


def empty(migrations: Sequence[str] = MIGRATIONS) -> sqlite3.Connection:
    """Return an empty record in memory, for questions where there is none yet."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection, migrations)
    return connection


def _readable(path: Path, patience: float) -> tuple[sqlite3.Connection, bool]:
    """Return a connection that can read, and whether it may write.

    A record on a medium where nothing can be written has no room for the log's
    companions; it can be read as it stands if no log is left over.
    """
    modes = ["rw", "ro"] if _has_log(path) else ["rw", "ro", "ro&immutable=1"]
    for mode in modes[:-1]:
        try:
            return _answering(path, mode, patience), mode == "rw" and os.access(path, os.W_OK)
        except sqlite3.OperationalError as error:
            if primary(error) not in _NEEDS_WRITING:
                raise
    return _answering(path, modes[-1], patience), False


def _answering(path: Path, mode: str, patience: float) -> sqlite3.Connection:
    connection = connect(path, mode, patience)
    with _closed_on_error(connection):
        patiently(lambda: version_of(connection), patience)
    return connection


def _keep_log(connection: sqlite3.Connection, path: Path) -> None:
    mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode != "wal":
        raise refusal(
            str(path),
            "found a disk on which two programs cannot share a record; wanted a disk of this "
            "machine. Keep the record there, and copy it with: simrig history backup",
        )


def _settle(connection: sqlite3.Connection) -> None:
    """Set what makes an acknowledged entry last: each commit waits until the disk has it."""
    for setting in (
        "synchronous = FULL",
        "foreign_keys = ON",
        "secure_delete = ON",
        "trusted_schema = OFF",
    ):
        connection.execute(f"PRAGMA {setting}")
