"""What a file may be: new, older, newer, foreign, missing, damaged, read-only, full."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from simrig import history
from simrig.errors import InputError
from simrig.history import opening
from simrig.history.columns import columns_of
from simrig.history.places import default_store
from simrig.history.records import RECORDS
from simrig.history.released import APPLICATION_ID, MIGRATIONS
from simrig.history.troubles import translated
from tests.history import shop
from tests.history.shop import at_most

RELEASED = Path(__file__).parent / "released"


def filled(path, jobs=30):
    with history.open_store(path, write=True) as store:
        shop.fill(store, jobs=jobs)
        return history.export_json(store)


def exported(path):
    with history.open_store(path) as store:
        return history.export_json(store)


def told(call, *arguments, **values):
    with pytest.raises(InputError) as error:
        call(*arguments, **values)
    (problem,) = error.value.problems
    return problem.message


# Where it belongs.


@pytest.mark.parametrize(
    ("platform", "environment", "wanted"),
    [
        ("linux", {}, "/home/tech/.local/share/simrig/history.sqlite"),
        ("linux", {"XDG_DATA_HOME": "/data"}, "/data/simrig/history.sqlite"),
        ("linux", {"XDG_DATA_HOME": "data"}, "/home/tech/.local/share/simrig/history.sqlite"),
        ("darwin", {}, "/home/tech/Library/Application Support/simrig/history.sqlite"),
        ("win32", {"LOCALAPPDATA": "/local"}, "/local/simrig/history.sqlite"),
        ("win32", {}, "/home/tech/AppData/Local/simrig/history.sqlite"),
    ],
)
def test_the_place_of_the_record(platform, environment, wanted):
    """The user's data folder of each system; a relative XDG_DATA_HOME counts for nothing.
    Source: XDG Base Directory Specification."""
    home = Path("/home/tech")
    assert default_store(platform=platform, environment=environment, home=home) == Path(wanted)


def test_the_default_place_is_made_when_something_is_filed(tmp_path, monkeypatch, now):
    """Asking makes no file and answers as an empty record; filing makes the folder too."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setattr(sys, "platform", "linux")
    place = default_store(platform="linux")
    with history.open_store() as store:
        assert history.listed(store) == ()
        assert history.due(store, today=now.date()) == ()
    assert not place.parent.exists()
    with history.open_store(write=True) as store:
        history.open_job(store, "tidal-clockwork", "7", now=now)
    assert place.is_file()
    with history.open_store() as store:
        assert len(history.listed(store)) == 1


# What an acknowledged entry rests on.


def test_the_settings_that_make_an_entry_last(store):
    """Write-ahead log, a wait for the disk at each commit, checked references, wiped pages."""
    values = {
        name: store.rows(f"PRAGMA {name}")[0][0]
        for name in ("journal_mode", "synchronous", "foreign_keys", "secure_delete")
    }
    full = 2
    assert values == {
        "journal_mode": "wal", "synchronous": full, "foreign_keys": 1, "secure_delete": 1,
    }  # fmt: skip


def test_the_file_says_whose_it_is(path):
    """The file carries the program's mark and the schema's version in its header."""
    filled(path)
    header = path.read_bytes()[:100]
    assert header.startswith(b"SQLite format 3\0")
    assert int.from_bytes(header[68:72]) == APPLICATION_ID
    assert int.from_bytes(header[60:64]) == len(MIGRATIONS)


def test_every_column_of_a_record_is_a_column_of_its_table(store):
    """The classes and the newest schema agree, column for column."""
    for record in RECORDS:
        table = [row[1] for row in store.rows(f"PRAGMA table_info({record.TABLE})")]
        assert table == [name for name, _ in columns_of(record)]


# Versions.


def outline(path):
    with sqlite3.connect(path) as connection:
        rows = connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY 2")
        return [(*row[:3], " ".join((row[3] or "").split())) for row in rows]


def load(script, path):
    connection = sqlite3.connect(path)
    connection.executescript(script)
    connection.close()


