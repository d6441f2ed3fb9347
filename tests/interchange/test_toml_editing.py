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
from simrig.profile.wiring import Interlock, Line, Scan
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


def _profile(text: str) -> Profile:
    return read(text.encode(), "mine")


SHORT = 'format = 1\nid = "small"\nballs = { installed = 2 }\n'


@pytest.mark.parametrize(
    ("written_so", "change", "becomes"),
    [
        # A key joins those in braces, wherever it belongs, and leaves them again.
        ('interlock = { cuts = "coils" }', {"fitted": True},
         'interlock = { cuts = "coils", fitted = true }'),
        ("interlock = {}", {"fitted": True}, "interlock = { fitted = true }"),
        ('interlock = { fitted = true, cuts = "a, b" }', {"fitted": None},
         'interlock = { cuts = "a, b" }'),
        ('interlock = { cuts = "a, b", fitted = true }', {"fitted": None},
         'interlock = { cuts = "a, b" }'),
        ("interlock = { fitted = true }", {"fitted": None}, "interlock = {  }"),
        ('interlock = { source = "eye", cuts = "a" }',
         {"fitted": True, "cuts": None},
         'interlock = { source = "eye", fitted = true }'),
        ('[interlock]\nfitted = true # so\n\n[scan]\nperiod_ms = 2.0',
         {"fitted": None, "cuts": "coils"},
         '[interlock]\ncuts = "coils"\n\n[scan]\nperiod_ms = 2.0'),
        # A dotted key joins its sister, also where it would come before it.
        ('interlock.cuts = "coils"', {"fitted": True},
         'interlock.cuts = "coils"\ninterlock.fitted = true'),
        ("interlock.fitted = true", {"cuts": "coils"},
         'interlock.fitted = true\ninterlock.cuts = "coils"'),
        # Under a header.
        ('[interlock]\ncuts = "coils" # these', {"fitted": True},
         '[interlock]\nfitted = true\ncuts = "coils" # these'),
        # Pairs under a header of their own.
        ('[interlock]\nfitted = true\n[interlock.assumed]\nfitted = "so" # I think',
         {"cuts": "coils", "assumed": {"fitted": "seen", "cuts": "as usual"}},
         '[interlock]\nfitted = true\ncuts = "coils"\n[interlock.assumed]\n'
         'fitted = "seen" # I think\ncuts = "as usual"'),
    ],
)  # fmt: skip
def test_every_way_to_write_a_table(written_so: str, change: dict, becomes: str) -> None:
    """A table in braces, dotted, or under a header takes a change in its own way."""
    text = SHORT + written_so + "\n"
    before = _profile(text)
    after = attrs.evolve(before, interlock=attrs.evolve(before.interlock, **change))
    result = edited(text, before, after)
    assert result == SHORT + becomes + "\n"
    assert _profile(result) == after


ROWS = """\
format = 1
id = "small"
[balls]
installed = 2

[matrix]
columns = 4
rows = 4

[[matrix.column]]
number = 2
wire = "red"   # faded

# the third
[[matrix.column]]
number = 3
"""


def test_rows_below_a_table() -> None:
    """Rows below another table change, and new ones come between and behind them."""
    before = _profile(ROWS)
    assert before.matrix is not None
    second, third = before.matrix.column
    lines = (
        Line(number=1),
        attrs.evolve(second, wire="blue", pin=7),
        attrs.evolve(third, connector="none"),
        Line(number=4, wire="tan"),
    )
    after = attrs.evolve(before, matrix=attrs.evolve(before.matrix, column=lines))
    result = edited(ROWS, before, after)
    assert result == ROWS.replace(
        '[[matrix.column]]\nnumber = 2\nwire = "red"   # faded\n',
        '[[matrix.column]]\nnumber = 1\n\n'
        '[[matrix.column]]\nnumber = 2\nwire = "blue"   # faded\npin = 7\n',
    ).replace("number = 3\n", 'number = 3\nconnector = "none"\n') + (
        '\n[[matrix.column]]\nnumber = 4\nwire = "tan"\n'
    )  # fmt: skip
    assert _profile(result) == after


def test_a_row_below_a_table_is_never_dropped() -> None:
    """Rows below another table are only added too."""
    before = _profile(ROWS)
    assert before.matrix is not None
    fewer = attrs.evolve(before.matrix, column=before.matrix.column[1:])
    with pytest.raises(ValueError, match="the row 2 is gone; rows are only added"):
        edited(ROWS, before, attrs.evolve(before, matrix=fewer))


def test_pairs_of_the_whole_machine() -> None:
    """Pairs of the machine change, come and go under their header."""
    text = SHORT + "[priors]\nwire-open = 2.0 # often here\nlead-broken = 3.0\n"
    before = _profile(text)
    after = attrs.evolve(before, priors={"wire-open": 5.0, "diode-shorted": 0.5})
    assert edited(text, before, after) == (
        SHORT + "[priors]\nwire-open = 5.0 # often here\ndiode-shorted = 0.5\n"
    )


def test_the_first_rows_of_a_section_bring_its_heading_once() -> None:
    """Two first rows stand under one heading, in order, behind the sections before theirs."""
    before = _profile(SHORT)
    places = (Place(id="nook", kind="hold", seats=1), Place(id="den", kind="hold", seats=1))
    result = edited(SHORT, before, attrs.evolve(before, place=places))
    assert result.count("Places where balls rest") == 1
    assert result.index('id = "nook"') < result.index('id = "den"')


CANNOT = "cannot be changed here: {}; mend the file by hand, then go on"


@pytest.mark.parametrize(
    ("text", "change", "line", "why"),
    [
        (
            SHORT + '[interlock]\nfitted = true\n[interlock.assumed]\nfitted = "so"\n',
            {"interlock": {"assumed": None}},
            6,
            "assumed has a header of its own; write it on one line",
        ),
        (
            SHORT + "[interlock.assumed]\n",
            {"interlock": {"fitted": True}},
            4,
            "interlock has no header of its own; write one above its tables",
        ),
        (
            SHORT + 'place = [{ id = "trough", kind = "trough", seats = 2 }]\n',
            {"place": Place(id="nook", kind="hold", seats=1)},
            4,
            "the rows of place stand in brackets; write each under a header of its own",
        ),
        (
            SHORT + '[[sensor]]\nid = "one"\ncounted = false\n',
            {"sensor": None},
            None,
            "the file is laid out in a way that hides it",
        ),
    ],
)
def test_what_a_layout_does_not_let_in(text: str, change: dict, line: int | None, why: str) -> None:
    """Where a file does not let a change in, its line and what to do are told."""
    before = _profile(text)
    ((table, values),) = change.items()
    if table == "place":
        after = attrs.evolve(before, place=(values, *before.place))
    elif table == "sensor":
        # None is not what a file says that leaves the key out: then it is true.
        after = attrs.evolve(before, sensor=(attrs.evolve(before.sensor[0], counted=None),))
    else:
        after = attrs.evolve(before, interlock=attrs.evolve(before.interlock, **values))
    with pytest.raises(InputError) as refused:
        edited(text, before, after)
    (problem,) = refused.value.problems
    assert (problem.line, problem.message) == (line, CANNOT.format(why))
