"""Campaigns: what is injected is always in the final group, and no check parts that group."""

from __future__ import annotations

import json
import os

import pytest

import simrig
from simrig.cli.main import main
from simrig.diagnosis.campaign import Campaign, Summary, Trial
from simrig.faults.candidates import fault_named
from tests.diagnosis.bench_machine import TEXT, bench_machine

FULL = bool(os.environ.get("SIMRIG_FULL"))
MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")


@pytest.fixture(scope="module")
def mill() -> Campaign:
    """A campaign on the small machine."""
    return Campaign(profile=bench_machine())


def trial(mill: Campaign, *names: str) -> Trial:
    """Inject faults by their names."""
    return mill.trial(tuple(fault_named(mill.faults, name) for name in names))


def test_a_dark_emitter_shows_only_where_its_position_is_empty(mill: Campaign) -> None:
    """At position 2 of 3: with no ball and with one; full, it reads as it should (by hand)."""
    found = trial(mill, "emitter-dead:t2")
    assert found.counts == (0, 1)
    assert found.shown == ()  # idle holds 3 balls, ready 2: both cover position 2
    assert found.isolated
    assert found.minutes is not None
    assert found.minutes > 5


def test_a_stuck_contact_shows_in_the_phase_that_uses_it(mill: Campaign) -> None:
    """The lane is empty in idle and holds a ball when ready (worked out by hand)."""
    assert trial(mill, "contact-stuck-closed:lane-ball").shown == ("idle",)
    assert trial(mill, "contact-stuck-open:lane-ball").shown == ("ready",)


def test_what_only_coils_show_is_silent_to_the_readings(mill: Campaign) -> None:
    """A dead coil changes no reading: no sheet betrays it, nothing is tried."""
    found = trial(mill, "coil-open:kicker")
    assert (found.shown, found.counts, found.minutes) == ((), (), None)


def test_a_missing_ball_is_counted_not_repaired(mill: Campaign) -> None:
    """It shows in idle, and a count or a look ends the search."""
    found = trial(mill, "ball-missing:any")
    assert "idle" in found.shown
    assert found.held


@pytest.mark.parametrize("start", range(3) if not FULL else range(12))
def test_every_fault_of_the_small_machine_stays_in_the_final_group(
    mill: Campaign, start: int
) -> None:
    """The true fault is in the final group in 100 %, and no check of the catalogue parts it."""
    chosen = mill.chosen(12 if FULL else 9, 12 if FULL else 3, start)
    done = [mill.trial(faults) for faults in chosen[start :: 12 if FULL else 3]]
    summary = Summary.of(done)
    assert summary.held == summary.tried
    assert summary.unparted == 0


@pytest.mark.parametrize("machine", MACHINES)
def test_faults_of_the_demo_machines_stay_in_the_final_group(machine: str) -> None:
    """30 singles and 10 pairs of each."""
    campaign = Campaign(profile=simrig.load(machine))
    chosen = campaign.chosen(30, 10, 0)
    summary = Summary.of([campaign.trial(faults) for faults in chosen])
    assert summary.tried > 0
    assert summary.held == summary.tried
    assert summary.unparted == 0


def test_what_is_injected_is_spread_evenly_and_drawn_the_same_each_time(mill: Campaign) -> None:
    """All singles when left out; pairs are of two parts, and the same for the same seed."""
    assert len(mill.chosen(None, 0, 0)) == len(mill.faults)
    one = [[fault.name for fault in faults] for faults in mill.chosen(5, 7, 3)]
    assert one == [[fault.name for fault in faults] for faults in mill.chosen(5, 7, 3)]
    assert [len(names) for names in one] == [1] * 5 + [2] * 7
    assert all(a.component != b.component for a, b in mill.chosen(0, 7, 3))


def test_a_campaign_on_the_command_line(
    tmp_path: object, capsys: pytest.CaptureFixture[str]
) -> None:
    """Figures as JSON, progress on stderr, worker processes give what one process gives."""
    file = tmp_path / "mill.toml"  # type: ignore[operator]
    file.write_text(TEXT)
    found = []
    for workers in ("1", "2"):
        words = ["campaign", str(file), "--singles", "4", "--workers", workers, "--json"]
        assert main(words) == 0
        told = capsys.readouterr()
        found.append(json.loads(told.out))
        assert "4 of 4 faults" in told.err
    assert found[0] == found[1]
    assert {"faults", "shown", "isolated", "mean_minutes", "groups"} <= set(found[0])
    assert main(["campaign", str(file), "--singles", "x"]) == 2
    assert "wanted a whole number" in capsys.readouterr().err
