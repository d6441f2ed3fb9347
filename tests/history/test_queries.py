"""What is due, what repeats, what fails: small cases by hand, a year by an independent count."""

import collections
import datetime

import attrs
import pytest

from simrig import history
from simrig.history import Job, Repair, Unit, dates
from tests.history import shop

DAY = datetime.timedelta(days=1)
TODAY = datetime.date(2026, 3, 2)


def failure(
    store, when, serial="1", *, machine="tidal-clockwork", proven="fed one by one", **values
):
    job = history.open_job(store, machine, serial, complaint="hangs", now=when, who="AB")
    wanted = {"part_kind": "resistor", "part": "trough-3", "what": "new resistor"}
    repair = history.add_repair(
        store, job.id, proven=proven, now=when, who="AB", **(wanted | values)
    )
    history.close_job(store, job.id, now=when)
    return repair


def test_temporary_repairs_past_their_date_are_due(store, now):
    """A follow-up is due on its day, not before, and no longer once it is settled."""
    temporary = {"lasting": False, "what": "lead resoldered"}
    late = failure(store, now, "1", due=TODAY - 10 * DAY, **temporary)
    failure(store, now, "2", due=TODAY, **temporary)
    failure(store, now, "3", due=TODAY + DAY, **temporary)
    settled = failure(store, now, "4", due=TODAY, **temporary)
    history.settle(store, settled.id, now=now)
    found = history.due(store, today=TODAY)
    assert [(due.serial, due.kind, due.days_late) for due in found] == [
        ("1", "temporary repair", 10),
        ("2", "temporary repair", 0),
    ]
    assert found[0].number == late.id
    assert [due.serial for due in history.due(store, today=TODAY, ahead_days=1)] == ["1", "2", "3"]


def test_parts_to_order_stay_due_until_they_come(store, now):
    """A part is to order, then on order, then gone from the list."""
    order = history.order_part(
        store, value="150 ohm", package="0207", quantity=3, minimum_stock=10, van="north", now=now
    )
    (due,) = history.due(store, today=TODAY)
    assert due.kind == "part to order"
    assert due.what == "3 x 150 ohm 0207, never fewer than 10, for north"
    history.mark_ordered(store, order.id, reference="A-17", now=now)
    (due,) = history.due(store, today=TODAY)
    assert (due.kind, due.what.endswith("order A-17")) == ("part on order", True)
    history.mark_received(store, order.id, now=now)
    assert history.due(store, today=TODAY) == ()


def test_a_machine_never_proven_after_a_repair(store, now):
    """A proof covers the repairs before it on the same unit, none after, none elsewhere."""
    failure(store, now, "1", proven="none")
    failure(store, now + DAY, "1", proven="fed one by one")
    failure(store, now, "2", proven="readings")
    last = failure(store, now + DAY, "2", proven="none", part="trough-4")
    failure(store, now, "3", proven="none")
    found = history.due(store, today=TODAY)
    assert [(due.kind, due.serial) for due in found] == [
        ("never proven", "2"),
        ("never proven", "3"),
    ]
    assert (found[0].number, found[0].part) == (last.id, "trough-4")


def test_a_proof_at_the_end_of_a_job_covers_its_other_repairs(store, now):
    """Two parts mended in one go and fed through once are both proven."""
    job = history.open_job(store, "tidal-clockwork", "1", now=now)
    for part, proven in (("trough-1", "none"), ("trough-2", "fed one by one")):
        history.add_repair(
            store, job.id, part_kind="emitter", part=part, what="new", proven=proven, now=now
        )
    assert history.due(store, today=TODAY) == ()


def test_the_list_of_things_due_follows_the_places(store, now):
    """What stands at one place stands together, so that one trip does several."""
    for serial, place in (("1", "station"), ("2", "arcade"), ("3", "station")):
        history.ensure_unit(store, "tidal-clockwork", serial, place=place)
        failure(store, now, serial, proven="none")
    assert [due.place for due in history.due(store, today=TODAY)] == [
        "arcade",
        "station",
        "station",
    ]


def test_the_same_part_within_three_months_is_a_cause_not_found(store):
    """Three months to the day still count, one day more does not (common practice)."""
    first = datetime.datetime(2025, 11, 30, 9, tzinfo=datetime.UTC)
    within = datetime.datetime(2026, 2, 28, 9, tzinfo=datetime.UTC)
    failure(store, first, "1")
    failure(store, within, "1")
    failure(store, first, "2")
    failure(store, within + DAY, "2")
    found = [row for row in history.repeats(store) if row.kind == "same part again"]
    assert [(row.serials, row.cause_not_found, row.shortest_days) for row in found] == [
        (("1",), True, 90),
        (("2",), False, 91),
    ]


