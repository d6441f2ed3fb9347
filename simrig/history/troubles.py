"""What can go wrong with the record's file, in words for the person who must act."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from simrig.errors import InputError, Problem

BUSY: Final = frozenset((sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL))

_INTACT: Final = "Nothing of this entry was written; earlier entries are intact."

_MESSAGES: Final = {
    sqlite3.SQLITE_BUSY: (
        "found it kept busy by another program; wanted a moment's turn to write. "
        f"{_INTACT} Close the other program, or try again"
    ),
    sqlite3.SQLITE_READONLY: (
        "found a file that must not be written; wanted one that can be. "
        f"{_INTACT} Allow writing to the file and its folder, or name another with --store"
    ),
    sqlite3.SQLITE_FULL: (
        f"found no room left on the disk; wanted some. {_INTACT} Make room, then file it again"
    ),
    sqlite3.SQLITE_IOERR: (
        "found that the disk did not take or give the data (full, limited, gone or failing); "
        f"wanted a disk that does. {_INTACT} Make room or mend the disk, then file it again"
    ),
    sqlite3.SQLITE_CORRUPT: (
        "found the file damaged; wanted a whole one. Nothing was changed: keep a copy of it, "
        "then save what can be read with: simrig history check --store FILE --rescue NEW, "
        "or go back to a backup"
    ),
    sqlite3.SQLITE_NOTADB: (
        "found a file that is no shop record; wanted one that simrig made. "
        "It was not touched: name another file with --store"
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "found that the file, or its companions ending in -wal and -shm, cannot be opened; "
        "wanted a file in a folder where you may read and write. "
        "Look at the permissions of file and folder, or name another with --store"
    ),
    sqlite3.SQLITE_CONSTRAINT: (
        "found an entry that contradicts what is on record; wanted one that agrees. "
        f"{_INTACT} Look at the entries with: simrig history list"
    ),
}


def primary(error: sqlite3.Error) -> int:
    """Return the primary result code of an error, 0 where there is none."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def is_busy(error: sqlite3.Error) -> bool:
    """Whether another connection only has to finish first."""
    return primary(error) in BUSY


def refusal(path: str, message: str, where: str = "shop record") -> InputError:
    """Return an error with one problem of the file."""
    return InputError([Problem(file=path, where=where, message=message)])


def trouble(path: str, error: sqlite3.Error) -> InputError:
    """Return the error for the person at the machine that stands for a database error."""
    code = primary(error)
    if code in BUSY:
        code = sqlite3.SQLITE_BUSY
    elif not code and isinstance(error, sqlite3.OperationalError):
        # The file gave bytes that are no text: only then has such an error no code.
        code = sqlite3.SQLITE_CORRUPT
    message = _MESSAGES.get(
        code,
        f"found that the database answers: {error}; wanted the entry filed. {_INTACT} "
        "Verify the file with: simrig history check",
    )
    return refusal(path, message)


@contextmanager
def translated(path: str) -> Iterator[None]:
    """Turn errors of the database inside the block into InputError."""
    try:
        yield
    except sqlite3.Error as error:
        raise trouble(path, error) from error
    except UnicodeEncodeError as error:
        message = (
            f"found {error.object[error.start : error.end]!r} in what was asked for; wanted text. "
            "Type it anew"
        )
        raise refusal(path, message) from error
    except UnicodeDecodeError as error:
        raise refusal(path, _MESSAGES[sqlite3.SQLITE_CORRUPT]) from error
