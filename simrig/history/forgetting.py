"""Removes a person from the record: the rows, the free pages, the log.

Initials are emptied wherever an entry names who did it; what a trainee answered
goes altogether.  In free text, the name as typed and in capitals is replaced
where it stands as a word of its own.  Then the file is written anew, so that no
old page still holds it.  Copies made earlier are out of reach: say so.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from typing import Any, Final

import attrs

from simrig.history import opening
from simrig.history.columns import columns_of, person
from simrig.history.records import RECORDS, Answer, Training
from simrig.history.store import Store, table_of
from simrig.history.troubles import is_busy, refusal, translated

REMOVED: Final = "[removed]"
_OF_A_TRAINEE: Final = (Answer, Training)


@attrs.frozen(kw_only=True)
class Forgotten:
    """What was removed, and where the name still stands as part of something else.

    ``entries`` were changed, ``answers`` of a trainee removed.  ``left`` names
    entries whose ids, facts or sheets hold the same letters: they name machines
    and parts, so a person must judge them.
    """

    entries: int
    answers: int
    left: tuple[str, ...]


def forget(store: Store, name: str) -> Forgotten:
    """Remove a person by initials or name; raises InputError if the file is kept busy."""
    who = person(name)
    if not who:
        raise refusal("command line", "found no name; wanted initials or a name", where="NAME")
    spellings = {who, " ".join(name.split())}
    words = re.compile(
        r"(?<![\w-])(?:" + "|".join(re.escape(word) for word in sorted(spellings)) + r")(?![\w-])"
    )
    # A short word in small letters is as likely a word of the language.
    prose_words = words
    if len(name.strip()) < 4 and name.islower():
        prose_words = re.compile(rf"(?<![\w-]){re.escape(who)}(?![\w-])")
    entries = answers = 0
    left: list[str] = []
    record: Any
    with store.writing():
        for record in RECORDS:
            for entry in store.find(record):
                if record in _OF_A_TRAINEE and entry.trainee == who:
                    store.execute(f"DELETE FROM {table_of(record)} WHERE id = ?", (entry.id,))
                    answers += record is Answer
                    continue
                changes = _without(entry, who, prose_words)
                if changes:
                    entry = store.change(attrs.evolve(entry, **changes))
                    entries += 1
                left += _left(entry, words)
    _write_anew(store)
    return Forgotten(entries=entries, answers=answers, left=tuple(left))


def _without(entry: Any, who: str, words: re.Pattern[str]) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    for name, known in columns_of(type(entry)):
        value = getattr(entry, name)
        if known.shape == "initials" and value == who:
            changes[name] = ""
        elif known.prose and value:
            replaced = words.sub(REMOVED, value)
            if replaced != value:
                changes[name] = replaced
    return changes


def _left(entry: Any, words: re.Pattern[str]) -> Iterator[str]:
    for name, known in columns_of(type(entry)):
        value = getattr(entry, name)
        if value is not None and not known.prose and words.search(known.text(value)):
            yield f"{table_of(entry)} {entry.id}: {name}"


def _write_anew(store: Store) -> None:
    def act() -> None:
        store.connection.execute("VACUUM")
        busy, *_ = store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        if busy:
            error = sqlite3.OperationalError("the log is in use")
            error.sqlite_errorcode = sqlite3.SQLITE_BUSY
            raise error

    with translated(str(store.path)):
        try:
            opening.patiently(act, store.patience)
        except sqlite3.OperationalError as error:
            found, do = f"the file not written anew ({error})", "Make room on the disk"
            if is_busy(error):
                found, do = "another program reading the record", "Close the other program"
            raise refusal(
                str(store.path),
                f"found {found}: the name is out of every entry, but old pages of the file may "
                f"still hold it. {do} and forget the name once more",
            ) from error