@pytest.mark.parametrize("version", range(1, len(MIGRATIONS) + 1))
def test_a_record_of_every_released_version_opens_with_all_its_entries(version, path, tmp_path):
    """A database of each released version, kept as SQL text, is brought to the newest."""
    load((RELEASED / f"version_{version}.sql").read_text("utf-8"), path)
    with history.open_store(path, write=True) as store:
        assert history.verify(store).problems == ()
        assert history.export_json(store) == (RELEASED / f"version_{version}.json").read_text(
            "utf-8"
        )
    with history.open_store(tmp_path / "new.sqlite", write=True):
        pass
    assert outline(path) == outline(tmp_path / "new.sqlite")


ADDS_A_COLUMN = "ALTER TABLE unit ADD COLUMN owner TEXT NOT NULL DEFAULT 'the shop';"
REBUILDS = """
CREATE TABLE new_unit (
    id INTEGER PRIMARY KEY,
    machine TEXT NOT NULL,
    serial TEXT NOT NULL,
    place TEXT NOT NULL,
    note TEXT NOT NULL,
    owner TEXT NOT NULL CHECK (owner <> ''),
    UNIQUE (machine, serial)
);
INSERT INTO new_unit SELECT * FROM unit;
DROP TABLE unit;
ALTER TABLE new_unit RENAME TO unit;
"""


def version_in(path):
    with sqlite3.connect(path) as connection:
        return connection.execute("PRAGMA user_version").fetchone()[0]


def test_an_older_record_is_migrated_step_by_step(path):
    """Two further versions take the file from version 1 to 3; its entries stay."""
    before = filled(path)
    migrations = (*MIGRATIONS, ADDS_A_COLUMN, REBUILDS)
    with history.open_store(path, write=True, migrations=migrations) as store:
        assert store.rows("SELECT DISTINCT owner FROM unit") == [("the shop",)]
        assert history.export_json(store) == before
    assert version_in(path) == len(MIGRATIONS) + 2


def test_asking_an_older_record_migrates_it_too(path):
    """A question to an older file is answered from the newest form of it."""
    filled(path)
    migrations = (*MIGRATIONS, ADDS_A_COLUMN)
    with history.open_store(path, migrations=migrations) as store:
        assert store.rows("SELECT DISTINCT owner FROM unit") == [("the shop",)]


@pytest.mark.parametrize(
    "broken",
    ["CREATE TABLE x (a); INSERT INTO nowhere VALUES (1);", "DELETE FROM unit WHERE id = 1;"],
)
def test_a_migration_that_fails_leaves_the_old_file(broken, path):
    """A step that breaks, or that leaves an entry without its unit, changes nothing at all."""
    before = filled(path)
    with pytest.raises(InputError):
        history.open_store(path, write=True, migrations=(*MIGRATIONS, ADDS_A_COLUMN, broken))
    assert version_in(path) == len(MIGRATIONS)
    assert exported(path) == before


def test_the_last_statement_of_a_migration_needs_no_sign_at_its_end(path):
    """A migration whose last statement is not closed by a semicolon is carried out whole."""
    filled(path)
    migrations = (*MIGRATIONS, ADDS_A_COLUMN.rstrip(";"))
    with history.open_store(path, write=True, migrations=migrations) as store:
        assert store.rows("SELECT DISTINCT owner FROM unit") == [("the shop",)]


def test_a_migration_without_room_leaves_the_old_file(path):
    """Where the disk is full in the middle of a migration, the file is as it was."""
    before = filled(path)
    size = path.stat().st_size
    with at_most(size + 100_000):
        copies = "CREATE TABLE t AS SELECT a.* FROM sheet a, sheet b, sheet c;"
        message = told(history.open_store, path, write=True, migrations=(*MIGRATIONS, copies))
    assert message.startswith(("found that the disk did not take", "found no room left"))
    assert version_in(path) == len(MIGRATIONS)
    assert exported(path) == before


