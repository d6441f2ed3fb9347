"""Profile files changed in place: what a person wrote around the change stays."""

from __future__ import annotations

import os
from pathlib import Path

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.errors import InputError
from simrig.interchange.toml_editing import edited
from simrig.interchange.toml_writer import written
from simrig.profile.components import Sensor
from simrig.profile.layout import Phase, Place
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.profile.wiring import Interlock, Scan
from tests.generated_profiles import profiles

MACHINES = sorted((Path(__file__).parents[2] / "plugins/simrig_machines").glob("*.toml"))


def grown(profile: Profile) -> Profile:
    """A profile of which a little of everything has changed."""
    first, *others = profile.sensor
    changed = attrs.evolve(
        first, name="worked over", wire="green", assumed={"wire": "seen from afar"}
    )
    return attrs.evolve(
        profile,
        note="look here first",
        balls=attrs.evolve(profile.balls, diameter_mm=26.5),
        place=(Place(id="den", kind="hold", seats=1), *profile.place[:-1],
               Place(id="cave", kind="hold", seats=2), Place(id="nest", kind="hold", seats=2),
               profile.place[-1], Place(id="nook", kind="hold", seats=1)),
        phase=(*profile.phase, Phase(id="show", placements=({"nook": 1, "trough": "rest"},))),
        sensor=(changed, *others, Sensor(id="nook-ball", at=("nook.1",))),
        interlock=attrs.evolve(profile.interlock or Interlock(), fitted=False),
        scan=profile.scan or Scan(period_ms=2),
        begun={**(profile.begun or {}), "ready": "not known"},
    )  # fmt: skip


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_every_line_that_is_not_changed_stays_where_it_was(path: Path) -> None:
    """In a file with comments everywhere, the old lines are all there, in their order."""
    text = path.read_text()
    before = read(text.encode(), path.name)
    after = grown(before)
    lines = edited(text, before, after).splitlines()
    assert read("\n".join(lines).encode(), "again") == after
    first = before.sensor[0]
    changed = {f'name = "{first.name}"', f'wire = "{first.wire}"', f'note = "{before.note}"',
               f"diameter_mm = {before.balls.diameter_mm}", "fitted = true"}  # fmt: skip
    left = iter(lines)
    lost = [line for line in text.splitlines() if line not in changed and line not in left]
    assert lost == []


@st.composite
def scribbled(draw: st.DrawFn) -> tuple[str, list[str]]:
    """A made profile's file with remarks of a person between and behind its lines."""
    lines = written(draw(profiles().filter(lambda one: one.sensor))).splitlines()
    remarks = []
    for index in sorted(draw(st.sets(st.integers(0, len(lines) - 1), max_size=12)), reverse=True):
        remarks.append(remark := f"# remark {index}")
        if draw(st.booleans()) and lines[index] and not lines[index].startswith("#"):
            lines[index] += f"  {remark}"
        else:
            lines[index:index] = draw(st.sampled_from(([remark], ["", remark], [remark, ""])))
    end = draw(st.sampled_from(("\n", "\r\n")))
    return end.join(lines) + draw(st.sampled_from(("", end))), remarks


@settings(max_examples=300 if os.environ.get("SIMRIG_FULL") else 40)
@given(scribbled())
def test_no_remark_is_ever_lost(file: tuple[str, list[str]]) -> None:
    """Whatever stands between the lines, it is there afterwards, and line ends stay as they are."""
    text, remarks = file
    before = read(text.encode(), "mine")
    result = edited(text, before, grown(before))
    assert [remark for remark in remarks if remark not in result] == []
    assert result.count("\r\n") == (result.count("\n") if "\r\n" in text else 0)


def test_a_change_undone_gives_the_same_file() -> None:
    """Keys added and taken away again leave no trace."""
    text = MACHINES[0].read_text()
    before = read(text.encode(), "mine")
    first, *others = before.sensor
    after = attrs.evolve(before, sensor=(attrs.evolve(first, assumed={"wire": "seen"}), *others))
    assert edited(edited(text, before, after), after, before) == text


BY_HAND = """\
format = 1
id = "small"   # mine
balls.installed = 2

[[place]]
id = "trough"
kind = "trough"
seats = 2

[[sensor]]
id = "one"
kind = "opto"
at = ["trough.1"]
worked_reads = "closed" # tried
assumed = { worked_reads = "a guess", kind = "looks so" }
"""


def test_other_ways_to_write_the_same_are_kept() -> None:
    """A dotted key gets a dotted sister; a pair in braces loses one pair and keeps the other."""
    before = read(BY_HAND.encode(), "mine")
    (sensor,) = before.sensor
    after = attrs.evolve(
        before,
        balls=attrs.evolve(before.balls, store="trough"),
        sensor=(attrs.evolve(sensor, assumed={"kind": "looks so"}),),
    )
    result = edited(BY_HAND, before, after)
    assert 'balls.installed = 2\nballs.store = "trough"\n' in result
    assert 'worked_reads = "closed" # tried\nassumed = { kind = "looks so" }\n' in result


def test_pairs_on_one_line_change_together() -> None:
    """One pair goes, another comes: the line has the new ones."""
    before = read(BY_HAND.encode(), "mine")
    (sensor,) = before.sensor
    fresh = {"at": "a guess too", "kind": "looks so"}
    after = attrs.evolve(before, sensor=(attrs.evolve(sensor, assumed=fresh),))
    result = edited(BY_HAND, before, after)
    assert 'assumed = { at = "a guess too", kind = "looks so" }\n' in result


def test_a_layout_that_lets_no_change_in_is_refused_in_words() -> None:
    """Rows in brackets cannot be continued under headers; the file is left as it is."""
    text = 'format = 1\nid = "small"\nballs = { installed = 2 }\n' + (
        'place = [{ id = "trough", kind = "trough", seats = 2 }]\n'
    )
    before = read(text.encode(), "mine")
    after = attrs.evolve(before, place=(*before.place, Place(id="nook", kind="hold", seats=1)))
    with pytest.raises(InputError, match="by hand"):
        edited(text, before, after)


def test_a_row_between_goes_above_the_remarks_of_the_next() -> None:
    """What is said right above a row stays with it."""
    text = BY_HAND.replace("[[sensor]]", "# the second one\n[[sensor]]")
    before = read(text.encode(), "mine")
    after = attrs.evolve(before, sensor=(Sensor(id="zero"), *before.sensor))
    assert '[[sensor]]\nid = "zero"\n\n# the second one\n[[sensor]]\nid = "one"' in edited(
        text, before, after
    )


def test_a_row_is_never_dropped() -> None:
    """Rows are only added."""
    before = read(BY_HAND.encode(), "mine")
    with pytest.raises(ValueError, match="one is gone"):
        edited(BY_HAND, before, attrs.evolve(before, sensor=()))
