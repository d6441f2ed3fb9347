"""Complaints on the command line."""

from __future__ import annotations

import json

import pytest

from simrig.cli.main import main

Capture = pytest.CaptureFixture[str]


def test_complaint_alone_asks_for_the_readings_first(capsys: Capture) -> None:
    """With nothing but the complaint causes are ranked: eyes on the balls, then the switches read."""
    words = ["diagnose", "tidal-clockwork", "--complaint", "will-not-start", "--faults", "1"]
    assert main([*words, "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    chances = [one["probability"] for one in found["explanations"]]
    assert len(chances) > 20
    assert chances == sorted(chances, reverse=True)
    assert found["next_check"]["id"] == "look-balls"
    assert main([*words, "--found", "look-balls=as-assumed", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["next_check"]["id"].startswith("read-")
    assert "counts fewer balls at home than a game needs" in found["explanations"][0]["why"]


def test_complaints_of_a_machine_are_listed(capsys: Capture) -> None:
    """``show`` lists the ids that ``--complaint`` takes."""
    assert main(["show", "orchard-signal"]) == 0
    printed = capsys.readouterr().out
    assert "will-not-start" in printed
    assert "keeps-kicking" not in printed, "it has no jam sensor"


def test_every_wrong_complaint_is_told(capsys: Capture) -> None:
    """Two wrong ids are two messages, exit code 2."""
    words = ["diagnose", "tidal-clockwork", "--complaint", "rattles", "--complaint", "smells"]
    assert main(words) == 2
    told = capsys.readouterr().err
    assert told.count("no complaint is called") == 2
    assert "known: will-not-start" in told
