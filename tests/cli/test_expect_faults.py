"""``simrig expect --fault``: what a fault would make of the readings."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from simrig.cli.main import main
from tests.diagnosis.small_machine import TEXT

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def lantern(tmp_path: Path) -> str:
    """The small machine as a file."""
    file = tmp_path / "copper-lantern.toml"
    file.write_text(TEXT)
    return str(file)


@pytest.mark.parametrize(
    ("balls", "faults", "expected"),
    [
        (0, ["emitter-dead:t2"], "open closed open"),
        (3, ["emitter-dead:t2"], "closed closed closed"),
        (0, ["fuse-blown:f1"], "closed closed closed"),
        (3, ["plug-off:output-plug"], "open open open"),
        (2, ["leads-exchanged:t2+t3"], "closed open closed"),
        (3, ["ball-missing:any"], "closed closed open"),
        (2, ["balls-magnetised:trough"], "open closed closed"),
        (0, ["beam-dirty:t2"], "open either open"),
        (2, ["beam-dirty:t2"], "closed closed open"),
        (3, ["ball-missing:any", "channel-open:t1"], "open closed open"),
    ],
)
def test_what_a_fault_makes_of_the_readings(
    capsys: Capture, lantern: str, balls: int, faults: list[str], expected: str
) -> None:
    """Parts change readings, balls lie otherwise, what comes and goes reads either way.

    By hand: closed when dark, so no light reads closed and no output open; one ball missing
    leaves position 3 empty; two magnetised balls lie behind a gap at position 1.
    """
    words = ["expect", lantern, "--balls", str(balls), "--json"]
    assert main(words + [part for fault in faults for part in ("--fault", fault)]) == 0
    found = json.loads(capsys.readouterr().out)
    read = {one["sensor"]: one["reading"] for one in found["readings"]}
    assert [read[f"t{n}"] for n in (1, 2, 3)] == expected.split()
    assert found["faults"] == faults


def test_the_fault_is_named_above_the_readings(capsys: Capture, lantern: str) -> None:
    """The screen says what is wrong with the machine that it shows."""
    assert main(["expect", lantern, "--fault", "emitter-dead:t2"]) == 0
    assert capsys.readouterr().out.startswith("With this wrong: emitter LED dead at t2.")


@pytest.mark.parametrize(
    ("faults", "words"),
    [
        (["emitter-dead:t9"], "emitter-dead can concern here: t1, t2, t3"),
        (["emiter-dead:t2"], 'did you mean "emitter-dead:t2"?'),
        (["nothing"], "wanted KIND:PART"),
        (["emitter-dead:t2", "emitter-shorted:t2"], "a part fails in one way at a time"),
    ],
)
def test_what_the_machine_cannot_have(
    capsys: Capture, lantern: str, faults: list[str], words: str
) -> None:
    """A fault that the machine does not have is told, with what it can have."""
    options = [part for fault in faults for part in ("--fault", fault)]
    assert main(["expect", lantern, *options]) == 2
    assert words in capsys.readouterr().err
