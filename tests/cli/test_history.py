"""``simrig history`` as a technician and as another tool call it."""

import csv
import io
import json
import shutil
from xml.etree import ElementTree

import pytest

from simrig import history
from simrig.cli.main import main
from simrig.history.columns import columns_of
from tests.history import shop


@pytest.fixture
def record(tmp_path):
    return tmp_path / "shop.sqlite"


@pytest.fixture
def ask(record, capsys):
    """Call the command on the record; return the exit code, stdout and stderr."""

    def call(action, *words):
        code = main(["history", action, "--store", str(record), "--quiet", *words])
        said = capsys.readouterr()
        return code, said.out, said.err

    return call


@pytest.fixture
def entries(ask):
    def call(action, *words):
        code, out, _ = ask(action, "--json", *words)
        document = json.loads(out)
        assert document["format"] == 1
        return code, document["entries"]

    return call


A_JOB = (
    "--machine", "tidal-clockwork", "--unit", "1001", "--place", "harbour bar",
    "--complaint", "hangs looking for a ball", "--closed", "trough-1,trough-2,33",
    "--phase", "idle", "--balls", "5", "--check", "camera=dark,2",
    "--check", "look=lead broken, I think", "--explanation", "resistor's lead broken",
    "--part", "resistor-lead-broken:trough-3", "--repair", "lead resoldered", "--temporary",
    "--due", "2020-01-05", "--minutes", "12", "--balls-aboard", "5", "--who", "ab",
    "--order", "150 ohm,0207,2", "--fact", "board-1.lit=open", "--fact", "balls=4",
)  # fmt: skip


def test_a_job_is_filed_in_one_call(entries):
    """Complaint, sheet, checks, repair, order and facts of one call are one job on record."""
    code, (job,) = entries("add", *A_JOB)
    assert code == 0
    assert (job["machine"], job["serial"], job["state"]) == ("tidal-clockwork", "1001", "open")
    (sheet,) = job["sheets"]
    assert sheet["conditions"] == {"phase": "idle", "balls": 5}
    assert sheet["readings"]["trough-3"] == "closed"
    assert sheet["readings"]["trough-4"] == "open"
    assert [(one["check"], one["result"], one["minutes"]) for one in job["checks"]] == [
        ("camera", "dark", 2.0),
        ("look", "lead broken, I think", None),
    ]
    (repair,) = job["repairs"]
    assert (repair["part_kind"], repair["fault"]) == ("resistor", "resistor-lead-broken")
    assert (repair["lasting"], repair["due"]) == (False, "2020-01-05")
    (order,) = job["orders"]
    assert (order["value"], order["package"], order["quantity"]) == ("150 ohm", "0207", 2)
    assert job["minutes"] == 14


def test_a_unit_tells_its_temporary_repair_first(ask, entries):
    """The list of a unit starts with its open temporary repair and what differs on it."""
    entries("add", *A_JOB)
    _, out, _ = ask("list", "--unit", "1001")
    lines = out.splitlines()
    assert lines[0] == "tidal-clockwork 1001, harbour bar"
    assert lines[1].startswith(
        "  Temporary repair 1: resistor trough-3: lead resoldered (TEMPORARY"
    )
    assert "  Differs: board-1.lit = open since" in out
    assert "Differs: balls = 4" in out


def test_a_colleague_goes_on(ask, entries):
    """A later call with --job adds to the job, finishes the repair and closes it."""
    entries("add", *A_JOB)
    code, (job,) = entries(
        "add", "--job", "1", "--part", "resistor:trough-3", "--repair", "new resistor",
        "--follows", "1", "--proven", "one-by-one", "--who", "cd", "--close",
    )  # fmt: skip
    assert (code, job["state"]) == (0, "closed")
    assert [repair["proven"] for repair in job["repairs"]] == ["none", "fed one by one"]
    _, due = entries("due")
    assert [one["kind"] for one in due] == ["part to order"]
    code, out, _ = ask("add", "--received", "1")
    assert (code, out) == (0, "Filed: part order 1.\n")
    assert ask("due")[1] == "Nothing is due.\n"
    code, out, _ = ask("list", "--job", "1")
    assert "Job 1, closed: tidal-clockwork 1001, harbour bar" in out
    code, _, err = ask("add", "--job", "1", "--check", "x=y")
    assert code == 2
    assert "--reopen" in err


