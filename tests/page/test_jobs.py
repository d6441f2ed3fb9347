"""Jobs of the page: taps kept once and for good, undone, folded; filed whole."""

from __future__ import annotations

import json
import sqlite3
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig import history, load
from simrig.cli.main import main
from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.suspects import Sheet
from simrig.errors import InputError
from simrig.expectation.observation import observe
from simrig.page.answers import Answers
from simrig.page.session import Event, State, fold

pytest.importorskip("starlette", reason="the page needs Starlette")

from simrig.page.isolating import (
    MOST_WAITING,
    PUT_RIGHT,
    BusyError,
    CausesView,
    Isolating,
    StaleError,
    causes_view,
)
from simrig.page.rendering import render
from simrig.world.phases import Conditions
from tests.diagnosis.bench_machine import bench_machine
from tests.page.serving import Served, serving

SENSORS = ("trough-1", "trough-2", "lock-1")


def _event(seq: int, kind: str, value: object = None) -> Event:
    return Event(seq=seq, key=str(seq), kind=kind, value=value)


kinds = st.one_of(
    st.tuples(st.just("see"), st.dictionaries(
        st.sampled_from(SENSORS), st.sampled_from(("closed", "open", "flickers", "unknown")),
        min_size=1)),
    st.tuples(st.just("phase"), st.sampled_from(("idle", "ready"))),
    st.tuples(st.just("balls"), st.integers(0, 6)),
    st.tuples(st.just("sheet"), st.none()),
    st.tuples(st.just("undo"), st.none()),
)  # fmt: skip


@given(st.lists(kinds, max_size=12), kinds.filter(lambda one: one[0] != "undo"))
def test_undo_takes_back_exactly_the_last_tap(
    taps: list[tuple[str, object]], last: tuple[str, object]
) -> None:
    """Whatever came before, a tap and its undoing leave the job as it was."""
    events = [_event(i, *tap) for i, tap in enumerate(taps)]
    before = fold(events)
    after = fold([*events, _event(90, *last), _event(91, "undo")])
    assert after == before


def test_undo_with_nothing_to_undo() -> None:
    """Undo before anything was tapped changes nothing."""
    assert fold([_event(1, "undo")]) == State()


def test_a_tap_taken_back_is_not_looked_at() -> None:
    """A sensor tapped as unknown again counts as not looked at."""
    state = fold(
        [_event(1, "see", {"trough-1": "open"}), _event(2, "see", {"trough-1": "unknown"})]
    )
    assert state.sheet.readings == {}
    assert state.taken == ()


def test_another_sheet_keeps_the_first() -> None:
    """A second sheet begins empty under the same conditions, and both are evidence."""
    state = fold([
        _event(1, "balls", 3), _event(2, "see", {"trough-1": "closed"}), _event(3, "sheet"),
        _event(4, "balls", 0), _event(5, "see", {"trough-1": "open"}),
    ])  # fmt: skip
    assert [(one.balls, dict(one.readings)) for one in state.taken] == [
        (3, {"trough-1": "closed"}),
        (0, {"trough-1": "open"}),
    ]


def test_a_check_that_cannot_be_done() -> None:
    """A check is skipped by one tap, beside the results of others, and undone by one."""
    events = [_event(1, "check", {"check": "read-again", "result": "same"}),
              _event(2, "skip", "count-balls")]  # fmt: skip
    state = fold(events)
    assert (state.checks, state.skipped) == ((("read-again", "same"),), ("count-balls",))
    assert fold([*events, _event(3, "undo")]).skipped == ()


def test_only_tapped_sensors_were_seen() -> None:
    """What was not tapped is unknown to the commands, not open."""
    state = fold([_event(1, "see", {"trough-1": "closed"})])
    looked = state.sheet.observation(load("tidal-clockwork")).looked_at()
    assert looked == {"trough-1": "closed"}


def _tap(served: Served, job: str, *taps: tuple[str, str, object]) -> int:
    body = json.dumps([{"key": key, "kind": kind, "value": value} for key, kind, value in taps])
    status, text, _ = served.ask("POST", f"/job/{job}/taps", body)
    assert status == 200, text
    return int(json.loads(text)["seq"])


