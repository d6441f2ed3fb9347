"""Export and import of the whole record."""

import csv
import datetime
import io
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simrig import history
from simrig.errors import InputError
from simrig.history.records import RECORDS
from tests.history import shop

NOW = datetime.datetime(2026, 3, 2, 9, 30, tzinfo=datetime.UTC)
EXPORTS = {"json": history.export_json, "csv": history.export_csv}


def awkward(store, text):
    """One entry of every kind, with a text in every column that takes one."""
    line = text.replace("\r", "")
    job = history.open_job(
        store, "tidal-clockwork", "7", complaint=text, complaint_ids=[line], place="x", now=NOW
    )
    history.set_fact(store, job.unit_id, "board", {"lit": [True, None, 1.5, line]}, now=NOW)
    history.add_sheet(
        store, job.id, readings={"trough-1": "open"}, conditions={"note": line}, now=NOW
    )
    history.add_check(store, job.id, check="camera", result="lit", minutes=0.1, now=NOW)
    history.explain(store, job.id, text)
    repair = history.add_repair(
        store, job.id, part_kind="resistor", part="trough-3", what="lead", lasting=False,
        due=datetime.date(2026, 4, 1), now=NOW,
    )  # fmt: skip
    history.add_repair(
        store, job.id, part_kind="resistor", part="trough-3", what=text, follows=repair.id,
        proven="readings", now=NOW,
    )  # fmt: skip
    history.order_part(store, value="150 ohm", now=NOW)
    history.add_answer(store, trainee="tr", topic="t", item="i", right=True, now=NOW)
    history.save_training(store, "tr", {"seed": 4}, now=NOW)


@pytest.mark.parametrize("form", EXPORTS)
def test_a_year_comes_back_byte_for_byte(form, tmp_path):
    """Export, import into an empty record, export again: the same bytes."""
    with history.open_store(tmp_path / "one.sqlite", write=True) as store:
        shop.fill(store, jobs=150)
        first = EXPORTS[form](store)
    with history.open_store(tmp_path / "two.sqlite", write=True) as store:
        new, known = history.import_text(store, first, file="export")
        assert (new > 600, known) == (True, 0)
        assert EXPORTS[form](store).encode() == first.encode()
        assert history.verify(store).problems == ()


texts = st.text(
    st.characters(exclude_categories=("Cs", "Cc"), include_characters="\n\t"),
    min_size=1,
    max_size=40,
).filter(str.strip)


@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(text=texts | st.sampled_from(['"', "a,b", "x\r\ny", "'=1+1", "\u2028", "\ufeff", "ÄÖ€😀"]))
def test_any_text_comes_back_in_either_form(text, tmp_path_factory):
    """Quotes, commas, line ends, spreadsheet signs and any script survive both forms."""
    folder = tmp_path_factory.mktemp("any")
    with history.open_store(folder / "one.sqlite", write=True) as store:
        awkward(store, text)
        exports = {form: export(store) for form, export in EXPORTS.items()}
        entries = {record: store.find(record) for record in RECORDS}
    for form, first in exports.items():
        with history.open_store(folder / f"{form}.sqlite", write=True) as store:
            history.import_text(store, first, file="export")
            assert {record: store.find(record) for record in RECORDS} == entries
            assert {name: export(store) for name, export in EXPORTS.items()} == exports


def test_every_kind_of_entry_is_exported(store):
    """Nothing that is on record stays behind."""
    awkward(store, "text")
    kinds = {entry["record"] for entry in json.loads(history.export_json(store))["entries"]}
    assert kinds == {record.TABLE for record in RECORDS}
    rows = list(csv.DictReader(io.StringIO(history.export_csv(store), newline="")))
    assert {row["record"] for row in rows} == kinds