def test_what_is_due(ask, entries):
    """Temporary repairs past their date come before repairs never proven and parts to order."""
    entries("add", *A_JOB)
    code, due = entries("due")
    assert code == 0
    assert [one["kind"] for one in due] == ["temporary repair", "never proven", "part to order"]
    assert due[0]["date"] == "2020-01-05"
    assert due[0]["days_late"] > 0
    _, out, _ = ask("due")
    assert "2020-01-05, " in out
    assert f"{due[0]['days_late']} days" in out


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    path = tmp_path_factory.mktemp("year") / "shop.sqlite"
    with history.open_store(path, write=True) as store:
        shop.fill(store, jobs=120)
    return path


@pytest.fixture
def year(filled, record):
    shutil.copyfile(filled, record)


@pytest.mark.parametrize(
    "words",
    [
        ("list",), ("list", "--all"), ("list", "--job", "7"), ("list", "--unit", "1003"), ("due",),
        ("repeats",), ("rates",), ("rates", "--all", "--machine", "tidal-clockwork"), ("check",),
    ],
)  # fmt: skip
def test_every_answer_fits_eighty_columns(words, year, ask):
    """No line of text for people is wider than 80 columns."""
    code, out, err = ask(*words)
    assert (code, err) == (0, "")
    assert max(len(line) for line in out.splitlines()) <= 80


def test_the_first_screen_of_the_list(year, ask, entries):
    """Fifteen jobs, and how to see more; --json gives all, --limit as many as it says."""
    _, out, _ = ask("list")
    assert out.splitlines()[-1] == "The newest 15. More: --all"
    assert len(entries("list")[1]) == 120
    assert len(entries("list", "--limit", "3")[1]) == 3
    assert {one["machine"] for one in entries("list", "--machine", "basalt-freight")[1]} == {
        "basalt-freight"
    }


def test_repeats_as_entries(year, entries):
    """Every repeat names its units, its part and whether the cause was not found."""
    _, found = entries("repeats")
    assert {one["kind"] for one in found} == {
        "same part again",
        "same kind on several machines",
    }
    assert any(one["cause_not_found"] for one in found)
    assert all(len(one["serials"]) > 1 for one in found if not one["part"])


def test_rates_as_entries_and_as_a_drawing(year, entries, ask, tmp_path):
    """Both neighbourhoods say on how many records they stand; the shares of each add up to one;
    the drawing counts the same failures."""
    plot = tmp_path / "rates.svg"
    _, found = entries("rates", "--machine", "tidal-clockwork", "--plot", str(plot))
    for beside in (True, False):
        rows = [one for one in found if one["beside_kicker"] == beside]
        assert sum(one["mean"] for one in rows) == pytest.approx(1)
        assert sum(one["seen"] for one in rows) == rows[0]["records"]
        assert all(one["low"] < one["mean"] < one["high"] for one in rows if one["seen"])
        assert rows[0]["documented"] == "tidal-clockwork"
    total = sum(one["seen"] for one in found)
    texts = [text.text for text in ElementTree.fromstring(plot.read_text()).iter() if text.text]
    assert f"{total} failures, by kind of part and month" in texts
    _, out, _ = ask("rates")
    assert out.startswith("What fails, all machines: ")
    assert "one part of each kind" in out


def test_export_import_export(year, ask, entries, tmp_path):
    """Through files of either form the record comes over byte for byte."""
    for name in ("all.json", "all.csv"):
        assert ask("export", "-o", str(tmp_path / name))[0] == 0
        other = tmp_path / f"{name}.sqlite"
        again = tmp_path / f"again-{name}"
        assert main(["history", "import", str(tmp_path / name), "--store", str(other)]) == 0
        assert main(["history", "export", "-o", str(again), "--store", str(other)]) == 0
        assert again.read_bytes() == (tmp_path / name).read_bytes()


def test_export_to_stdout(year, ask, entries):
    """Without a file the export goes to stdout; as JSON it is the document of the contract."""
    _, found = entries("export")
    _, out, _ = ask("export", "--format", "csv")
    assert len(list(csv.reader(io.StringIO(out)))) == len(found) + 1