def test_a_newer_record_is_refused_untouched(path):
    """A file of a newer version is named, with what to do, and stays as it is."""
    filled(path)
    with history.open_store(path, write=True, migrations=(*MIGRATIONS, ADDS_A_COLUMN)):
        pass
    before = path.read_bytes()
    for write in (True, False):
        message = told(history.open_store, path, write=write)
        found = len(MIGRATIONS) + 1
        assert f"found version {found} of the record, from a newer simrig" in message
        assert f"wanted at most version {found - 1}" in message
        assert "use the newer simrig" in message
    assert path.read_bytes() == before


# Where two programs cannot share a file.


def test_a_disk_that_cannot_be_shared_is_told(path, monkeypatch):
    """Where a file's lock is all that programs share, no record is kept: it says where to."""
    connect = sqlite3.connect
    monkeypatch.setattr(
        opening.sqlite3,
        "connect",
        lambda name, **more: connect(f"{name}&vfs=unix-dotfile", **more),
    )
    message = told(history.open_store, path, write=True)
    assert message == (
        "found a disk on which two programs cannot share a record; wanted a disk of this machine. "
        "Keep the record there, and copy it with: simrig history backup"
    )


def test_a_record_that_another_program_keeps_to_itself(path, monkeypatch):
    """Who asks a record that another program holds alone asks again and again, is told so in the
    end, and answered once it is free."""
    monkeypatch.setattr(opening, "_TURN", 0.01)
    filled(path)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN IMMEDIATE")
    other.execute("UPDATE unit SET note = 'x'")
    message = told(history.open_store, path, patience=0.2)
    assert message.startswith("found it kept busy by another program; wanted a moment's turn")
    other.execute("ROLLBACK")
    other.close()
    assert len(exported(path)) > 1000


def test_a_place_where_no_folder_can_be_made(tmp_path, monkeypatch):
    """Where the folder of the usual record cannot be made, it is named with what to do."""
    (tmp_path / "data").write_text("in the way")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setattr(sys, "platform", "linux")
    message = told(history.open_store, write=True)
    assert message == (
        "found that the folder cannot be made (Not a directory); wanted one for the record. "
        "Make it, or name another file with --store"
    )


# What is no record.


def a_database_of_others(path):
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE unit (id INTEGER)")


@pytest.mark.parametrize("write", [True, False])
@pytest.mark.parametrize(
    ("make", "said"),
    [
        (a_database_of_others, "found a database of another program"),
        (
            lambda path: path.write_text("sensor,reading\n" * 99),
            "found a file that is no shop record",
        ),
        (lambda path: path.write_bytes(os.urandom(8192)), "found a file that is no shop record"),
    ],
)
def test_a_foreign_file_is_refused_untouched(make, said, write, path):
    """What another program wrote is named and not touched."""
    make(path)
    before = path.read_bytes()
    message = told(history.open_store, path, write=write)
    assert said in message
    assert "--store" in message
    assert path.read_bytes() == before
    assert list(path.parent.iterdir()) == [path]


