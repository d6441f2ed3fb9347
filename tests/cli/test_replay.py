"""The commands record and replay, as they are typed."""

import json
import subprocess
import sys

import pytest
from vcdvcd import VCDVCD

from simrig.cli.main import main

MOVES = "scenarios/tidal-clockwork/moves.scenario.toml"


def run(capsys, *words):
    code = main(list(words))
    said = capsys.readouterr()
    return code, said.out, said.err


@pytest.fixture
def log(tmp_path, capsys):
    path = tmp_path / "run.csv"
    assert run(capsys, "record", MOVES, "-o", str(path))[0] == 0
    return path


def test_what_is_recorded_agrees_when_replayed(log, capsys):
    """Exit 0, and the verdict in one sentence."""
    code, out, _ = run(capsys, "replay", "tidal-clockwork", str(log))
    assert code == 0
    assert "The log agrees with what the balls must have done" in out
    assert "At its end: 4 in the ball trough, 1 in the tide lock." in out


def test_json_has_the_keys_of_the_contract(log, capsys):
    """agrees, anomalies with time, sensor, kind and why, balls."""
    rows = log.read_text().splitlines(keepends=True)
    gone = [row for row in rows if not ("trough-5,closed" in row and not row.startswith("0,"))]
    log.write_text("".join(gone))
    code, out, _ = run(capsys, "replay", "tidal-clockwork", str(log), "--json")
    document = json.loads(out)
    assert code == 1
    assert document["format"] == 1
    assert document["agrees"] is False
    assert document["balls"] == {"trough": 4, "lock": 1}
    for one in document["anomalies"]:
        assert {"time", "sensor", "kind", "why"} <= one.keys()


def test_times_may_be_in_any_unit_that_is_stated(log, capsys, tmp_path):
    """The same log in microseconds and in seconds."""
    head, *rows = log.read_text().splitlines()
    cells = [row.split(",") for row in rows]
    for unit, factor in (("us", 1000.0), ("s", 0.001)):
        other = tmp_path / f"{unit}.csv"
        lines = [f"{float(time) * factor!r},{name},{state}" for time, name, state in cells]
        other.write_text("\n".join([head, *lines]))
        code, out, _ = run(capsys, "replay", "tidal-clockwork", str(other), "--time-unit", unit)
        assert code == 0, out


def test_a_log_without_times_is_judged_by_its_order(log, capsys, tmp_path):
    """Two columns: sensor and reading."""
    rows = [row.partition(",")[2] for row in log.read_text().splitlines()[1:]]
    other = tmp_path / "order.csv"
    other.write_text("\n".join(["sensor,reading", *rows]))
    code, out, _ = run(capsys, "replay", "tidal-clockwork", str(other))
    assert code == 0, out
    assert "The log has no times: only the order was judged." in out


def test_a_recorded_dump_is_read_by_another_reader_with_equal_events(tmp_path, capsys):
    """Source: vcdvcd (V182): the same changes at the same microseconds."""
    dump, rows = tmp_path / "run.vcd", tmp_path / "run.csv"
    for path in (dump, rows):
        assert run(capsys, "record", MOVES, "-o", str(path), "--seed", "3")[0] == 0
    theirs = VCDVCD(str(dump))
    found = []
    for name in theirs.signals:
        for time, value in theirs[name].tv:
            if value in ("0", "1"):
                found.append((time, name.rpartition(".")[2], value))
    ours = []
    for row in rows.read_text().splitlines()[1:]:
        time, name, reading = row.split(",")
        value = "1" if reading in ("closed", "on") else "0"
        ours.append((round(float(time) * 1000), name.replace("-", "_"), value))
    assert sorted(found) == sorted(ours)


def test_a_fault_shows_in_the_record(tmp_path, capsys):
    """Exchanged leads are recorded as such, and told when replayed."""
    path = str(tmp_path / "run.csv")
    code, _, err = run(
        capsys, "record", MOVES, "-o", path, "--fault", "leads-exchanged:trough-4+trough-5"
    )
    assert code == 0, err
    code, out, _ = run(capsys, "replay", "tidal-clockwork", path, "--json")
    (one,) = json.loads(out)["anomalies"]
    assert code == 1
    assert one["kind"] == "swapped"
    assert {one["sensor"], *one["others"]} == {"trough-4", "trough-5"}


