"""What is filed comes back as it was."""

import datetime
import json

import pytest

from simrig import history
from simrig.errors import InputError
from simrig.history import Unit

LATER = datetime.timedelta(hours=1)


def a_job(store, now, serial="7", **values):
    return history.open_job(
        store, "tidal-clockwork", serial, complaint="keeps kicking", now=now, who="ab", **values
    )


def a_repair(store, job, now, **values):
    wanted = {
        "part_kind": "resistor",
        "part": "trough-3",
        "what": "lead resoldered",
        "lasting": False,
        "due": datetime.date(2026, 4, 1),
        "now": now,
    }
    return history.add_repair(store, job.id, **(wanted | values))


def problem_of(error):
    (problem,) = error.value.problems
    return problem


def test_a_colleague_resumes_where_the_job_stands(path, now):
    """An open job gives back its sheets, checks, repairs and orders in another process's hands."""
    with history.open_store(path, write=True) as store:
        job = a_job(store, now, place="harbour bar", complaint_ids=["keeps-kicking"])
        sheet = history.add_sheet(
            store,
            job.id,
            readings={"trough-1": "closed", "trough-2": "flickers"},
            conditions={"phase": "idle", "balls": 5, "at": {"lock": 2}},
            now=now,
            who="ab",
        )
        check = history.add_check(
            store, job.id, check="camera", result="dark", minutes=2, now=now, who="ab"
        )
        history.explain(store, job.id, "resistor's lead broken")
        repair = a_repair(store, job, now, minutes=12.5, balls_aboard=5, who="ab")
        order = history.order_part(
            store, job_id=job.id, value="150 ohm", package="0207", quantity=2, minimum_stock=10,
            van="north", now=now, who="ab",
        )  # fmt: skip
    with history.open_store(path) as store:
        found = history.job_file(store, job.id)
        assert found.job.state == "open"
        assert found.job.explanation == "resistor's lead broken"
        assert found.job.complaint_ids == ("keeps-kicking",)
        assert (found.unit.machine, found.unit.serial) == ("tidal-clockwork", "7")
        assert found.job.place == "harbour bar"
        assert found.sheets == (sheet,)
        assert found.sheets[0].conditions["at"] == {"lock": 2}
        assert found.checks == (check,)
        assert found.repairs == (repair,)
        assert found.orders == (order,)
        assert found.minutes == 14.5
        assert found.repairs[0].who == "AB"


def test_the_state_of_a_unit(store, now):
    """A unit tells its differences from the profile, its temporary repairs and its open jobs."""
    job = a_job(store, now)
    repair = a_repair(store, job, now)
    history.set_fact(store, job.unit_id, "board-1.lit", "open", now=now, who="ab")
    history.set_fact(store, job.unit_id, "board-1.lit", "closed", now=now + LATER, who="cd")
    state = history.unit_state(store, "tidal-clockwork", "7")
    assert state.differences == {"board-1.lit": "closed"}
    assert state.temporary == (repair,)
    assert state.open_jobs == (job,)
    history.remove_fact(store, job.unit_id, "board-1.lit")
    assert history.unit_state(store, "tidal-clockwork", "7").differences == {}
    assert history.unit_state(store, "tidal-clockwork", "8") is None


def test_a_lasting_repair_settles_the_temporary_one_of_the_same_part(store, now):
    """A new resistor settles the resoldered lead of the same part of the same unit only."""
    job = a_job(store, now)
    a_repair(store, job, now)
    other = a_repair(store, job, now, part="trough-4")
    elsewhere = a_repair(store, a_job(store, now, serial="8"), now)
    later = a_job(store, now + LATER)
    a_repair(store, later, now + LATER, lasting=True, due=None, what="new resistor")
    assert history.unit_state(store, "tidal-clockwork", "7").temporary == (other,)
    assert history.unit_state(store, "tidal-clockwork", "8").temporary == (elsewhere,)


def test_a_second_temporary_repair_carries_the_date_on(store, now):
    """A temporary repair that follows another stands in for it."""
    job = a_job(store, now)
    first = a_repair(store, job, now)
    second = a_repair(store, job, now, follows=first.id, due=datetime.date(2026, 5, 1))
    assert history.unit_state(store, "tidal-clockwork", "7").temporary == (second,)


def test_a_follow_up_can_be_settled_by_hand(store, now):
    """A temporary repair that is needed no longer is settled without another repair."""
    repair = a_repair(store, a_job(store, now), now)
    assert history.settle(store, repair.id, now=now + LATER).settled == now + LATER
    assert history.unit_state(store, "tidal-clockwork", "7").temporary == ()