@pytest.mark.parametrize("write", [True, False])
def test_the_log_of_a_foreign_database_is_not_touched(write, path, tmp_path):
    """What another program has not yet moved out of its log stays in its log."""
    source = tmp_path / "theirs.sqlite"
    connection = sqlite3.connect(source, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("CREATE TABLE theirs (a)")
    log = path.with_name(path.name + "-wal")
    path.write_bytes(source.read_bytes())
    log.write_bytes(source.with_name(source.name + "-wal").read_bytes())
    connection.close()
    before = path.read_bytes(), log.read_bytes()
    assert len(log.read_bytes()) > 1000
    assert "found a database of another program" in told(history.open_store, path, write=write)
    assert (path.read_bytes(), log.read_bytes()) == before


def test_an_empty_file_is_a_new_record(path, now):
    """A file of no length, as a crash at its making leaves it, is filled; asked, it is empty."""
    path.touch()
    with history.open_store(path) as store:
        assert history.listed(store) == ()
    with history.open_store(path, write=True) as store:
        history.open_job(store, "tidal-clockwork", "7", now=now)
    assert len(exported(path)) > 100


@pytest.mark.parametrize("write", [True, False])
def test_a_missing_folder_is_named(write, tmp_path):
    """A record in a folder that does not exist is refused with the folder's name."""
    message = told(history.open_store, tmp_path / "no" / "shop.sqlite", write=write)
    assert message.startswith(f"found no folder {tmp_path / 'no'}; wanted one")


def test_a_missing_file_is_named_when_it_is_asked(path):
    """A mistyped --store does not answer as an empty record."""
    assert told(history.open_store, path).startswith("found no such file; wanted a shop record")
    assert not path.exists()


def test_a_folder_or_a_device_is_no_record(tmp_path):
    """A folder, or something that is no file, is refused."""
    assert told(history.open_store, tmp_path, write=True).startswith(
        "found a folder; wanted a file"
    )
    if os.path.exists("/dev/full"):
        message = told(history.open_store, Path("/dev/full"), write=True)
        assert message.startswith("found something that is no file")
    below = tmp_path / "file"
    below.touch()
    assert "cannot be reached" in told(history.open_store, below / "x.sqlite", write=True)


# Damage.


def test_a_torn_end_of_the_log_loses_only_what_was_not_acknowledged(path, tmp_path, now):
    """However much of the log's end is lost, what remains is a prefix of the entries, whole."""
    with history.open_store(path, write=True) as store:
        store.connection.execute("PRAGMA wal_autocheckpoint = 0")
        for number in range(12):
            history.open_job(store, "tidal-clockwork", f"{number:02}", complaint="x" * 900, now=now)
        main, log = path.read_bytes(), path.with_name(path.name + "-wal").read_bytes()
    seen = set()
    for number, length in enumerate([*range(0, len(log), 1777), len(log)]):
        torn = tmp_path / f"torn-{number}.sqlite"
        torn.write_bytes(main)
        torn.with_name(torn.name + "-wal").write_bytes(log[:length])
        with history.open_store(torn, write=True) as store:
            serials = sorted(row.unit.serial for row in history.listed(store))
            assert serials == [f"{number:02}" for number in range(len(serials))]
            assert history.verify(store).problems == ()
            seen.add(len(serials))
    assert {0, 12} < seen


def test_a_damaged_end_is_told_and_the_rest_is_rescued(path, tmp_path):
    """With the end of the file cut off, the message says so, the file stays as it is, and what
    can still be read comes into a new record, each entry as it was."""
    filled(path, jobs=300)
    with history.open_store(path) as store:
        before = {record: {e.id: e for e in store.find(record)} for record in RECORDS}
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) * 2 // 3 // 4096 * 4096])
    damaged = path.read_bytes()
    for write in (True, False):
        message = told(history.open_store, path, write=write)
        assert message.startswith("found the file damaged; wanted a whole one. Nothing was changed")
        assert "--rescue" in message
    target = tmp_path / "rescued.sqlite"
    verdict = history.rescue(path, target)
    assert path.read_bytes() == damaged
    assert verdict.problems
    with history.open_store(target) as store:
        assert history.verify(store).problems == ()
        kept = 0
        for record in RECORDS:
            for entry in store.find(record):
                assert entry == before[record][entry.id]
                kept += 1
    assert kept == sum(verdict.entries.values())
    assert kept > sum(len(entries) for entries in before.values()) / 4


def test_a_rescue_of_a_whole_file_loses_nothing(path, tmp_path):
    """From a file without damage everything comes over, and the new file must be new."""
    before = filled(path)
    assert history.rescue(path, tmp_path / "new.sqlite").problems == ()
    assert exported(tmp_path / "new.sqlite") == before
    assert "wanted a new name" in told(history.rescue, path, tmp_path / "new.sqlite")


def row_bytes(path, old, new):
    """Change bytes of the file that stand in it once."""
    data = path.read_bytes()
    assert data.count(old) == 1
    assert len(old) == len(new)
    path.write_bytes(data.replace(old, new))