def test_the_csv_follows_the_common_rules(store):
    """Lines end in CR LF; quotes are doubled; a field with a comma or a line end is quoted.
    Source: RFC 4180 (FMT-05)."""
    awkward(store, 'b"bb, c\nd')
    text = history.export_csv(store)
    assert text.endswith("\r\n")
    assert '"b""bb, c\nd"' in text
    widths = {len(row) for row in csv.reader(io.StringIO(text, newline=""))}
    assert len(widths) == 1


def test_importing_twice_does_no_harm(store):
    """Entries that are there already, equal in everything, are passed over."""
    awkward(store, "text")
    first = history.export_json(store)
    new, known = history.import_text(store, first, file="export")
    assert (new, known) == (0, len(json.loads(first)["entries"]))
    assert history.export_json(store) == first


def test_another_entry_of_the_same_number_is_refused_and_nothing_is_filed(store, tmp_path):
    """Two records that grew apart are not mixed: every clash is named, nothing is filed."""
    awkward(store, "text")
    with history.open_store(tmp_path / "two.sqlite", write=True) as other:
        awkward(other, "other text")
        history.open_job(other, "basalt-freight", "9", now=NOW)
        theirs = history.export_csv(other)
    before = history.export_json(store)
    with pytest.raises(InputError) as error:
        history.import_text(store, theirs, file="theirs.csv")
    told = [str(problem) for problem in error.value.problems]
    assert told[0].startswith("theirs.csv:4: fact.id: found another fact with the number 1")
    assert "Import it into an empty record" in told[0]
    assert len(told) >= 4
    assert history.export_json(store) == before


def edited(store, change):
    awkward(store, "text")
    document = json.loads(history.export_json(store))
    change(document["entries"])
    return json.dumps(document)


def entry_of(entries, kind):
    return next(entry for entry in entries if entry["record"] == kind)