def test_check_finds_what_does_not_hold(year, ask, entries, record, tmp_path):
    """A clean record gives 0; one with a contradiction gives 1 and says where; what can be read
    comes into a new record."""
    assert entries("check") == (0, [])
    with history.open_store(record, write=True) as store:
        store.execute("UPDATE job SET opened = 'noon' WHERE id = 3")
    code, found = entries("check")
    assert code == 1
    assert found[0]["where"] == "job 3"
    code, out, _ = ask("check")
    assert code == 1
    assert 'job 3: opened: found "noon"' in " ".join(out.split())
    code, _, _ = ask("check", "--rescue", str(tmp_path / "new.sqlite"))
    assert code == 1
    assert main(["history", "check", "--store", str(tmp_path / "new.sqlite")]) == 0


def test_backup_and_forget(year, ask, entries, tmp_path):
    """A copy is a record of its own; a forgotten person is in no entry, and copies are named."""
    assert ask("backup", str(tmp_path / "copy.sqlite"))[0] == 0
    code, out, _ = ask("forget", "abx")
    assert code == 0
    assert "Copies made earlier (backups, exports) still hold the name" in out
    assert "ABX" not in json.dumps(entries("export")[1])
    main(["history", "export", "--store", str(tmp_path / "copy.sqlite")])


@pytest.mark.parametrize(
    ("words", "where", "said"),
    [
        (("add",), "add", "found nothing to file"),
        (("add", "--check", "a=b"), "--job", "found no job; open one with --complaint"),
        (("add", "--complaint", "x"), "--unit", "found no unit; name it"),
        (
            ("add", "--unit", "9", "--complaint", "x"),
            "--machine",
            "found no unit 9; name the model",
        ),
        (("add", "--job", "9", "--check", "a=b"), "job", "found no job 9 on record"),
        (("add", "--job", "1", "--repair", "x"), "--part", "found no part; wanted KIND:PART"),
        (("add", "--job", "1", "--part", "a:b"), "--repair", "found a part without what was done"),
        (("add", "--job", "1", "--part", "a:b", "--repair", "x", "--temporary"), "due", "give its"),
        (("add", "--job", "1", "--check", "camera"), "--check", "wanted CHECK=RESULT"),
        (("add", "--job", "1", "--closed", "troff-1"), "--closed", "troff-1"),
        (("add", "--order", "150 ohm,0207,two"), "--order", 'found the quantity "two"'),
        (("add", "--order", "150 ohm,0207,-2"), "quantity", "found -2; wanted a whole number"),
        (("add", "--order", "150 ohm,0207,inf"), "--order", "wanted a whole number"),
        (("add", "--prove", "1=surely"), "--prove", "wanted one of none, readings, one-by-one"),
        (("add", "--received", "0"), "simrig history add", "wanted a whole number of 1 or more"),
        (("list", "--since", "noon"), "simrig history list", "wanted a date such as 2026-01-31"),
        (("list", "--job", "9"), "job", "found no job 9 on record"),
        (("import", "/no/such/file"), "file", "found that it cannot be read"),
        (("export", "-o", "/no/such/folder/x.csv"), "/no/such/folder/x.csv", "cannot be written"),
        (("backup", "/no/such/folder/x"), "shop record", "found no folder"),
        (("forget", " "), "NAME", "found no name"),
    ],
)
def test_wrong_input_is_told_in_words(words, where, said, ask, record):
    """Exit 2, one message a fault: what was found and what is wanted; as JSON with --json."""
    with history.open_store(record, write=True) as store:
        history.open_job(store, "tidal-clockwork", "1001", now=shop.START)
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert said in err
    code, out, _ = ask(*words, "--json")
    errors = json.loads(out)["errors"]
    assert code == 2
    assert any(error["where"] == where and said in error["message"] for error in errors), errors


def test_nothing_of_a_wrong_call_is_filed(ask, entries):
    """The last option being wrong, the job of the first is not opened either."""
    words = ("--machine", "tidal-clockwork", "--unit", "7", "--complaint", "x", "--who", "ab")
    assert ask("add", *words, "--order", "150 ohm,0207,two")[0] == 2
    assert entries("list")[1] == []


def test_a_record_that_is_not_there(ask, tmp_path, monkeypatch):
    """A mistyped --store is told; the usual place, still empty, answers with nothing."""
    code, _, err = ask("list")
    assert code == 2
    assert "found no such file; wanted a shop record" in err
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert main(["history", "due"]) == 0


def test_every_entry_names_its_columns(year, entries):
    """The entries of the export carry every column of their kind, and its name."""
    _, found = entries("export")
    job = next(one for one in found if one["record"] == "job")
    assert list(job) == ["record", *(name for name, _ in columns_of(history.Job))]