def rescued(path, tmp_path):
    """Rescue a file; return what was told and how many entries of each kind are in the new one."""
    verdict = history.rescue(path, tmp_path / "rescued.sqlite")
    with history.open_store(tmp_path / "rescued.sqlite") as store:
        assert history.verify(store).problems == ()
        assert {record.TABLE: len(store.find(record)) for record in RECORDS} == verdict.entries
    return [(one.where, one.message) for one in verdict.problems], verdict.entries


def test_an_entry_that_does_not_hold_is_left_out_of_a_rescue(path, tmp_path):
    """One entry with a time that is none stays behind, and what belongs to it; all else comes."""
    filled(path)
    with history.open_store(path) as store:
        before = history.verify(store).entries
        sheets = len(store.find(history.Sheet, "job_id = 3"))
    spoil(path, "UPDATE job SET opened = 'noon' WHERE id = 3")
    problems, entries = rescued(path, tmp_path)
    assert problems[0] == (
        "job 3",
        'found an entry that does not hold (opened: found "noon"; wanted a time with its offset '
        "from UTC, such as 2026-01-31T10:00:00Z); it was left out",
    )
    assert (entries["job"], entries["sheet"]) == (before["job"] - 1, before["sheet"] - sheets)


def test_bytes_that_are_no_text(path, tmp_path):
    """A text whose bytes are damaged is told as damage, and the entries at both its sides come
    into a rescue."""
    filled(path)
    with history.open_store(path, write=True) as store:
        now = shop.START
        for serial in ("before", "brokenXX", "after"):
            history.ensure_unit(store, "basalt-freight", serial, place=f"place of {serial}")
        before = history.verify(store).entries
        history.add_answer(store, trainee="tr", topic="t", item="i", right=True, now=now)
    row_bytes(path, b"place of brokenXX", b"place of broken\xff\xff")
    with history.open_store(path) as store:
        for ask in (history.verify, history.export_json):
            message = told(ask, store)
            assert message.startswith("found the file damaged; wanted a whole one.")
            assert "--rescue NEW" in message
    problems, entries = rescued(path, tmp_path)
    ((where, message),) = problems
    assert where == "unit"
    assert message.startswith("found entries that cannot be read (Could not decode to UTF-8")
    assert entries["unit"] == before["unit"] - 1
    assert entries["answer"] == 1


def test_two_units_of_one_number_are_one_in_a_rescue(path, tmp_path):
    """An entry that contradicts another because its bytes changed is left out, the others come."""
    with history.open_store(path, write=True) as store:
        for serial in ("8001", "8002", "8003"):
            history.ensure_unit(store, "basalt-freight", serial, place="arcade")
    row_bytes(path, b"8002arcade", b"8001arcade")
    problems, entries = rescued(path, tmp_path)
    ((where, message),) = problems
    assert where == "unit 2"
    assert message.startswith("found an entry that contradicts another (UNIQUE constraint failed")
    assert entries["unit"] == 2


def test_pages_that_lead_in_a_circle_end(path, tmp_path):
    """Where a damaged page points at the same entries twice, a rescue ends, says so, and has the
    others from both ends."""
    with history.open_store(path, write=True) as store:
        for number in range(400):
            history.ensure_unit(store, "basalt-freight", f"{number:04}", place="x" * 100)
        (root,) = store.rows("SELECT rootpage FROM sqlite_master WHERE name = 'unit'")[0]
        (size,) = store.rows("PRAGMA page_size")[0]
    data = bytearray(path.read_bytes())
    page = (root - 1) * size
    # The head of an inner page of a table: its kind is 5, then cells from byte 12, each of which
    # starts with the number of the page below.  Source: SQLite's file format.
    assert data[page] == 5
    cells = [page + int.from_bytes(data[page + at : page + at + 2]) for at in (12, 14, 16, 18)]
    data[cells[2] : cells[2] + 4] = data[cells[1] : cells[1] + 4]
    path.write_bytes(bytes(data))
    problems, entries = rescued(path, tmp_path)
    ((where, message),) = problems
    assert where == "unit"
    assert "comes twice); the others were kept" in message
    assert 300 < entries["unit"] < 400