@pytest.mark.parametrize(
    ("change", "where", "said"),
    [
        (lambda e: entry_of(e, "job").update(opened="yesterday"), "entry 3.opened",
         'found "yesterday"; wanted a time with its offset from UTC'),
        (lambda e: entry_of(e, "job").update(opened=5), "entry 3.opened", "found 5; wanted a time"),
        (lambda e: entry_of(e, "job").update(opened="9999-12-31T23:00:00-09:00"),
         "entry 3.opened", "wanted a time"),
        (lambda e: entry_of(e, "repair").update(lasting="yes"), "entry 6.lasting",
         'found "yes"; wanted true or false'),
        (lambda e: entry_of(e, "repair").update(due=None), "entry 6.due", "owes a follow-up"),
        (lambda e: entry_of(e, "sheet").update(readings={"trough-1": "on"}),
         "entry 4.readings.trough-1", 'found "on"; wanted one of'),
        (lambda e: entry_of(e, "job").update(colour="red"), "entry 3.colour",
         "a column that job does not have"),
        (lambda e: entry_of(e, "unit").pop("serial"), "entry 1.serial", "found nothing"),
        (lambda e: entry_of(e, "unit").pop("id"), "entry 1.id", "found nothing"),
        (lambda e: entry_of(e, "sheet").update(job_id=77), "entry 4.job_id",
         "found job 77, neither in the file nor on record"),
        (lambda e: e.append(dict(entry_of(e, "unit"))), "entry 11.id",
         "found another unit with the number 1"),
        (lambda e: e.append(dict(entry_of(e, "unit"), id=2)), "entry 11.serial",
         "found a unit that is there as number 1"),
        (lambda e: e.append({"record": "secret"}), "entry 11", "found the kind of entry 'secret'"),
        (lambda e: e.append(7), "entry 11", "found no mapping; wanted an entry"),
    ],
)  # fmt: skip
def test_a_fault_of_a_json_file_is_named_where_it_stands(change, where, said, path, tmp_path):
    """Each fault is told with its entry and column; nothing of the file is filed."""
    with history.open_store(path, write=True) as store:
        text = edited(store, change)
    with history.open_store(tmp_path / "two.sqlite", write=True) as store:
        with pytest.raises(InputError) as error:
            history.import_text(store, text, file="shop.json")
        assert any(
            problem.where == where and said in problem.message for problem in error.value.problems
        ), [str(problem) for problem in error.value.problems]
        assert all(store.find(record) == [] for record in RECORDS)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", 'found no header with the column "record"'),
        ("a,b\r\n1,2\r\n", 'found no header with the column "record"'),
        ("{", "found text that is no JSON"),
        ("[" * 100_000, "found text that is no JSON"),
        ("[]", 'found no "entries" of "format": 1'),
        ('{"format": 2, "entries": []}', 'found no "entries" of "format": 1'),
        ('record,id\r\nunit,1,2\r\n', "found 3 fields; wanted 2"),
        ('record,id\r\nunit,"1\r\n', "found text that is no CSV"),
        ("record,id\r\nunit,one\r\n", 'found "one"; wanted a whole number of 1 or more'),
        ("record,id,lasting\r\nrepair,1,maybe\r\n", 'found "maybe"; wanted true or false'),
        ("record,id,value\r\nfact,1,{\r\n", 'found "{"; wanted a JSON text'),
        ("record,id,minutes\r\nrepair,1,nan\r\n", "found nan; wanted a number of 0 or more"),
        ("record,id\r\nunit," + "9" * 5000 + "\r\n", "wanted a whole number"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_export_is_refused(text, said, store):
    """What is wrong, what is wanted, and never a traceback."""
    with pytest.raises(InputError) as error:
        history.import_text(store, text, file="shop.csv")
    assert any(said in problem.message for problem in error.value.problems), str(error.value)


def test_all_faults_of_a_csv_file_are_told_with_their_lines(store):
    """Two bad rows, two messages, each with its line; a quoted line end moves the count on."""
    text = (
        "record,id,machine,serial,place,note\r\n"
        'unit,1,tidal-clockwork,7,,"two\r\nlines"\r\n'
        "unit,x,tidal-clockwork,8,,\r\n"
        "unit,3,,9,,\r\n"
    )
    with pytest.raises(InputError) as error:
        history.import_text(store, text, file="shop.csv")
    assert [(problem.line, problem.where) for problem in error.value.problems] == [
        (4, "unit.id"),
        (5, "unit.machine"),
    ]


def test_empty_lines_are_passed_over(store):
    """Empty lines, as editors leave them, are no entries, and the lines after them keep theirs."""
    text = "record,id,machine,serial\r\n\r\nunit,1,tidal-clockwork,7\r\n\r\n"
    assert history.import_text(store, text, file="shop.csv") == (1, 0)
    with pytest.raises(InputError) as error:
        history.import_text(store, text + "unit,x,tidal-clockwork,8\r\n", file="shop.csv")
    assert [(problem.line, problem.where) for problem in error.value.problems] == [(5, "unit.id")]


def test_a_time_in_an_export_states_its_offset(store, tmp_path):
    """A time without its offset from UTC is refused: no clock is guessed."""
    awkward(store, "text")
    text = history.export_json(store).replace("2026-03-02T09:30:00Z", "2026-03-02T09:30:00", 1)
    with (
        history.open_store(tmp_path / "two.sqlite", write=True) as other,
        pytest.raises(InputError) as error,
    ):
        history.import_text(other, text, file="shop.json")
    assert [one.message for one in error.value.problems] == [
        'found "2026-03-02T09:30:00"; wanted a time with its offset from UTC, such as '
        "2026-01-31T10:00:00Z"
    ]


def test_a_spreadsheets_mark_at_the_start_is_passed_over(store, tmp_path):
    """A byte order mark, as spreadsheets write it, does no harm."""
    awkward(store, "text")
    with history.open_store(tmp_path / "two.sqlite", write=True) as other:
        history.import_text(other, "\ufeff" + history.export_csv(store), file="shop.csv")
        assert history.export_csv(other) == history.export_csv(store)