@pytest.mark.parametrize(
    ("day", "months", "wanted"),
    [
        ("2025-11-30", 3, "2026-02-28"),
        ("2023-11-30", 3, "2024-02-29"),
        ("2026-03-31", 3, "2026-06-30"),
        ("2026-01-29", 3, "2026-04-29"),
        ("2026-12-01", 1, "2027-01-01"),
    ],
)
def test_months_later(day, months, wanted):
    """The same day, or the last of a month that has no such day.  By the calendar."""
    found = dates.months_later(datetime.date.fromisoformat(day), months)
    assert found.isoformat() == wanted


def test_the_months_between():
    """Every month from the first to the last, over the turn of a year."""
    assert dates.months_between("2025-11", "2026-02") == [
        "2025-11",
        "2025-12",
        "2026-01",
        "2026-02",
    ]


def test_a_planned_follow_up_is_no_new_failure(store, now):
    """The new resistor after the resoldered lead neither repeats nor counts."""
    temporary = failure(store, now, lasting=False, due=TODAY, what="lead resoldered")
    failure(store, now + 40 * DAY, follows=temporary.id)
    assert history.repeats(store) == ()
    assert [row.count for row in history.seen(store)] == [1]
    failure(store, now + 80 * DAY)
    assert history.repeats(store)[0].times == 2


def test_two_repairs_of_one_part_in_one_job_are_one_failure(store, now):
    """A part that was mended twice before the job was closed failed once."""
    job = history.open_job(store, "tidal-clockwork", "1", now=now)
    for what in ("lead resoldered", "new resistor"):
        history.add_repair(store, job.id, part_kind="resistor", part="trough-3", what=what, now=now)
    assert [row.count for row in history.seen(store)] == [1]
    assert history.repeats(store) == ()


def test_a_part_repaired_twice_in_a_job_is_listed_once(store, now):
    """The list of jobs names each part once, in the order in which they were repaired."""
    job = history.open_job(store, "tidal-clockwork", "7", complaint="hangs", now=now)
    for part in ("trough-3", "trough-1", "trough-3"):
        history.add_repair(store, job.id, part_kind="resistor", part=part, what="new", now=now)
    (row,) = history.listed(store)
    assert row.parts == (("resistor", "trough-3"), ("resistor", "trough-1"))


def test_repeats_since_a_day(store, now):
    """What failed before the first day asked for is no part of a repeat; the day itself is."""
    for days in (0, 10, 20):
        failure(store, now + days * DAY)
    first = now.date()
    assert [one.times for one in history.repeats(store, since=first)] == [3]
    assert [one.times for one in history.repeats(store, since=first + 10 * DAY)] == [2]
    assert history.repeats(store, since=first + 11 * DAY) == ()


def test_the_same_kind_on_several_machines_of_a_model(store, now):
    """Two units of a model are named together; another model stays apart."""
    failure(store, now, "1")
    failure(store, now + DAY, "2", part="trough-1")
    failure(store, now, "1", machine="basalt-freight")
    (found,) = history.repeats(store)
    assert (found.kind, found.machine) == ("same kind on several machines", "tidal-clockwork")
    assert (found.serials, found.times, found.part) == (("1", "2"), 2, "")
    assert history.repeats(store, least=3) == ()
    assert history.repeats(store, until=now.date()) == ()


def test_vibration_neighbours_are_counted_apart(store, now):
    """A part beside a kicker and one elsewhere are two rows of the counts, by model."""
    failure(store, now, "1", beside_kicker=True)
    failure(store, now, "2", beside_kicker=True)
    failure(store, now, "3")
    failure(store, now, "1", machine="basalt-freight")
    counted = {
        (row.machine, row.part_kind, row.beside_kicker): row.count for row in history.seen(store)
    }
    assert counted == {
        ("tidal-clockwork", "resistor", True): 2,
        ("tidal-clockwork", "resistor", False): 1,
        ("basalt-freight", "resistor", False): 1,
    }
    rows = history.seen(store, machine="tidal-clockwork")
    assert history.counts(rows, beside_kicker=True) == {"resistor": 2}


