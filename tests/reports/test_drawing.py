"""Drawings: whole, safe for any name, and saying what the prediction says."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig import load
from simrig.cli.main import main
from simrig.expectation.prediction import expect
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.reports import svg
from simrig.reports.drawing import Anomaly, Change, bars, marks, plan, switch_table, waves
from simrig.reports.switch_table import by_place
from simrig.world.phases import Conditions
from tests.generated_profiles import profiles

MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")
SVG = "{http://www.w3.org/2000/svg}"


def _texts(drawing: str) -> list[str]:
    return ["".join(one.itertext()) for one in ElementTree.fromstring(drawing).iter(f"{SVG}text")]


def _numbers(texts: list[str], place: str) -> list[str]:
    """The labels of the positions below a place's title, in the order in which they stand."""
    start = next(i for i, words in enumerate(texts) if words.split(":")[0] == place)
    found = []
    for words in texts[start + 1 :]:
        if words.isdigit() or words == "top":
            found.append(words)
        elif words == "launcher" or words.startswith("shooter lane"):
            break
    return found


@pytest.mark.parametrize("machine", MACHINES)
@pytest.mark.parametrize("width", [340, 720])
def test_every_place_and_address_is_in_the_plan(machine: str, width: int) -> None:
    """The plan names every place, every way and the address of every ball sensor."""
    profile = load(machine)
    drawn = " ".join(_texts(plan(profile, width=width)))
    for place in profile.place:
        assert place.title in drawn
    for route in profile.route:
        assert " ".join(route.title.split()[:2]) in drawn
    for sensor in profile.ball_sensors():
        address = str(profile.address_of[sensor.id])
        assert address.split(" row ")[0] in drawn


def test_positions_stand_in_order_from_the_exit_end() -> None:
    """Where position 1 is at the far end, the highest number stands first, at the exit."""
    assert _numbers(_texts(plan(load("orchard-signal"))), "ball trough") == ["3", "2", "1"]
    assert _numbers(_texts(plan(load("tidal-clockwork"))), "ball trough") == [
        "top", "1", "2", "3", "4", "5",
    ]  # fmt: skip


@pytest.mark.parametrize("machine", MACHINES)
def test_the_plan_says_what_is_expected(machine: str) -> None:
    """As many positions say that a ball is there, and as many are open or closed, as expected."""
    profile = load(machine)
    found = expect(profile, Conditions(phase="ready"))
    shown = marks(profile, found)
    texts = _texts(plan(profile, shown))
    resting = [one for one in found.readings if one.position is not None or one.place is None]
    for word, reading in (("CLOSED", "closed"), ("OPEN", "open")):
        seen = sum(one.reading == reading for one in resting)
        jams = [s for s in profile.ball_sensors() if s.spots[0].endswith(".jam")]
        seen += sum(shown.readings[jam.id] == reading for jam in jams)
        assert sum(words == word for words in texts) == seen
    captive = sum(place.captive or 0 for place in profile.place)
    balls = profile.balls.installed + captive
    assert sum(words == "ball here" for words in texts) == balls


@given(profiles(), st.sampled_from((320, 340, 500, 720)))
@settings(max_examples=40)
def test_any_machine_can_be_drawn(profile: Profile, width: int) -> None:
    """For any machine the drawings are whole, and no shape stands outside them."""
    found = expect(profile, Conditions())
    shown = marks(profile, found)
    for drawing in (plan(profile, shown, width=width), switch_table(profile, shown)):
        root = ElementTree.fromstring(drawing)
        wide, high = float(root.attrib["width"]), float(root.attrib["height"])
        for one in root.iter(f"{SVG}rect"):
            assert float(one.get("x", 0)) + float(one.attrib["width"]) <= wide
            assert float(one.get("y", 0)) + float(one.attrib["height"]) <= high
        for one in root.iter(f"{SVG}circle"):
            assert 0 < float(one.attrib["cx"]) < wide
            assert 0 < float(one.attrib["cy"]) < high


