"""Keeps every tap on the disk before it is acknowledged, so that no answer is ever lost.

One SQLite file beside the shop's record.  A tap carries the phone's own key: sent
twice, because an acknowledgement was lost, it is kept once.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import secrets
import sqlite3
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import attrs

from simrig.errors import InputError, Problem
from simrig.page.session import Event

FILE_NAME: Final = "page.sqlite"
_APPLICATION: Final = 0x73724770
_VERSION: Final = 1
_PATIENCE: Final = 20.0
_SCHEMA: Final = (
    "CREATE TABLE session (id TEXT PRIMARY KEY, machine TEXT NOT NULL, begun TEXT NOT NULL,"
    " job INTEGER)",
    "CREATE TABLE event (session TEXT NOT NULL REFERENCES session (id), seq INTEGER NOT NULL,"
    " key TEXT NOT NULL, at TEXT NOT NULL, kind TEXT NOT NULL, value TEXT NOT NULL,"
    " PRIMARY KEY (session, seq), UNIQUE (session, key)) WITHOUT ROWID",
    "CREATE TABLE visitor (token TEXT PRIMARY KEY, until TEXT NOT NULL)",
)
MOST_EVENTS: Final = 20_000


@attrs.frozen(kw_only=True)
class Session:
    """One job at one machine; ``job`` is its number on the shop's record once it is filed."""

    id: str
    machine: str
    begun: datetime.datetime
    job: int | None


class Answers:
    """The open file; safe to use from several threads."""

    def __init__(self, path: Path) -> None:
        """Open the file, made if need be; raises InputError where it cannot hold answers."""
        self.path = path
        self._lock = threading.RLock()
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._connection = sqlite3.connect(
                path, timeout=_PATIENCE, isolation_level=None, check_same_thread=False
            )
            self._prepare()
        except (OSError, sqlite3.Error) as error:
            raise _refusal(path, f"it cannot be used ({error}); name another with --answers") from (
                error
            )

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._connection.close()

    def _prepare(self) -> None:
        ask = self._connection.execute
        application = ask("PRAGMA application_id").fetchone()[0]
        version = ask("PRAGMA user_version").fetchone()[0]
        tables = ask("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if tables and (application != _APPLICATION or version != _VERSION):
            raise _refusal(self.path, "found another program's database, or a newer one; it was "
                                      "not touched; name another file with --answers")  # fmt: skip
        ask("PRAGMA journal_mode = WAL")
        ask("PRAGMA synchronous = FULL")
        ask("PRAGMA foreign_keys = ON")
        if not tables:
            with self._writing():
                if not ask("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                    for statement in _SCHEMA:
                        ask(statement)
                    ask(f"PRAGMA application_id = {_APPLICATION}")
                    ask(f"PRAGMA user_version = {_VERSION}")

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with self._lock:
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def _rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        with self._lock:
            return self._connection.execute(sql, values).fetchall()

    def begin(self, machine: str, *, now: datetime.datetime) -> Session:
        """Begin a job at a machine."""
        made = Session(id=secrets.token_hex(8), machine=machine, begun=now, job=None)
        with self._writing():
            self._connection.execute(
                "INSERT INTO session VALUES (?, ?, ?, NULL)", (made.id, machine, now.isoformat())
            )
        return made

    def session(self, name: str) -> Session | None:
        """Return a job by its id; None where there is none."""
        rows = self._rows("SELECT id, machine, begun, job FROM session WHERE id = ?", name)
        return _session(rows[0]) if rows else None

    def going_on(self, most: int = 8) -> list[Session]:
        """Return the jobs that are not filed yet and in which something was tapped, newest first."""
        rows = self._rows(
            "SELECT id, machine, begun, job FROM session WHERE job IS NULL AND EXISTS"
            " (SELECT 1 FROM event WHERE session = id) ORDER BY begun DESC LIMIT ?",
            most,
        )
        return [_session(row) for row in rows]

    def last_used(self) -> list[str]:
        """Return the machines in the order of their last use, the last one first."""
        rows = self._rows("SELECT machine FROM session GROUP BY machine ORDER BY max(begun) DESC")
        return [row[0] for row in rows]

    def mark_filed(self, name: str, job: int) -> None:
        """Note under which number a job is on the shop's record."""
        with self._writing():
            self._connection.execute("UPDATE session SET job = ? WHERE id = ?", (job, name))

    def events(self, name: str) -> list[Event]:
        """Return everything that was tapped in a job, in order."""
        rows = self._rows(
            "SELECT seq, key, kind, value FROM event WHERE session = ? ORDER BY seq", name
        )
        return [
            Event(seq=seq, key=key, kind=kind, value=json.loads(value))
            for seq, key, kind, value in rows
        ]

    def last(self, name: str) -> int:
        """Return the number of the last event of a job; 0 where nothing was tapped."""
        return int(
            self._rows("SELECT coalesce(max(seq), 0) FROM event WHERE session = ?", name)[0][0]
        )

    def add(
        self, name: str, taps: Iterable[tuple[str, str, Any]], *, now: datetime.datetime
    ) -> int:
        """Keep taps, (key, kind, value) each, and return the number of the last event.

        A key that is there already is left as it is.  Raises ValueError when the job is full.
        """
        with self._writing():
            seq = self.last(name)
            for key, kind, value in taps:
                known = self._connection.execute(
                    "SELECT 1 FROM event WHERE session = ? AND key = ?", (name, key)
                ).fetchone()
                if known:
                    continue
                if seq >= MOST_EVENTS:
                    raise ValueError("this job has no room for more; file it and begin another")
                seq += 1
                self._connection.execute(
                    "INSERT INTO event VALUES (?, ?, ?, ?, ?, ?)",
                    (name, seq, key, now.isoformat(), kind, json.dumps(value)),
                )
            return seq

    def admit(self, token: str, *, until: datetime.datetime) -> None:
        """Let the holder of a token in until a time; only a digest of the token is kept."""
        with self._writing():
            self._connection.execute(
                "INSERT OR REPLACE INTO visitor VALUES (?, ?)", (_digest(token), until.isoformat())
            )

    def admitted(self, token: str, *, now: datetime.datetime) -> bool:
        """Whether the holder of a token is let in now."""
        rows = self._rows("SELECT until FROM visitor WHERE token = ?", _digest(token))
        return bool(rows) and now < datetime.datetime.fromisoformat(rows[0][0])


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _session(row: tuple[Any, ...]) -> Session:
    name, machine, begun, job = row
    return Session(id=name, machine=machine, begun=datetime.datetime.fromisoformat(begun), job=job)


def _refusal(path: Path, message: str) -> InputError:
    return InputError([Problem(file=str(path), where="answers", message=message)])