def test_a_temporary_repair_owes_a_date(store, now):
    """Without a date for the follow-up a temporary repair is refused, and nothing is filed."""
    job = a_job(store, now)
    with pytest.raises(InputError) as error:
        a_repair(store, job, now, due=None)
    assert problem_of(error).where == "due"
    assert "owes a follow-up: give its date" in problem_of(error).message
    assert history.job_file(store, job.id).repairs == ()


def test_only_a_temporary_repair_of_the_same_unit_can_be_followed(store, now):
    """A repair cannot finish a lasting one, nor one of another unit."""
    job = a_job(store, now)
    lasting = a_repair(store, job, now, lasting=True, due=None)
    with pytest.raises(InputError, match="found a lasting repair; wanted the number of a temp"):
        a_repair(store, job, now, follows=lasting.id)
    other = a_repair(store, a_job(store, now, serial="8"), now)
    with pytest.raises(InputError, match="found a repair of another unit"):
        a_repair(store, job, now, follows=other.id)


def test_every_wrong_column_is_told_at_once(store, now):
    """Four faults in, four messages out."""
    job = a_job(store, now)
    with pytest.raises(InputError) as error:
        a_repair(
            store, job, now, part="", what="x\x1b[2J", balls_aboard=-1, proven="surely", minutes=2
        )
    told = {problem.where: problem.message for problem in error.value.problems}
    assert set(told) == {"part", "what", "balls_aboard", "proven"}
    assert told["proven"] == ('found "surely"; wanted "none" or "readings" or "fed one by one"')
    assert "control character '\\x1b'" in told["what"]


def test_a_closed_job_takes_nothing_until_it_is_opened_again(store, now):
    """Sheets and repairs belong to an open job."""
    job = a_job(store, now)
    history.close_job(store, job.id, now=now + LATER)
    with pytest.raises(InputError, match="found job 1 closed since 2026-03-02; wanted an open"):
        history.add_check(store, job.id, check="camera", result="lit", now=now)
    history.reopen_job(store, job.id)
    history.add_check(store, job.id, check="camera", result="lit", now=now)


def test_a_number_that_is_not_on_record(store, now):
    """A job, repair or order that is not there is named."""
    with pytest.raises(InputError, match="found no job 9 on record"):
        history.add_check(store, 9, check="camera", result="lit", now=now)
    with pytest.raises(InputError, match="found no repair 9 on record"):
        history.prove(store, 9, "readings", now=now)
    with pytest.raises(InputError, match="found no part order 9 on record"):
        history.mark_received(store, 9, now=now)
    with pytest.raises(InputError, match='found no fact "x"'):
        history.remove_fact(store, 9, "x")


def test_how_it_was_proven(store, now):
    """A proof is noted with its time, and taken back with it."""
    repair = a_repair(store, a_job(store, now), now)
    proven = history.prove(store, repair.id, "fed one by one", balls_aboard=5, now=now + LATER)
    assert (proven.proven, proven.proven_at) == ("fed one by one", now + LATER)
    assert proven.balls_aboard == 5
    assert history.prove(store, repair.id, "none", now=now).proven_at is None


def test_a_reading_is_one_of_four_words(store, now):
    """A sheet refuses a word that is no reading."""
    job = a_job(store, now)
    with pytest.raises(InputError, match='found "on"; wanted one of closed, open'):
        history.add_sheet(store, job.id, readings={"trough-1": "on"}, now=now)


def test_several_calls_are_filed_together_or_not_at_all(store, now):
    """An error in the last of several calls takes the others back."""

    def several():
        with store.writing():
            job = a_job(store, now)
            history.add_check(store, job.id, check="camera", result="lit", now=now)
            a_repair(store, job, now, due=None)

    with pytest.raises(InputError):
        several()
    assert history.listed(store) == ()
    assert store.find(Unit) == []


def test_a_unit_is_filed_once(store):
    """The same machine and serial is the same unit; a new place becomes its place."""
    first = history.ensure_unit(store, "tidal-clockwork", "7", place="station")
    assert history.ensure_unit(store, "tidal-clockwork", " 7 ") == first
    moved = history.ensure_unit(store, "tidal-clockwork", "7", place="arcade")
    assert (moved.id, moved.place) == (first.id, "arcade")
    assert history.ensure_unit(store, "basalt-freight", "7").id != first.id


def test_a_time_without_an_offset_is_refused(store):
    """The record keeps one clock: a time that does not say its offset is refused."""
    with pytest.raises(InputError, match="wanted a time with its offset"):
        a_job(store, datetime.datetime(2026, 1, 1))


def test_nothing_is_written_inside_a_question(store, now):
    """A block that only reads refuses to write, instead of waiting for itself."""
    with pytest.raises(RuntimeError), store.reading():
        a_job(store, now)


