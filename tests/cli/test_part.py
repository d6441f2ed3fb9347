"""``simrig part``: what stands behind one sensor."""

from __future__ import annotations

import json

import pytest

from simrig.cli.main import main

Capture = pytest.CaptureFixture[str]


def _one(capsys: Capture, *words: str) -> dict:
    assert main(["part", *words, "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["sensors"]
    return found


def test_resistor_to_order_is_named(capsys: Capture) -> None:
    """By hand: 560 ohm on 12 V less 1.3 V is 10.7 V squared over 560 ohm, 0.204 W: twice is 0.5 W.

    560 ohm is green blue brown (IEC 60062), gold for 5 per cent.
    """
    resistor = _one(capsys, "tidal-clockwork", "trough-3")["resistor"]
    assert resistor["label"] == "560 ohm, 0.5 W or more, green blue brown gold"
    assert resistor["dissipation_w"] == pytest.approx(10.7**2 / 560, abs=0.005)
    assert resistor["source"] == "fitted"


def test_pot_window_by_hand(capsys: Capture) -> None:
    """A ball at 4 mm wants 4 / 0.9 mm; metal no nearer than 1.43 times 8 mm allows 8.67 mm."""
    pot = _one(capsys, "tidal-clockwork", "left-outlane")["pot"]
    assert pot["low_mm"] == pytest.approx(4 / 0.9)
    assert pot["high_mm"] == pytest.approx(1.43 * 8 / (1.1 * 1.2))
    assert pot["estimate"] is True


def test_mates_share_what_fails_together(capsys: Capture) -> None:
    """Sensors of the same emitter bank are named with it."""
    shares = _one(capsys, "tidal-clockwork", "trough-3")["shares"]
    assert shares["emitter bank trough-low"] == ["trough-1", "trough-2"]


def test_named_by_number_or_address(capsys: Capture) -> None:
    """A sensor is found by the manual's number and by its address as well."""
    by_id = _one(capsys, "tidal-clockwork", "trough-3")
    assert _one(capsys, "tidal-clockwork", "column 3 row 3") == by_id


def test_unknown_sensor(capsys: Capture) -> None:
    """An unknown sensor is refused in one message."""
    assert main(["part", "tidal-clockwork", "flywheel"]) == 2
    assert 'no sensor is called "flywheel"' in capsys.readouterr().err


@pytest.mark.parametrize("machine", ["tidal-clockwork", "basalt-freight", "orchard-signal"])
def test_every_sensor_has_its_page(capsys: Capture, machine: str) -> None:
    """Whatever a sensor is, something is told of it, in 80 columns, cautions where work can hurt."""
    main(["show", machine, "--json"])
    for row in json.loads(capsys.readouterr().out)["sensor"]:
        assert main(["part", machine, row["id"]]) == 0
        printed = capsys.readouterr().out
        assert max(map(len, printed.splitlines())) <= 80
        if "Series resistor" in printed or "To set it" in printed:
            assert "local codes" in " ".join(printed.split()).lower()
