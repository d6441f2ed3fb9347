"""First screens of machines unlike the demo ones: 20 lines, 80 columns, nothing misleading."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

import simrig
from simrig.cli.main import main

HELDOUT = Path(__file__).parents[1] / "heldout"
MACHINES = sorted(HELDOUT.glob("*[a-z].toml"))
PROFILES = [path for path in MACHINES if not path.name.endswith(".scenario.toml")]


def said(capsys, *words):
    """What a command prints."""
    assert main([str(word) for word in words]) in (0, 1)
    return capsys.readouterr().out


@pytest.mark.parametrize("path", PROFILES, ids=lambda path: path.stem)
def test_first_screens_keep_to_20_lines_of_80_columns(path, capsys):
    """Whatever is assumed, and however wild what was seen (seed 5)."""
    profile = simrig.load(str(path))
    drawn = random.Random(5)
    names = [sensor.id for sensor in profile.ball_sensors()]
    for phase in profile.phase:
        for balls in (0, profile.balls.installed, profile.balls.installed + 1):
            stated = ("--phase", phase.id, "--balls", balls)
            some = drawn.sample(names, drawn.randint(1, len(names)))
            seen = ("--closed", ",".join(some))
            for words in (
                ("expect", path, *stated),
                ("compare", path, *stated, *seen),
                ("locate", path, "--balls", balls, *seen),
            ):
                lines = said(capsys, *words).splitlines()
                assert len(lines) <= 20, words
                assert max(map(len, lines)) <= 80, words


def test_all_sensors_of_a_large_machine_are_on_the_first_screen(capsys, tmp_path):
    """Thirty sensors with and without balls: what does not fit the table is told in sentences."""
    text = [
        'format = 1\nid = "long-haul"\n[balls]\ninstalled = 20\nstore = "store"\n',
        '[[place]]\nid = "store"\nkind = "trough"\nseats = 20\nposition_1 = "exit end"\n',
        '[[place]]\nid = "annex"\nkind = "lock"\nseats = 10\nposition_1 = "exit end"\n',
        '[[phase]]\nid = "idle"\nplacements = [{ store = "rest" }]\n',
    ]
    for number in range(1, 31):
        place = f"store.{number}" if number <= 20 else f"annex.{number - 20}"
        contact = "normally open" if number % 2 else "normally closed"
        text.append(
            f'[[sensor]]\nid = "s-{number}"\nkind = "micro-switch"\nat = ["{place}"]\n'
            f'contact = "{contact}"\naddress = "direct {number}"\n'
        )
    path = tmp_path / "long-haul.toml"
    path.write_text("\n".join(text))
    out = said(capsys, "expect", path)
    assert len(out.splitlines()) <= 20
    words = out.replace(",", " ").replace(".", " ").split()
    assert {f"s-{number}" for number in range(1, 31)} <= set(words)
    assert "CLOSED, a ball: s-1, s-3" in out
    assert "OPEN, a ball: s-2, s-4" in out
    assert "OPEN, no ball: s-21, s-23" in out


def test_a_sensor_of_several_positions_is_told_with_all_of_them(capsys):
    """The long lever of Copper Lantern lies along gallery 3 and 4 and the way into it."""
    words = "gallery positions 3 and 4 or passing: upper drain"
    for command in ("expect", "show"):
        out = " ".join(said(capsys, command, HELDOUT / "copper-lantern.toml").split())
        assert "gallery positions 3 and 4" in out
    out = said(capsys, "expect", HELDOUT / "copper-lantern.toml", "--why")
    assert words in " ".join(out.split())


def test_one_ball_is_one_ball(capsys):
    """No plural where there is one."""
    path = HELDOUT / "glacier-post.toml"
    out = said(capsys, "compare", path, "--closed", "lane-beam,snow-switch,sled-end,left-outlane")
    assert "its one ball in the machine" in out
    assert "1 balls" not in out
    out = said(capsys, "locate", path, "--closed", "lane-beam,snow-switch,sled-end,left-outlane")
    assert "Assumed: 1 ball in" in out