def test_a_trainee_takes_back_an_answer_and_resumes(store, now):
    """Undo removes the last answer; what was saved to go on is there until it is ended."""
    for right in (True, False):
        history.add_answer(store, trainee="tr", topic="polarity", item="q1", right=right, now=now)
    assert history.cards(history.answers(store, "TR"))[0].box == 1
    assert history.undo_answer(store, "Tr").right is False
    assert history.cards(history.answers(store, "TR"))[0].box == 2
    assert history.undo_answer(store, "nobody") is None
    history.save_training(store, "tr", {"seed": 4, "at": 1}, now=now)
    history.save_training(store, "tr", {"seed": 4, "at": 2}, now=now)
    assert history.training(store, "TR").progress == {"seed": 4, "at": 2}
    history.end_training(store, "TR")
    assert history.training(store, "TR") is None


def test_a_text_is_bounded(store, now):
    """A complaint of 10,000 characters is filed; one more is refused with its bound."""
    assert (
        len(history.open_job(store, "m", "1", complaint="x" * 10_000, now=now).complaint) == 10_000
    )
    with pytest.raises(InputError) as error:
        history.open_job(store, "m", "2", complaint="x" * 10_001, now=now)
    assert problem_of(error).where == "complaint"
    assert problem_of(error).message == "found 10001 characters; wanted at most 10000"


def test_what_is_no_text_is_refused(store, now):
    """A number where words are wanted is refused, not written as text."""
    with pytest.raises(InputError) as error:
        history.open_job(store, "m", "1", complaint=5, now=now)
    assert problem_of(error).message == "found 5; wanted text"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (float("inf"), "found inf; wanted a finite number"),
        ({1: "x"}, "found the key 1; wanted text as a key"),
        ({"a": ["\x07"]}, "found the control character '\\x07'; wanted text without it"),
        ([{"a": object}], "found type; wanted text, a number, true, false, a list or a mapping"),
        (
            json.loads("[" * 13 + "1" + "]" * 13),
            "found a value nested deeper than 12 levels; wanted a flatter one",
        ),
    ],
)
def test_what_json_cannot_hold_is_no_fact(value, said, store, now):
    """A fact of a unit is any value that JSON can hold; another is refused with what was found."""
    unit = history.ensure_unit(store, "m", "1")
    with pytest.raises(InputError) as error:
        history.set_fact(store, unit.id, "board", value, now=now)
    assert (problem_of(error).where, problem_of(error).message) == ("value", said)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (
            lambda now: history.Job(unit_id=1, opened=now, closed=now - LATER),
            "closed: found a time before the job was opened; wanted a later one",
        ),
        (
            lambda now: history.Job(unit_id=1, opened=now, complaint_ids={"keeps-kicking": 1}),
            "complaint_ids: found a mapping; wanted a list of ids",
        ),
        (
            lambda now: history.Job(unit_id=1, opened=now, complaint_ids=["a", 5]),
            "complaint_ids: found 5; wanted a list of ids",
        ),
        (
            lambda now: history.Sheet(job_id=1, taken=now, conditions=["idle"]),
            "conditions: found a list; wanted a mapping such as phase and balls",
        ),
        (
            lambda now: history.Sheet(job_id=1, taken=now, readings=["open"]),
            "readings: found a list; wanted a mapping of sensors to readings",
        ),
        (
            lambda now: history.Repair(job_id=1, part_kind="k", part="p", what="w", done=now,
                                       proven="readings"),
            'proven_at: found none with the proof "readings"; wanted the time of the proof',
        ),
        (
            lambda now: history.Repair(job_id=1, part_kind="k", part="p", what="w", done=now,
                                       proven_at=now),
            "proven_at: found a time without a proof; wanted how it was proven, or no time",
        ),
    ],
)  # fmt: skip
def test_columns_that_contradict_each_other(make, said, now):
    """An entry whose columns cannot hold together is refused, at the column to mend."""
    with pytest.raises(ValueError) as refused:  # noqa: PT011
        make(now)
    assert str(refused.value) == said


def test_a_question_inside_a_question_sees_the_same_state(path, now):
    """Inside one block that reads, a second one joins it: what is filed meanwhile is not seen."""
    with history.open_store(path, write=True) as writer:
        a_job(writer, now)
        with history.open_store(path) as store, store.reading():
            assert len(history.listed(store)) == 1
            a_job(writer, now, serial="8")
            with store.reading():
                assert len(history.listed(store)) == 1
            assert len(history.listed(store)) == 1
        with history.open_store(path) as store:
            assert len(history.listed(store)) == 2