def test_a_fault_that_comes_and_goes_is_recorded_as_a_flicker(tmp_path, capsys):
    """A joint that makes and breaks: the log flickers there, and diagnosing it leads back."""
    path = str(tmp_path / "run.csv")
    fault = "emitter-joint-loose:lock-2"
    assert run(capsys, "record", MOVES, "-o", path, "--fault", fault, "--seed", "1")[0] == 0
    code, out, _ = run(capsys, "replay", "tidal-clockwork", path, "--json")
    assert code == 1
    kinds = {(one["kind"], one["sensor"]) for one in json.loads(out)["anomalies"]}
    assert ("flicker", "lock-2") in kinds
    assert {sensor for _, sensor in kinds} <= {"lock-1", "lock-2"}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("record", MOVES, "-o", "run.txt"), "wanted a name that ends in .csv or .vcd"),
        (("record", MOVES, "-o", "/no/such/run.csv"), "it cannot be written"),
        (("record", "nowhere.toml", "-o", "a.csv"), "it cannot be read"),
        (("record", MOVES, "-o", "a.csv", "--seed", "x"), "wanted a whole number"),
        (("record", MOVES, "-o", "a.csv", "--fault", "emitter-ded:trough-1"), "emitter-dead"),
        (("record", MOVES, "-o", "a.csv", "--fault", "ball-missing:any"), "does not change how"),
        (("replay", "tidal-clockwork", "nowhere.csv"), "it cannot be read"),
        (("replay", "tidal-clockwork", "LOG", "--scan-period", "0"), "from 0.01 to 1000"),
        (("replay", "tidal-clockwork", "LOG", "--debounce", "1.5"), "a whole number"),
        (("replay", "tidal-clockwork", "LOG", "--phase", "nap"), 'no phase is called "nap"'),
        (("replay", "tidal-clockwork", "LOG", "--balls", "3", "--at", "trough=5"), "conditions"),
    ],
)
def test_wrong_input_ends_with_2_and_words(words, told, log, capsys, tmp_path, monkeypatch):
    """One message a fault, never a traceback."""
    words = [str(log) if word == "LOG" else word for word in words]
    if words[0] == "record":
        words[1] = words[1].replace("scenarios/", f"{sys.path[0]}/scenarios/")
    code, _, err = run(capsys, *(word if word != words[1] else words[1] for word in words))
    assert code == 2
    assert told in err


def test_malformed_rows_are_told_with_file_and_line(log, capsys):
    """Every one of them."""
    with log.open("a") as file:
        file.write("99999,trough-1,ajar\r\nlater,trough-1,open\r\n")
    code, _, err = run(capsys, "replay", "tidal-clockwork", str(log))
    rows = len(log.read_text().splitlines())
    assert code == 2
    assert f"{log}:{rows - 1}: reading:" in err
    assert f"{log}:{rows}: time:" in err


def test_an_unknown_sensor_is_a_message_and_no_more(log, capsys):
    """The log is judged all the same."""
    with log.open("a") as file:
        file.write("99999,trough-99,open\r\n")
    code, _, err = run(capsys, "replay", "tidal-clockwork", str(log))
    assert code == 0
    assert 'no sensor is called "trough-99"; did you mean' in err


def test_a_log_comes_through_a_pipe_too(log):
    """``-`` is stdin."""
    found = subprocess.run(
        [sys.executable, "-m", "simrig", "replay", "tidal-clockwork", "-"],
        stdin=log.open("rb"), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert found.returncode == 0, found.stderr
    assert "The log agrees" in found.stdout


def test_the_first_screen_is_short_whatever_the_log_holds(log, capsys):
    """At most 20 lines; the rest on demand."""
    rows = log.read_text().splitlines(keepends=True)
    wild = [f"{100000 + 700 * n},trough-{1 + n % 5},{('open', 'closed')[n // 5 % 2]}\n"
            for n in range(200)]  # fmt: skip
    log.write_text("".join([*rows, *wild]))
    code, out, _ = run(capsys, "replay", "tidal-clockwork", str(log))
    assert code == 1
    assert len(out.splitlines()) <= 20
    assert "more: --all" in out
    assert all(len(line) <= 80 for line in out.splitlines())