def _begin(served: Served, machine: str = "tidal-clockwork") -> str:
    _, _, answer = served.ask("POST", "/begin", f"machine={machine}")
    return answer.headers["location"].rpartition("/")[2]


def test_a_tap_sent_twice_is_kept_once(tmp_path: Path) -> None:
    """When the acknowledgement was lost and the phone sends again, nothing doubles."""
    with serving(tmp_path) as served:
        job = _begin(served)
        first = ("a", "see", {"trough-1": "closed"})
        assert _tap(served, job, first) == 1
        assert _tap(served, job, first, ("b", "see", {"trough-2": "open"})) == 2
        assert _tap(served, job, first, ("b", "undo", None)) == 2
        assert [one.key for one in served.desk.answers.events(job)] == ["a", "b"]


def test_all_the_rest_agree(tmp_path: Path) -> None:
    """The button says of every sensor not tapped yet that it reads as it must; undo takes it back."""
    with serving(tmp_path) as served:
        job = _begin(served)
        _tap(served, job, ("a", "balls", 3), ("b", "see", {"trough-5": "closed"}),
             ("c", "agree", None))  # fmt: skip
        session = served.desk.answers.session(job)
        readings = served.desk.state(session)[0].sheet.readings
        assert readings["trough-5"] == "closed"
        closed = {name for name, seen in readings.items() if seen == "closed"}
        assert closed == {"trough-1", "trough-2", "trough-3", "trough-5"}
        assert len(readings) == 23
        _tap(served, job, ("d", "undo", None))
        assert served.desk.state(session)[0].sheet.readings == {"trough-5": "closed"}


def test_two_people_at_one_job(tmp_path: Path) -> None:
    """Taps of two phones at the same job are all kept, in the order in which they came."""
    with serving(tmp_path) as served:
        job = _begin(served)
        assert _tap(served, job, ("a1", "see", {"trough-1": "closed"})) == 1
        assert _tap(served, job, ("b1", "see", {"trough-2": "open"})) == 2
        assert json.loads(served.ask("GET", f"/job/{job}/seq")[1]) == {"seq": 2}


def test_the_machine_used_last_comes_first(tmp_path: Path) -> None:
    """The list of machines starts with the one used last, then the one before."""
    with serving(tmp_path) as served:
        for machine in ("tidal-clockwork", "orchard-signal"):
            _begin(served, machine)
        text = served.ask("GET", "/")[1]
        order = sorted(
            ("tidal-clockwork", "orchard-signal", "basalt-freight"),
            key=lambda name: text.index(f'value="{name}"'),
        )
        assert order == ["orchard-signal", "tidal-clockwork", "basalt-freight"]
        assert "3 balls, used last" in text


def test_filing(tmp_path: Path) -> None:
    """The end writes one job with its sheets, conditions and words; filed again, nothing doubles."""
    with serving(tmp_path) as served:
        job = _begin(served)
        _tap(served, job, ("a", "balls", 4), ("b", "see", {"trough-4": "open"}), ("c", "sheet", None),
             ("d", "balls", 0), ("e", "see", {"trough-1": "closed", "trough-2": "flickers"}),
             ("f", "fed", {"step": 0, "right": True}))  # fmt: skip
        assert served.ask("GET", f"/job/{job}/file")[0] == 200
        form = "unit=&serial=77&words=lead+broken&who=ab&complaint=gives+two+balls&close=yes"
        assert served.ask("POST", f"/job/{job}/file", form)[0] == 303
        assert served.ask("POST", f"/job/{job}/file", form)[0] == 200
        assert "Filed as job 1" in served.ask("GET", f"/job/{job}")[1]
        again = _begin(served)
        _tap(served, again, ("a", "see", {"trough-4": "open"}))
        assert 'name="unit" value="77"' in served.ask("GET", f"/job/{again}/file")[1]
        assert served.ask("GET", f"/job/{job}/seq")[0] == 410
        status, _, _ = served.ask("POST", f"/job/{job}/taps",
                                  '[{"key": "z", "kind": "undo", "value": null}]')  # fmt: skip
        assert status == 410
    with history.open_store(tmp_path / "history.sqlite") as store:
        (kept,) = store.find(history.Job)
        sheets = store.find(history.Sheet)
        (unit,) = store.find(history.Unit)
    assert (unit.machine, unit.serial) == ("tidal-clockwork", "77")
    assert kept.complaint == "gives two balls"
    assert kept.explanation.startswith("lead broken")
    assert kept.who == "AB"
    assert kept.state == "closed"
    assert [(one.conditions, one.readings) for one in sheets] == [
        ({"balls": 4}, {"trough-4": "open"}),
        ({"balls": 0}, {"trough-1": "closed", "trough-2": "flickers"}),
    ]


