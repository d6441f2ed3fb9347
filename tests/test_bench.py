"""The benches' plumbing: nothing here is timed by a clock."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.bench import __main__ as every
from tests.bench import bench_placements, registry, report
from tests.bench.documents import document, outcomes
from tests.bench.measuring import UnequalError, alternating, equal
from tests.bench.program import alone
from tests.bench.rows import Claim, Curve, Outcome

ROOT = Path(__file__).parents[1]


def claim(measure="faster", goal=None, done="work", peer="peer"):
    return Claim(done=done, peer=peer, measure=measure, goal=goal)


def outcome(*found, **more):
    return Outcome(name="flow", title="A title", found=found, **more)


def test_every_bench_is_in_the_registry():
    """Each module bench_NAME.py, and no other name, but for those run by hand."""
    modules = {one.stem.removeprefix("bench_") for one in ROOT.glob("tests/bench/bench_*.py")}
    assert modules - set(registry.BY_HAND) == set(registry.BENCHES)


def test_the_table_in_the_readme_has_the_rows_of_the_registry():
    """Titles, what is done, peers and goals, in order, none missing and none left over."""
    section = (ROOT / "README.md").read_text(encoding="utf-8").partition("\n## Speed\n")[2]
    (block,) = re.findall(r"^```text\n(.*?)^```$", section.partition("\n## ")[0], re.M | re.S)
    shown = block.partition(f"\n{'-' * 80}\n")[2].partition("\nWhere at least")[0].splitlines()
    wanted = []
    for name in registry.BENCHES:
        bench = registry.module(name)
        wanted += [bench.TITLE, *bench.CLAIMS]
    lines = [line for line in shown if line]
    assert len(lines) == len(wanted)
    for line, one in zip(lines, wanted, strict=True):
        if isinstance(one, str):
            assert line == one
        else:
            assert line[2:33].rstrip() == one.done
            assert line[34:56].startswith(one.peer)
            assert line[65:74].strip() == report.goal(one)


def test_every_line_fits_80_columns():
    """The table with the longest words that a claim may have, and a curve of many points."""
    long = claim("seconds", 9.95, done="d" * 31, peer="p" * 22)
    sizes = tuple(1000 * 2**n for n in range(12))
    curve = Curve(done="d" * 31, size="entries", sizes=sizes, times=sizes)
    text = report.text([outcome(long.row(2345.0), curve, failure="x")])
    assert max(len(line) for line in text.partition("FAILED")[0].splitlines()) <= 80


@pytest.mark.parametrize("name", ["placements", "scan"])
def test_a_quick_run_yields_a_row_for_each_claim(name, tmp_path):
    """By the one command, each bench in a process of its own: rows in order, JSON, exit code 0."""
    file = tmp_path / "found.json"
    words = ["--only", name, "--quick", "--readme", "--json", str(file)]
    ended = subprocess.run(
        [sys.executable, "-m", "tests.bench", *words], cwd=ROOT, capture_output=True, text=True
    )
    assert ended.returncode == 0, ended.stderr
    assert ended.stdout.startswith("```text\n")
    assert report.QUICK in ended.stdout
    assert f"1 of 1: {name}" in ended.stderr
    (found,) = outcomes(json.loads(file.read_text()))
    assert tuple(row.claim for row in found.rows) == registry.module(name).CLAIMS


def test_unequal_answers_fail_the_bench(monkeypatch, capsys, tmp_path):
    """A peer that finds something else: nothing is timed, exit code 1, and the reason is told."""
    monkeypatch.setattr(bench_placements, "searched", lambda *_: set())
    file = tmp_path / "found.json"
    assert alone(bench_placements.__file__, None, ["--quick", "--json", str(file)]) == 1
    printed = capsys.readouterr().out
    assert "FAILED placements: placements composed: the answers differ" in printed
    (found,) = outcomes(json.loads(file.read_text()))
    assert not found.rows
    assert every.main(["--from", str(_kept(tmp_path, found))]) == 1


def _kept(folder, found, here="here"):
    file = folder / f"{found.name} {here}.json"
    file.write_text(json.dumps({**document([found]), "here": here}))
    return file


def test_a_missing_peer_is_told_with_what_installs_it(monkeypatch, capsys):
    """What was measured before stays in the table."""

    def run(effort):
        yield claim(done="measured before").row(2.0)
        raise ModuleNotFoundError("no", name="peerless")

    fake = SimpleNamespace(TITLE="A title", run=run)
    monkeypatch.setattr(registry, "module", lambda name: fake)
    assert alone("bench_fake.py", None, []) == 1
    printed = capsys.readouterr().out
    assert "measured before" in printed
    assert "FAILED fake: peerless is not installed: pip install '.[bench]'" in printed


def test_a_missed_goal_is_shown_and_fails_nothing(tmp_path, capsys):
    """The table says NO; the bench did what it must."""
    missed = outcome(claim("faster", 5.0).row(4.0))
    assert every.main(["--from", str(_kept(tmp_path, missed))]) == 0
    assert re.search(r"work +peer +4\.00x +>= 5x +NO$", capsys.readouterr().out, re.M)


def test_of_several_files_the_last_counts(tmp_path, capsys):
    """One bench run again: its rows are the new ones, in the order of the registry."""
    later = outcome(claim(done="second time").row(4.0))
    other = Outcome(name="scan", title="Another", found=(claim(done="other").row(1.0),))
    files = [
        _kept(tmp_path, other),
        _kept(tmp_path, outcome(claim(done="first time").row(3.0))),
        _kept(tmp_path, later, "later"),
    ]
    assert every.main([word for file in files for word in ("--from", str(file))]) == 0
    printed = capsys.readouterr().out
    assert "first time" not in printed
    assert printed.index("second time") < printed.index("other")
    assert printed.endswith("\nhere\nlater\n")


@pytest.mark.parametrize(
    ("measure", "figure", "reached"),
    [
        ("faster", 5.0, True), ("faster", 4.99, False),
        ("share", 5.0, True), ("share", 4.99, False),
        ("longer", 5.0, True), ("longer", 5.01, False),
        ("seconds", 5.0, True), ("seconds", 5.01, False),
    ],
)  # fmt: skip
def test_a_goal_is_a_least_or_a_most_by_what_is_measured(measure, figure, reached):
    """At the goal it is reached; just beyond it, on the worse side, it is not."""
    assert claim(measure, 5.0).row(figure).reached is reached
    assert claim(measure).row(figure).reached is None


def test_documents_give_back_what_was_found():
    """Rows with their claims and details, curves, failure."""
    curve = Curve(done="work", size="balls", sizes=(2, 4), times=(1.0, 3.0))
    given = outcome(claim("share", 0.9).row(0.95, rounds=3), curve, failure="why", quick=True)
    assert outcomes(json.loads(json.dumps(document([given])))) == (given,)


def test_the_exponent_is_that_of_a_power_law():
    """Times that grow as the size to 1.5 have the exponent 1.5."""
    sizes = (16, 32, 64, 256)
    curve = Curve(done="work", size="n", sizes=sizes, times=[(n / 16) ** 1.5 for n in sizes])
    assert curve.exponent == pytest.approx(1.5)


def test_ours_and_the_peer_are_measured_in_turn():
    """After a first call of each, which is not counted; ratios are those of the rounds."""
    now = 0.0
    done = []

    def work(name, *seconds):
        each = iter(seconds)

        def call():
            nonlocal now
            done.append(name)
            now += next(each)

        return call

    # The first calls are the slow ones.
    timed = alternating(
        work("ours", 50, 1, 2, 4), work("peer", 90, 3, 4, 20), rounds=3, clock=lambda: now
    )
    assert done == ["ours", "peer"] * 4
    assert timed.ratios == (3, 2, 5)
    assert timed.faster == 3
    assert timed.longer == pytest.approx(1 / 3)


def test_equal_answers_pass_and_others_do_not():
    """Of any number of answers, the last one too."""
    equal("work", 1, 1, 1)
    with pytest.raises(UnequalError, match="work: the answers differ"):
        equal("work", 1, 1, 2)