def test_a_table_that_is_lost_costs_no_other(path, tmp_path):
    """With one table gone from the outline of the file, the entries of the others are rescued."""
    filled(path)
    with history.open_store(path) as store:
        before = history.verify(store).entries
    spoil(path, "DROP TABLE check_made")
    problems, entries = rescued(path, tmp_path)
    assert problems == [
        (
            "check_made",
            "found entries that cannot be read (no such table: check_made); the others were kept",
        )
    ]
    assert entries == {**before, "check_made": 0}


def test_no_room_for_a_rescue(path, tmp_path):
    """Where the new record does not fit on the disk it is told, not taken for a bad entry."""
    with history.open_store(path, write=True) as store, store.writing():
        for number in range(260):
            history.open_job(
                store, "tidal-clockwork", f"{number}", complaint="x" * 9_000, now=shop.START
            )
    with at_most(1_000_000):
        message = told(history.rescue, path, tmp_path / "new.sqlite")
    assert message.startswith(("found that the disk did not take", "found no room left"))
    with history.open_store(tmp_path / "new.sqlite") as store:
        assert history.listed(store) == ()
        assert store.find(history.Unit) == []


def test_a_disk_that_is_full_for_a_moment_ends_a_rescue(path, tmp_path, monkeypatch):
    """Where one entry does not go onto the disk, it is not taken for a bad one and left out."""
    filled(path)
    add, turns = history.Store.add, iter(range(1000))

    def full_once(store, record):
        if next(turns) == 20:
            error = sqlite3.OperationalError("database or disk is full")
            error.sqlite_errorcode = sqlite3.SQLITE_FULL
            with translated(str(path)):
                raise error
        return add(store, record)

    monkeypatch.setattr(history.Store, "add", full_once)
    assert told(history.rescue, path, tmp_path / "new.sqlite").startswith("found no room left")
    monkeypatch.undo()
    with history.open_store(tmp_path / "new.sqlite") as store:
        assert store.find(history.Unit) == []


def test_a_name_of_a_table_that_is_no_text(path):
    """An outline whose own words are damaged bytes is told as damage."""
    filled(path, jobs=1)
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA writable_schema = ON")
    connection.execute(
        "UPDATE sqlite_master SET sql = CAST(x'435245415445205441424c4520ff20ff' AS TEXT) "
        "WHERE name = 'fact'"
    )
    connection.close()
    assert told(history.open_store, path).startswith("found the file damaged; wanted a whole one.")


def test_a_foreign_file_is_not_rescued(path, tmp_path):
    """Another program's database gives no entries and no new file."""
    a_database_of_others(path)
    assert "another program" in told(history.rescue, path, tmp_path / "new.sqlite")
    assert not (tmp_path / "new.sqlite").exists()


def spoil(path, sql):
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA ignore_check_constraints = ON")
    connection.execute(sql)
    connection.close()


@pytest.mark.parametrize(
    ("sql", "where", "said"),
    [
        ("UPDATE job SET opened = 'noon' WHERE id = 3", "job 3", 'found "noon"; wanted a time'),
        ("UPDATE sheet SET readings = '{' WHERE id = 2", "sheet 2", "wanted a JSON text"),
        ('UPDATE sheet SET readings = \'{"trough-1":"on"}\' WHERE id = 2', "sheet 2", "wanted one"),
        ("DELETE FROM job WHERE id = 4", "sheet 4", "found no job that it refers to"),
        ("UPDATE repair SET proven = 'surely' WHERE id = 1", "repair 1", 'wanted "none" or'),
        (
            "UPDATE repair SET lasting = 1, follows = 2 WHERE id <= 2",
            "repair 2",
            "follows the lasting",
        ),
        (
            "UPDATE repair SET lasting = 0, due = '2026-04-01', follows = CASE id WHEN 2 THEN 1 END"
            " WHERE id <= 2",
            "repair 2",
            "found that it follows repair 1 of another unit; wanted the same",
        ),
        ("UPDATE part_order SET quantity = 'two'", "part_order 1", 'found "two"; wanted a whole'),
    ],
)
def test_the_verification_finds_what_does_not_hold(sql, where, said, path):
    """An entry that cannot be read, that refers to nothing, or that contradicts another is
    named."""
    filled(path)
    with history.open_store(path) as store:
        assert history.verify(store).problems == ()
    spoil(path, sql)
    with history.open_store(path) as store:
        problems = history.verify(store).problems
    assert any(problem.where == where and said in problem.message for problem in problems), problems