def test_killed_between_record_and_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Filed, and killed before the page knew: filed again, the job is on the record once."""
    with serving(tmp_path) as served:
        job = _begin(served)
        _tap(served, job, ("a", "balls", 4), ("b", "see", {"trough-4": "open"}))
        with monkeypatch.context() as killed:
            killed.setattr(served.desk.answers, "mark_filed", lambda *_: None)
            served.ask("POST", f"/job/{job}/file", "unit=&found=")
        assert served.desk.answers.session(job).job is None
        assert served.ask("POST", f"/job/{job}/file", "unit=&found=")[0] == 303
        assert served.desk.answers.session(job).job == 1
        other = _begin(served)
        _tap(served, other, ("a", "balls", 3), ("b", "see", {"trough-4": "open"}))
        assert served.ask("POST", f"/job/{other}/file", "unit=&found=")[0] == 303
        assert served.desk.answers.session(other).job == 2


def test_filing_by_taps_alone_needs_no_words(tmp_path: Path) -> None:
    """With nothing typed the job is filed for a unit without a number, and stays open."""
    with serving(tmp_path) as served:
        job = _begin(served)
        _tap(served, job, ("a", "see", {"trough-4": "open"}))
        assert served.ask("POST", f"/job/{job}/file", "unit=&found=&close=no")[0] == 303
    with history.open_store(tmp_path / "history.sqlite") as store:
        (unit,) = store.find(history.Unit)
        (kept,) = store.find(history.Job)
    assert (unit.serial, kept.state) == ("without a number", "open")


def test_the_sheet_that_is_copied_out_is_read_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is copied out is a sheet that the commands take, with its conditions."""
    import html
    import re

    with serving(tmp_path) as served:
        job = _begin(served)
        _tap(served, job, ("a", "phase", "ready"), ("b", "balls", 4),
             ("c", "see", {"trough-4": "open", "trough-1": "closed"}))  # fmt: skip
        text = served.ask("GET", f"/job/{job}/sheet")[1]
    found = re.search(r"readonly>(.*?)</textarea>", text, re.S)
    assert found
    file = tmp_path / "copied.toml"
    file.write_text(html.unescape(found[1]), encoding="utf-8")
    code = main(["compare", "tidal-clockwork", "--sheet", str(file), "--json"])
    answer = json.loads(capsys.readouterr().out)
    assert (code, answer["fits"][0]["phase"], answer["fits"][0]["balls"]) == (0, "ready", 4)


def test_untrusted_names_stay_text(tmp_path: Path) -> None:
    """What a profile or a person writes is shown as written, in pages and in the record's words."""
    import attrs

    evil = "<script>alert(1)</script>\"'><img src=x>"
    with serving(tmp_path) as served:
        profile, table = served.desk.machine("orchard-signal")
        sensor = attrs.evolve(profile.sensor[0], name=evil)
        odd = attrs.evolve(
            profile, title=evil, sensor=(sensor, *profile.sensor[1:]),
            phase=(attrs.evolve(profile.phase[0], name=evil), *profile.phase[1:]),
            place=(attrs.evolve(profile.place[0], name=evil), *profile.place[1:]),
        )  # fmt: skip
        served.desk._read["orchard-signal"] = odd, table
        job = _begin(served, "orchard-signal")
        _tap(served, job, ("a", "agree", None), ("b", "see", {odd.sensor[0].id: "closed"}))
        for path in (f"/job/{job}", f"/job/{job}/part?what=all", f"/job/{job}/plan.svg",
                     f"/job/{job}/file", f"/job/{job}/sheet"):  # fmt: skip
            text = served.ask("GET", path)[1]
            assert "<script>alert" not in text
            assert "<img src=x" not in text
            assert "'><img" not in text
            if path.endswith(("plan.svg", job)):
                assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text


