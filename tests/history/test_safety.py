"""An acknowledged entry survives whatever happens to the process, and writers do not collide.

``SIMRIG_FULL=1`` runs the full size: 300 kills over 20,000 entries.
"""

import datetime
import errno
import os
import random
import select
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from simrig import history
from simrig.errors import InputError
from simrig.history import CheckMade, Job, Repair, Sheet
from simrig.history.records import RECORDS
from tests.history import shop
from tests.history.shop import at_most

FULL = os.environ.get("SIMRIG_FULL") == "1"
KILLS, ENTRIES = (300, 20_000) if FULL else (60, 2_500)
NOW = datetime.datetime(2026, 3, 2, 9, 30, tzinfo=datetime.UTC)

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill -9")


def entry(store, name):
    """One acknowledged entry of four rows, recognisable as a whole by its name."""
    with store.writing():
        job = history.open_job(store, "tidal-clockwork", "7", complaint=name, now=NOW)
        history.add_sheet(
            store, job.id, readings={"trough-1": "open"}, conditions={"name": name}, now=NOW
        )
        history.add_check(store, job.id, check=name, result="dark", now=NOW)
        history.add_repair(
            store, job.id, part_kind="resistor", part=name, what="x" * 200, now=NOW, who="ABX"
        )


def whole_entries(store):
    """The names of the entries; fails on one of which a row is missing or too many."""
    names = sorted(job.complaint for job in store.find(Job))
    assert names == sorted(check.check for check in store.find(CheckMade))
    assert names == sorted(repair.part for repair in store.find(Repair))
    assert names == sorted(sheet.conditions["name"] for sheet in store.find(Sheet))
    return names


def child(work):
    """Run ``work(tell)`` in another process; return its number and where it tells to."""
    read, write = os.pipe()
    number = os.fork()
    if number == 0:
        code = 1
        try:
            os.close(read)
            work(lambda text: os.write(write, f"{text}\n".encode()))
            code = 0
        except BaseException as error:
            os.write(write, f"! {error!r}\n".encode())
        finally:
            os._exit(code)
    os.close(write)
    return number, read


def lines_of(read):
    with os.fdopen(read) as told:
        return told.read().split("\n")[:-1]


def test_no_acknowledged_entry_is_lost_to_kill_9(path):
    """Killed at random moments, over and over, the record keeps every entry that a writer was
    told is filed, none in part, and stays clean.  One that was on its way may be there too."""
    draw = random.Random(20260302)
    acknowledged = []
    begun = set()
    per_life = ENTRIES // KILLS
    killed = 0
    lives = 0
    while killed < KILLS or len(acknowledged) < ENTRIES:
        lives += 1
        life = lives

        def work(tell, life=life):
            with history.open_store(path, write=True) as store:
                for number in range(4 * per_life):
                    name = f"{life}-{number}"
                    entry(store, name)
                    tell(name)

        number, read = child(work)
        # Let it get about so far, then kill it wherever it stands.
        waited = b""
        wanted = draw.randint(0, 2 * per_life + 2)
        while waited.count(b"\n") < wanted and select.select([read], [], [], 60)[0]:
            chunk = os.read(read, 4096)
            if not chunk:
                break
            waited += chunk
        pause = draw.random() * 0.002
        select.select([], [], [], pause)
        os.kill(number, signal.SIGKILL)
        _, status = os.waitpid(number, 0)
        killed += os.WIFSIGNALED(status)
        told = waited.decode().split("\n")[:-1] + lines_of(read)
        assert not [line for line in told if line.startswith("!")], told[-1]
        acknowledged += told
        begun |= {f"{life}-{n}" for n in range(len(told) + 1)}
        if lives % 20 == 0 or killed == KILLS:
            with history.open_store(path) as store:
                assert store.rows("PRAGMA integrity_check") == [("ok",)]
    with history.open_store(path, write=True) as store:
        names = whole_entries(store)
        assert history.verify(store).problems == ()
    assert set(acknowledged) <= set(names) <= begun
    assert len(names) == len(set(names))
    assert killed >= KILLS
    assert len(acknowledged) >= ENTRIES