def test_an_entry_that_does_not_hold_is_no_traceback(path):
    """A question that meets such an entry says which, and how to verify the file."""
    filled(path)
    spoil(path, "UPDATE job SET opened = 'noon' WHERE id = 3")
    with history.open_store(path) as store:
        message = told(store.find, history.Job)
        assert 'opened: found "noon"' in message
        assert "simrig history check" in message
        assert 'opened: found "noon"' in told(history.listed, store)


# A disk that does not take it.

AS_NOBODY = """
import datetime, os, sys
from pathlib import Path
from simrig import history
from simrig.errors import InputError
history.open_store(Path(sys.argv[3]), write=True).close()  # imports all that it needs
root = os.getuid() == 0
if root:
    os.setresgid(65534, 65534, 0); os.setresuid(65534, 65534, 0)
path, write = Path(sys.argv[1]), sys.argv[2] == "write"
try:
    with history.open_store(path, write=write) as store:
        if write:
            history.open_job(store, "tidal-clockwork", "new", now=datetime.datetime.now(datetime.UTC))
        print(len(history.listed(store)))
except InputError as error:
    print(error.problems[0].message)
if root:
    os.setresuid(0, 0, 0)  # what watches the tests writes its files at the end
"""


def as_nobody(path, what, spare):
    """Run as a user whom permissions bind, even where the tests run as root."""
    command = [sys.executable, "-c", AS_NOBODY, str(path), what, str(spare)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.stderr == ""
    return done.stdout.strip()


@pytest.fixture
def shared(tmp_path_factory):
    """A folder that every user of the system can enter."""
    if os.name == "nt":
        pytest.skip("permissions of files are another matter there")
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        os.chmod(folder, 0o777)
        yield Path(folder)


def test_a_read_only_file_answers_and_refuses_entries(shared, monkeypatch, tmp_path):
    """What may only be read is read; an entry is refused and nothing changes."""
    monkeypatch.setenv("PYTHONPATH", str(Path.cwd()))
    path = shared / "shop.sqlite"
    before = filled(path)
    path.chmod(0o444)
    assert as_nobody(path, "read", tmp_path / "spare") == "30"
    message = as_nobody(path, "write", tmp_path / "spare")
    assert message.startswith("found a file that must not be written; wanted one that can be.")
    assert "earlier entries are intact" in message
    path.chmod(0o644)
    assert exported(path) == before


def test_a_read_only_folder_answers_and_refuses_entries(shared, monkeypatch, tmp_path):
    """A record on a medium where nothing can be written is read as it stands."""
    monkeypatch.setenv("PYTHONPATH", str(Path.cwd()))
    path = shared / "shop.sqlite"
    before = filled(path)
    path.chmod(0o444)
    shared.chmod(0o555)
    assert as_nobody(path, "read", tmp_path / "spare") == "30"
    assert as_nobody(path, "write", tmp_path / "spare").startswith("found ")
    shared.chmod(0o777)
    path.chmod(0o644)
    assert exported(path) == before


def test_an_older_record_that_must_not_be_written(path, monkeypatch):
    """A file that cannot be migrated where it lies is told to be copied."""
    filled(path)
    monkeypatch.setattr(opening.os, "access", lambda *_: False)
    message = told(history.open_store, path, migrations=(*MIGRATIONS, ADDS_A_COLUMN))
    assert "must not be written" in message
    assert "Copy it" in message


def fill_up(store, now, acknowledged):
    for _ in range(5000):
        with store.writing():
            job = history.open_job(store, "tidal-clockwork", "7", complaint="x" * 900, now=now)
            history.add_check(store, job.id, check="camera", result="lit", now=now)
        acknowledged.append(job.id)


def test_no_room_in_the_middle_leaves_earlier_entries(path, now):
    """When the room ends, the entry at hand is told as not written, all before it are whole."""
    with history.open_store(path, write=True) as store:
        shop.fill(store, jobs=10)
        pages = store.rows("PRAGMA page_count")[0][0]
        store.connection.execute(f"PRAGMA max_page_count = {pages + 8}")
        acknowledged = []
        message = told(fill_up, store, now, acknowledged)
        assert message.startswith("found no room left on the disk")
        assert "earlier entries are intact" in message
    with history.open_store(path, write=True) as store:
        verdict = history.verify(store)
        assert verdict.problems == ()
        assert verdict.entries["job"] == 10 + len(acknowledged)
        history.open_job(store, "tidal-clockwork", "7", now=now)
    assert acknowledged


AT_THE_LIMIT = """
import datetime, resource, sys
from pathlib import Path
from simrig import history
from simrig.errors import InputError
now = datetime.datetime(2026, 3, 2, tzinfo=datetime.UTC)
path = Path(sys.argv[1])
with history.open_store(path, write=True) as store:
    room = int(sys.argv[2])
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
    try:
        for number in range(2000):
            with store.writing():
                job = history.open_job(
                    store, "tidal-clockwork", "7", complaint="x" * 500, now=now)
                history.add_check(store, job.id, check="c", result="lit", now=now)
            print(job.id, flush=True)
    except InputError as error:
        print(error.problems[0].message)
"""


@pytest.mark.skipif(os.name == "nt", reason="no limit of a file's size there")
@pytest.mark.parametrize("room", [300_000, 1_500_000])
def test_a_file_limit_in_the_middle_leaves_earlier_entries(room, path, monkeypatch):
    """When the system takes no more of the file, what was acknowledged is there, and whole."""
    monkeypatch.setenv("PYTHONPATH", str(Path.cwd()))
    command = [sys.executable, "-c", AT_THE_LIMIT, str(path), str(room)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.stderr == ""
    *acknowledged, message = done.stdout.splitlines()
    assert message.startswith(("found that the disk did not take", "found no room left"))
    with history.open_store(path, write=True) as store:
        verdict = history.verify(store)
        assert verdict.problems == ()
        jobs = {job.id for job in store.find(history.Job)}
        assert {int(number) for number in acknowledged} == jobs
        assert verdict.entries["check_made"] == len(jobs) > 5


@pytest.fixture
def small_disk(tmp_path):
    """A real file system of 2 MB, where the system lets us make one."""
    if sys.platform != "linux" or os.getuid() != 0:
        pytest.skip("only root can mount a small file system")
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "none", str(tmp_path)],
        capture_output=True, check=False,
    )  # fmt: skip
    if mounted.returncode:
        pytest.skip("no small file system can be mounted here")
    yield tmp_path
    subprocess.run(["umount", "-l", str(tmp_path)], check=True)


def test_a_full_disk(small_disk, now):
    """On a disk that is full the entry at hand is refused, all acknowledged ones are whole."""
    path = small_disk / "shop.sqlite"
    acknowledged = []
    with history.open_store(path, write=True) as store:
        assert "earlier entries are intact" in told(fill_up, store, now, acknowledged)
        assert len(history.listed(store)) == len(acknowledged) > 20
    with history.open_store(path) as store:
        verdict = history.verify(store)
        assert verdict.problems == ()
        assert verdict.entries["job"] == verdict.entries["check_made"] == len(acknowledged)


def test_signs_that_are_no_text_are_no_damage(path):
    """A serial typed in bytes that are no text is refused as such; the record is not to blame."""
    filled(path)
    with history.open_store(path) as store:
        assert told(history.listed, store, serial="a\udcff") == (
            "found '\\udcff' in what was asked for; wanted text. Type it anew"
        )