def test_a_foreign_file_is_not_touched(tmp_path: Path) -> None:
    """A database of another program is refused and left as it is."""
    path = tmp_path / "page.sqlite"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE theirs (x)")
    other.commit()
    other.close()
    before = path.read_bytes()
    with pytest.raises(InputError, match="another program's database"):
        Answers(path)
    assert path.read_bytes() == before


def test_first_load_is_small(tmp_path: Path) -> None:
    """A job's page with its style and script is under 150 KiB in all, for the largest machine."""
    with serving(tmp_path) as served:
        for machine in ("tidal-clockwork", "basalt-freight", "orchard-signal"):
            job = _begin(served, machine)
            size = sum(
                len(served.ask("GET", path)[1].encode())
                for path in (f"/job/{job}", "/static/page.css", "/static/page.js")
            )
            assert size < 150 * 1024


def test_wrong_options_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A port that is none, a machine that is not there, a missing extra: 2 and words."""
    answers = ["--answers", str(tmp_path / "p.sqlite")]
    for words in (["--port", "0"], ["--port", "x"], ["no-such-machine"]):
        assert main(["page", *answers, *words]) == 2
    told = capsys.readouterr().err
    assert "wanted a number from 1 to 65535" in told
    assert "Traceback" not in told


def test_missing_extra_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without the extra the command ends with 2 and the line that installs it."""
    monkeypatch.setattr("simrig.host.extra.find_spec", lambda name: None)
    assert main(["page"]) == 2
    assert "pip install 'simrig[page]'" in capsys.readouterr().err


def test_a_repair_on_the_way_is_told_as_one_and_never_twice(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Why it comes first, and what it is done to; once a check has done it, the proof is owed."""
    machine = bench_machine()

    def dark(*closed: str, found: tuple[str, ...]) -> CausesView:
        seen = observe(machine, closed=closed, closed_named=True)
        sheet = Sheet(observation=seen, conditions=Conditions(spots=frozenset()))
        job = Job(profile=machine, sheets=(sheet,))
        return causes_view(job.isolation([job.result(*pair.split("=")) for pair in found]))

    out = dark("t1", found=("aim-t1=cured",))
    assert out.next is None
    assert out.repair == PUT_RIGHT
    assert dark("t1", found=("resistor-t1=open",)).repair.startswith("fit a new resistor")
    monkeypatch.setattr("simrig.diagnosis.isolation.MOST_CAUSES", 2)
    first = dark("t1", "t3", found=("resistor-t1=open",))
    assert first.next is not None
    assert first.next.id == "repair-resistor-lead-broken:t1"
    assert "Put it right first" in first.next.certain
    page = render("causes.html", found=first, error="")
    assert "Put it right first" in page
    assert "Say when it is done." in page
    assert "What does it show?" not in page
    plain = dark("t1", "t3", found=())
    assert plain.next is not None
    assert "What does it show?" in render("causes.html", found=plain, error="")


def test_an_answer_nobody_waits_for_is_not_worked_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who tapped on gets no old diagnosis: it is not even begun when its turn comes."""
    from simrig.diagnosis import bench_job

    def never(*_: object, **__: object) -> None:
        raise AssertionError("it was begun")

    monkeypatch.setattr(bench_job, "diagnose", never)
    with serving(tmp_path) as served:
        job = _begin(served, "orchard-signal")
        _tap(served, job, ("a", "see", {"trough-1": "open"}))
        assert served.ask("GET", f"/job/{job}/causes?seq=0")[0] == 204


def test_too_many_questions_at_once_do_not_stop_the_page() -> None:
    """Beyond a bound a question is sent away at once instead of waiting for the others."""
    profile = load("orchard-signal")
    state = fold([_event(1, "see", {"trough-1": "open"})])
    isolating = Isolating()
    outcomes: list[str] = []

    def ask() -> None:
        try:
            isolating.isolation(profile, state, wanted=lambda: False)
        except (BusyError, StaleError) as error:
            outcomes.append(type(error).__name__)

    with isolating._lock:
        threads = [threading.Thread(target=ask) for _ in range(MOST_WAITING + 3)]
        for one in threads:
            one.start()
        while len(outcomes) < 3:
            time.sleep(0.01)
        assert outcomes == ["BusyError"] * 3
    for one in threads:
        one.join(10)
    assert outcomes.count("StaleError") == MOST_WAITING