def test_the_list_and_its_filters(store, now):
    """Each filter keeps what it says; the newest job comes first."""
    failure(store, now, "1")
    failure(store, now + DAY, "2", part_kind="emitter", part="trough-1")
    job = history.open_job(
        store,
        "basalt-freight",
        "3",
        complaint="Tilts by itself",
        place="Station",
        now=now + 2 * DAY,
    )
    history.add_check(store, job.id, check="camera", result="lit", minutes=2.5, now=now)

    def serials(**filters):
        return [row.unit.serial for row in history.listed(store, **filters)]

    assert serials() == ["3", "2", "1"]
    assert serials(limit=2) == ["3", "2"]
    assert serials(machine="tidal-clockwork") == ["2", "1"]
    assert serials(serial="1") == ["1"]
    assert serials(state="open") == ["3"]
    assert serials(state="closed") == ["2", "1"]
    assert serials(part_kind="emitter") == ["2"]
    assert serials(part="trough-3") == ["1"]
    assert serials(place="station") == ["3"]
    assert serials(text="tilts") == ["3"]
    assert serials(since=(now + DAY).date()) == ["3", "2"]
    assert serials(until=now.date()) == ["1"]
    first = history.listed(store, limit=1)[0]
    assert (first.checks, first.sheets, first.minutes, first.parts) == (1, 0, 2.5, ())
    assert history.listed(store, serial="2")[0].parts == (("emitter", "trough-1"),)


@pytest.fixture(scope="module")
def year(tmp_path_factory):
    path = tmp_path_factory.mktemp("year") / "shop.sqlite"
    with history.open_store(path, write=True) as store:
        shop.fill(store, jobs=400)
        yield store


def year_by_hand(store):
    """The entries of the year, joined without the database's help."""
    units = {unit.id: unit for unit in store.find(Unit)}
    jobs = {job.id: job for job in store.find(Job)}
    return [
        (units[jobs[repair.job_id].unit_id], jobs[repair.job_id], repair)
        for repair in store.find(Repair)
    ]


def test_a_year_of_things_due(year):
    """Every question of ``due`` agrees with a count over the plain entries."""
    today = datetime.date(2026, 2, 1)
    rows = year_by_hand(year)
    overdue = {
        repair.id
        for _, _, repair in rows
        if not repair.lasting and repair.settled is None and repair.due <= today
    }
    unproven = set()
    for unit in {unit for unit, _, _ in rows}:
        repairs = [repair for its, _, repair in rows if its == unit]
        proofs = [repair.proven_at for repair in repairs if repair.proven_at]
        last = max((r for r in repairs if r.proven == "none"), key=lambda r: r.done, default=None)
        if last and (not proofs or last.done > max(proofs)):
            unproven.add(last.id)
    found = history.due(year, today=today)
    by_kind = collections.defaultdict(set)
    for due in found:
        by_kind[due.kind].add(due.number)
    assert by_kind["temporary repair"] == overdue
    assert by_kind["never proven"] == unproven
    assert len(by_kind["part to order"]) == len(year.find(history.PartOrder))
    assert len(overdue) > 5
    assert len(unproven) > 5


def test_a_year_of_repeats(year):
    """The same part again, by a count over the plain entries."""
    dates = collections.defaultdict(list)
    for unit, _, repair in year_by_hand(year):
        dates[unit.machine, unit.serial, repair.part_kind, repair.part].append(repair.done.date())
    wanted = {key: len(days) for key, days in dates.items() if len(days) > 1}
    found = history.repeats(year)
    same = {
        (row.machine, *row.serials, row.part_kind, row.part): row.times
        for row in found
        if row.kind == "same part again"
    }
    assert same == wanted
    assert len(wanted) > 20
    assert len([row for row in found if row.kind != "same part again"]) == 18


def test_a_year_of_rates(year):
    """Counts by kind, neighbourhood and month, by a count over the plain entries."""
    rows = year_by_hand(year)
    wanted = collections.Counter(
        (unit.machine, repair.part_kind, repair.beside_kicker) for unit, _, repair in rows
    )
    assert {
        (row.machine, row.part_kind, row.beside_kicker): row.count for row in history.seen(year)
    } == wanted
    months = collections.Counter(
        (f"{repair.done:%Y-%m}", repair.part_kind) for _, _, repair in rows
    )
    assert {(month, kind): count for month, kind, count in history.by_month(year)} == months


def test_nothing_is_asked_by_person():
    """No question filters, counts or orders by who did it."""
    import inspect

    for question in (history.listed, history.due, history.repeats, history.seen, history.by_month):
        assert not {"who", "person", "technician"} & set(inspect.signature(question).parameters)
    for answer in (history.Repeat, history.Seen, history.Listed):
        assert "who" not in attrs.fields_dict(answer)
