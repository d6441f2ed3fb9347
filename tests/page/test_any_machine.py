"""Any machine a profile can describe gets its page, its paper and its file."""

from __future__ import annotations

import json
import os

import attrs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simrig import load
from simrig.page import views
from simrig.page.session import Event, fold
from simrig.profile.layout import Balls, Place
from simrig.profile.machine import Profile
from simrig.reports.drawing import plan, switch_table
from simrig.scan.scanner import links
from tests.generated_profiles import profiles

pytest.importorskip("jinja2", reason="page and paper need Jinja2")

from simrig.page.offline import contents, self_contained
from simrig.page.rendering import render_paper
from simrig.page.steps import steps
from simrig.reports.paper import paper

MANY = 200 if os.environ.get("SIMRIG_FULL") else 12


def _everything(profile: Profile) -> str:
    """Make everything there is of a machine, and return the words of it."""
    table = links(profile)
    seen = {sensor.id: "closed" for sensor in profile.sensor if sensor.spots}
    state = fold([Event(seq=1, key="a", kind="see", value=seen)] if seen else [])
    view = views.sheet_view(profile, table, state)
    answer = views.answer_view(profile, table, state)
    assert view.looked_at == view.sensors == len(seen)
    if answer is not None:
        assert answer.agrees == answer.comparison.agrees
    text = render_paper(paper(profile)) + self_contained(profile)
    return text + plan(profile, width=340) + switch_table(profile) + str(steps(profile))


@given(profiles())
@settings(max_examples=MANY, suppress_health_check=[HealthCheck.too_slow])
def test_any_machine(profile: Profile) -> None:
    """Every sensor that a ball works is on the page, on paper, in the file and in the drawings."""
    text = _everything(profile)
    for sensor in profile.ball_sensors():
        assert sensor.title in text
    data = contents(profile, links(profile))
    listed = [number for place in data["places"] for seat in place["seats"]
              for number in seat["sensors"]] + data["passing"]  # fmt: skip
    assert sorted(listed) == list(range(len(data["sensors"])))
    json.dumps(data)


@given(st.data())
@settings(max_examples=max(4, MANY // 3), suppress_health_check=[HealthCheck.too_slow])
def test_machines_of_which_something_is_unknown(data: st.DataObject) -> None:
    """With phases, interlock, ends or facts of sensors unknown, all is still made."""
    profile = load(data.draw(st.sampled_from(("orchard-signal", "basalt-freight"))))
    gone = data.draw(st.sets(st.sampled_from(("phase", "interlock"))))
    left = {name: None if name == "interlock" else () for name in gone}
    unknown = data.draw(st.sets(st.sampled_from(("at", "address", "number", "wire", "board"))))
    sensors = tuple(
        attrs.evolve(
            one,
            **{
                key: None
                for key in unknown
                if data.draw(st.booleans()) and not (key == "at" and one.follows)
            },
        )
        for one in profile.sensor[:16]
    )
    places = tuple(
        attrs.evolve(place, position_1=None) if data.draw(st.booleans()) else place
        for place in profile.place
    )
    _everything(attrs.evolve(profile, sensor=sensors, place=places, controller=None, **left))


def test_nearly_nothing() -> None:
    """A machine with one place and nothing else known."""
    bare = Profile(format=1, id="bare", balls=Balls(installed=1),
                   place=(Place(id="hole", kind="hold", seats=1),))  # fmt: skip
    text = _everything(bare)
    assert "No ball sensor is known yet." in text
    assert "no phase is stated yet" in views.sheet_view(bare, links(bare), fold([])).phase_title