def test_two_writers_lose_nothing_and_never_see_it_locked(path):
    """Two processes that begin on the same new file and write at once file every entry."""
    each = 2_000

    def writer(mark):
        def work(tell):
            for part in range(4):
                with history.open_store(path, write=True) as store:
                    for number in range(each // 4):
                        history.open_job(
                            store, "tidal-clockwork", mark, complaint=f"{part}-{number}", now=NOW
                        )
            tell("done")

        return child(work)

    writers = [writer("A"), writer("B")]
    for number, read in writers:
        assert lines_of(read) == ["done"]
        os.waitpid(number, 0)
    with history.open_store(path) as store:
        for mark in "AB":
            assert len({row.job.complaint for row in history.listed(store, serial=mark)}) == each
        assert history.verify(store).problems == ()


def test_a_reader_is_never_shut_out_by_a_writer(path):
    """While another process writes, every question is answered from a whole state."""
    with history.open_store(path, write=True) as store:
        entry(store, "first")

    def work(tell):
        for number in range(40):
            with history.open_store(path, write=True) as store:
                for part in range(5):
                    entry(store, f"{number}-{part}")
        tell("done")

    number, read = child(work)
    counts = []
    while not select.select([read], [], [], 0)[0]:
        with history.open_store(path) as store, store.reading():
            counts.append(len(whole_entries(store)))
    assert lines_of(read) == ["done"]
    os.waitpid(number, 0)
    assert counts == sorted(counts)
    assert len(set(counts)) > 3


def test_a_record_kept_busy_is_told_in_words(path):
    """Whoever waits in vain is told so, without the word that databases use."""
    with history.open_store(path, write=True, patience=0.05) as store:
        entry(store, "first")
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(InputError) as error:
            entry(store, "second")
        other.execute("ROLLBACK")
        other.close()
        message = error.value.problems[0].message
        assert message.startswith("found it kept busy by another program")
        assert "locked" not in message
        entry(store, "third")
        assert whole_entries(store) == ["first", "third"]


def test_a_copy_made_while_others_write_is_whole(path, tmp_path):
    """Copies taken in the middle of writing are each a whole state, in one file."""
    with history.open_store(path, write=True) as store:
        entry(store, "first")

    def work(tell):
        with history.open_store(path, write=True) as store:
            for number in range(150):
                entry(store, f"{number}")
        tell("done")

    number, read = child(work)
    copies = []
    with history.open_store(path) as store:
        while not select.select([read], [], [], 0)[0] or not copies:
            copies.append(tmp_path / f"copy-{len(copies)}.sqlite")
            history.backup(store, copies[-1])
    assert lines_of(read) == ["done"]
    os.waitpid(number, 0)
    for copy in copies[:: max(1, len(copies) // 8)]:
        assert copy.read_bytes()[18:20] == b"\x01\x01"  # needs no log beside it
        with history.open_store(copy) as store:
            assert whole_entries(store)
            assert history.verify(store).problems == ()
    assert not list(tmp_path.glob("*.partial"))


def test_a_copy_replaces_an_older_copy_and_nothing_else(path, tmp_path):
    """The night's copy takes the place of yesterday's; another file is refused untouched."""
    target = tmp_path / "copy.sqlite"
    with history.open_store(path, write=True) as store:
        entry(store, "first")
        history.backup(store, target)
        entry(store, "second")
        history.backup(store, target)
        with history.open_store(target) as copy:
            assert whole_entries(copy) == ["first", "second"]
        foreign = tmp_path / "notes.txt"
        foreign.write_text("my notes\n" * 200)
        with pytest.raises(InputError, match="found a file that is no shop record"):
            history.backup(store, foreign)
        assert foreign.read_text() == "my notes\n" * 200
        theirs = tmp_path / "theirs.sqlite"
        with sqlite3.connect(theirs) as connection:
            connection.execute("CREATE TABLE unit (id INTEGER)")
        before = theirs.read_bytes()
        with pytest.raises(InputError, match="found a file of another program; wanted a new name"):
            history.backup(store, theirs)
        assert theirs.read_bytes() == before
        with pytest.raises(InputError, match="found the record itself"):
            history.backup(store, path)
        with pytest.raises(InputError, match="found no folder"):
            history.backup(store, tmp_path / "no" / "copy.sqlite")


def test_a_copy_that_cannot_be_put_in_its_place(path, tmp_path, monkeypatch):
    """When the disk of the copies goes away at the last moment, that is told, the record and the
    older copy are whole, and nothing half is left."""
    target = tmp_path / "copies" / "copy.sqlite"
    target.parent.mkdir()
    with history.open_store(path, write=True) as store:
        entry(store, "first")
        history.backup(store, target)
        entry(store, "second")

        def gone(*_):
            raise OSError(errno.EIO, os.strerror(errno.EIO))

        with monkeypatch.context() as patched:
            patched.setattr(os, "replace", gone)
            with pytest.raises(InputError) as error:
                history.backup(store, target)
        assert error.value.problems[0].message == (
            "found that the copy cannot be written (Input/output error); wanted it whole. "
            "The record is intact: name another place for the copy"
        )
        assert whole_entries(store) == ["first", "second"]
    assert list(target.parent.iterdir()) == [target]
    with history.open_store(target) as copy:
        assert whole_entries(copy) == ["first"]


# Forgetting a person.


def bytes_of(path):
    return b"".join(file.read_bytes() for file in path.parent.glob(path.name + "*"))


def with_people(path):
    with history.open_store(path, write=True) as store:
        shop.fill(store, jobs=60)
        job = history.open_job(
            store,
            "tidal-clockwork",
            "1000",
            complaint="QZX said: hangs. Ask Qzx.",
            now=NOW,
            who="qzx",
        )
        history.add_check(store, job.id, check="camera", result="dark (QZX)", now=NOW, who="QZX")
        history.explain(store, job.id, "QZX's joint; AQZXB is a part")
        history.add_answer(store, trainee="QZX", topic="t", item="i", right=True, now=NOW)
        history.add_answer(store, trainee="CDX", topic="t", item="i", right=True, now=NOW)
        history.save_training(store, "QZX", {"seed": 4}, now=NOW)
        return job.id


def test_a_forgotten_person_is_gone_from_the_file(path):
    """After forgetting, no byte of the file or its log holds the initials; all else stays."""
    job = with_people(path)
    with history.open_store(path, write=True) as store:
        before = {record: len(store.find(record)) for record in RECORDS}
        history.explain(store, job, "QZX's joint")
        assert bytes_of(path).count(b"QZX") > 5
        done = history.forget(store, "qzx")
        assert b"QZX" not in bytes_of(path)
        assert (done.entries, done.answers, done.left) == (2, 1, ())
        found = history.job_file(store, job)
        assert found.job.complaint == "[removed] said: hangs. Ask Qzx."
        assert found.job.explanation == "[removed]'s joint"
        assert (found.job.who, found.checks[0].who, found.checks[0].result) == (
            "", "", "dark ([removed])",
        )  # fmt: skip
        history.forget(store, "Qzx")
        assert b"qzx" not in bytes_of(path).lower()
        assert history.verify(store).problems == ()
        assert {entry.who for entry in store.find(Repair)} == {"ABX", "CDX", "EFX"}
        after = {record: len(store.find(record)) for record in RECORDS}
        assert before[history.Answer] - after.pop(history.Answer) == 1
        assert before[history.Training] - after.pop(history.Training) == 1
        assert after.items() <= before.items()
    assert b"qzx" not in bytes_of(path).lower()


def test_where_the_letters_name_a_part_it_is_said(path):
    """Ids, facts and sheets are left and named: a person must judge them."""
    with history.open_store(path, write=True) as store:
        job = history.open_job(store, "tidal-clockwork", "7", complaint="an ant", now=NOW, who="an")
        history.set_fact(store, job.unit_id, "board", "swapped by AN", now=NOW)
        history.add_repair(
            store, job.id, part_kind="board", part="AN", what="An plug of an ant", now=NOW
        )
        done = history.forget(store, "an")
        assert done.left == ("fact 1: value", "repair 1: part")
        assert history.job_file(store, job.id).job.complaint == "an ant"
        assert store.get(Job, job.id).who == ""
        with pytest.raises(InputError, match="found no name"):
            history.forget(store, "  ")


def test_forgetting_while_another_reads_says_that_it_is_not_done(path):
    """With a reader in the way, old pages stay: the message says to do it once more."""
    with_people(path)
    with history.open_store(path) as reader, reader.reading():
        reader.find(Job)
        with history.open_store(path, write=True, patience=0.05) as store:
            with pytest.raises(InputError, match="forget the name once more"):
                history.forget(store, "QZX")
            assert not [entry for entry in store.find(Job) if entry.who == "QZX"]
    with history.open_store(path, write=True) as store:
        history.forget(store, "QZX")
    assert b"QZX" not in bytes_of(path).replace(b"AQZXB", b"")


def test_forgetting_without_room_says_that_it_is_not_done(path):
    """Where the file cannot be written anew, the name is out of the entries and old pages may
    hold it: the message says to do it once more."""
    with history.open_store(path, write=True) as store:
        shop.fill(store, jobs=300)
        history.open_job(store, "tidal-clockwork", "7", complaint="hangs", now=NOW, who="QZX")
    with history.open_store(path, write=True) as store, at_most(path.stat().st_size // 2):
        with pytest.raises(InputError) as error:
            history.forget(store, "QZX")
        assert error.value.problems[0].message.startswith("found the file not written anew (")
        assert error.value.problems[0].message.endswith(
            "): the name is out of every entry, but old pages of the file may still hold it. "
            "Make room on the disk and forget the name once more"
        )
        assert not [job for job in store.find(Job) if job.who == "QZX"]
    with history.open_store(path, write=True) as store:
        history.forget(store, "QZX")
        assert history.verify(store).problems == ()
    assert b"QZX" not in bytes_of(path)


def test_killed_while_forgetting_the_record_stays_whole(path):
    """Killed at any moment of forgetting, nothing else is lost and it can be done again."""
    with_people(path)
    with history.open_store(path) as store:
        jobs = len(store.find(Job))
    draw = random.Random(7)
    for _ in range(12):
        number, read = child(
            lambda tell: history.forget(history.open_store(path, write=True), "QZX")
        )
        select.select([read], [], [], draw.random() * 0.03)
        os.kill(number, signal.SIGKILL)
        os.waitpid(number, 0)
        os.close(read)
        with history.open_store(path, write=True) as store:
            assert history.verify(store).problems == ()
            assert len(store.find(Job)) == jobs


def test_importing_the_package_touches_no_file(tmp_path):
    """The package can be imported where there is neither a record nor a place for one."""
    done = subprocess.run(
        [sys.executable, "-c", "import simrig.history"],
        env={**os.environ, "XDG_DATA_HOME": str(tmp_path), "PYTHONPATH": str(Path.cwd())},
        check=False,
        capture_output=True,
    )
    assert (done.returncode, list(tmp_path.iterdir())) == (0, [])