@given(st.text(max_size=80), st.text(max_size=80))
@settings(max_examples=60)
def test_any_name_stays_text(name: str, place: str) -> None:
    """Whatever a profile calls things, a drawing holds it as text and nothing else."""
    profile = load("orchard-signal")
    first = attrs.evolve(profile.place[0], name=place if place.strip() else "place")
    odd = attrs.evolve(
        profile, title=name if name.strip() else "name", place=(first, *profile.place[1:])
    )
    allowed = {"svg", "title", "rect", "text", "line", "polyline", "polygon", "circle", "g"}
    for drawing in (plan(odd), switch_table(odd), bars([(name, 0.5)])):
        tags = {one.tag.removeprefix(SVG) for one in ElementTree.fromstring(drawing).iter()}
        assert tags <= allowed


def test_markup_in_a_name_is_shown() -> None:
    """A name that looks like markup is shown as it is written."""
    drawing = bars([("<script>alert(1)</script> & more", 0.5)])
    assert "<script>alert(1)</script> & more" in " ".join(_texts(drawing))
    assert "<script" not in drawing


def test_twenty_positions_wrap() -> None:
    """A place too long for the width goes on below, and says where its far end is."""
    profile = load("orchard-signal")
    long = Place(id="long", kind="trough", seats=20, position_1="exit end")
    texts = _texts(plan(attrs.evolve(profile, place=(*profile.place, long)), width=340))
    assert "far end, after position 20" in texts


def test_unknown_end_is_said() -> None:
    """Where nobody knows which end is the exit, no end is called so."""
    profile = load("orchard-signal")
    trough = attrs.evolve(profile.row("place", "trough"), position_1=None)
    places = tuple(trough if one.id == "trough" else one for one in profile.place)
    drawn = " ".join(_texts(plan(attrs.evolve(profile, place=places))))
    assert "which is the exit is not known" in drawn


@pytest.mark.parametrize("machine", MACHINES)
def test_the_switch_table_has_every_switch_once(machine: str) -> None:
    """Arranged by place, every switch is there once."""
    profile = load(machine)
    listed = [sensor.id for group in by_place(profile) for sensor in group.sensors]
    assert sorted(listed) == sorted(sensor.id for sensor in profile.sensor)
    groups = {group.title: group.sensors for group in by_place(profile)}
    for place in profile.place:
        for sensor in groups.get(place.title, ()):
            assert profile.spots[sensor.spots[0]].place == place.id
    assert len(groups["ball trough"]) >= profile.row("place", "trough").capacity


def test_bars_are_as_long_as_their_chances() -> None:
    """A bar of twice the chance is twice as long, and its chance stands beside it."""
    drawing = bars([("one", 0.6), ("other", 0.3)])
    solid = [
        float(one.attrib["width"])
        for one in ElementTree.fromstring(drawing).iter(f"{SVG}rect")
        if one.get("fill") == svg.INK
    ]
    assert solid[0] == pytest.approx(2 * solid[1], rel=0.01)
    assert "about 6 in 10 (60%)" in _texts(drawing)


def test_waves_show_what_is_missing() -> None:
    """A change that was expected and not recorded makes the two wave forms differ there."""
    expected = [Change(time=0, sensor="a", reading="closed"),
                Change(time=50, sensor="a", reading="open")]  # fmt: skip
    drawing = waves(expected, expected[:1], [Anomaly(time=50, sensor="a", why="it never opened")])
    forms = [one.attrib["points"] for one in ElementTree.fromstring(drawing).iter(f"{SVG}polyline")]
    levels = [{pair.split(",")[1] for pair in form.split()} for form in forms]
    assert [len(one) for one in levels] == [2, 2]
    assert [len(form.split()) for form in forms] == [6, 4]
    assert "1. a: it never opened" in _texts(drawing)


def test_show_writes_the_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command writes the drawing, and says in words where it cannot."""
    target = tmp_path / "plan.svg"
    assert main(["show", "tidal-clockwork", "--svg", str(target)]) == 0
    assert "tide lock" in " ".join(_texts(target.read_text(encoding="utf-8")))
    capsys.readouterr()
    assert main(["show", "tidal-clockwork", "--svg", str(target), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"format": 1, "written": str(target)}
    assert main(["show", "tidal-clockwork", "--svg", str(tmp_path / "no" / "plan.svg")]) == 2
    assert "it cannot be written" in capsys.readouterr().err
