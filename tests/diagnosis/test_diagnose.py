"""Sheets of a small machine, diagnosed; what can be wrong was worked out by hand."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest

from simrig.diagnosis.checks import apart, catalogue
from simrig.diagnosis.conflicts import BESIDES, NOTHING_FITS, SHEETS
from simrig.diagnosis.diagnose import Diagnosis, diagnose
from simrig.diagnosis.exclusion import suspect_named
from simrig.diagnosis.one_sheet import Models
from simrig.diagnosis.parting import Parting
from simrig.diagnosis.reasoning import Allowed, System
from simrig.diagnosis.suspects import Suspect
from simrig.faults.candidates import possible_faults
from simrig.world.phases import Conditions
from tests.diagnosis.small_machine import TEXT, machine, sheet

MACHINE = machine()
TEXT_LIT = TEXT.replace('output_closes = "dark"', 'output_closes = "lit"')
MODELS = Models(profile=MACHINE, faults=possible_faults(MACHINE), limit=2)

SINGLE_BEAM = {
    "emitter-dead",
    "emitter-shorted",
    "resistor-lead-broken",
    "emitter-joint-cracked",
    "emitter-joint-loose",
    "beam-dirty",
    "beam-misaligned",
    "beam-obstructed",
    "receiver-dead",
    "channel-on",
}
"""All that makes one beam read as if a ball were there."""


def _diagnose(*sheets: Any, **options: Any) -> Diagnosis:
    return diagnose(MACHINE, sheets, models=MODELS, **options)


def _singles(found: Diagnosis) -> set[str]:
    return {one.faults[0].name for one in found.causes if len(one.members) == 1 and one.faults}


def test_a_full_trough_hides_a_dark_emitter() -> None:
    """All balls home: all is as assumed, whatever beam may be dark."""
    found = _diagnose(sheet(MACHINE, ["t1", "t2", "t3"]))
    (cause,) = found.causes
    assert found.as_assumed
    assert found.told_apart
    assert cause.at == (({"trough": 3},),)
    assert cause.folded_count == found.count - 1 > 0


def test_an_empty_trough_shows_it() -> None:
    """Empty, one beam reads closed: every cause on that beam's chain, and none that its mates share.

    The row input counts as its own: no other switch is on row 2.
    """
    found = _diagnose(sheet(MACHINE, ["t2"], balls=0))
    assert _singles(found) == {f"{kind}:t2" for kind in SINGLE_BEAM} | {"row-held:2"}
    assert not found.told_apart


def test_the_misread_cell_stands_beside_the_parts() -> None:
    """One cell misread explains one wrong reading as a part does."""
    found = _diagnose(sheet(MACHINE, ["t2"], balls=0))
    (alone,) = [cause for cause in found.causes if len(cause.members) == 1 and not cause.faults]
    assert [(one.kind, one.value) for one in alone.assumes] == [("misread", "t2")]


def test_the_chances_add_up() -> None:
    """Each set is counted once: the chances of all causes and what is folded under them make 1."""
    found = _diagnose(sheet(MACHINE, ["t2"], balls=0))
    assert math.fsum(cause.chance for cause in found.causes) == pytest.approx(1)
    assert len(found.causes) + sum(cause.folded_count for cause in found.causes) == found.count


def test_beside_a_kicker_the_lead_ranks_above_the_led() -> None:
    """Position 1 stands beside the kicker: its resistor's lead is the first guess there."""
    found = _diagnose(sheet(MACHINE, ["t1"], balls=0))
    chances = {
        one.faults[0].kind.id: one.chance
        for one in found.causes
        if len(one.members) == 1 and one.faults
    }
    assert chances["resistor-lead-broken"] > chances["emitter-dead"]


def test_all_dark_is_what_they_share() -> None:
    """Empty, all three beams closed: the bank's supply, fuse, plug or return come first."""
    found = _diagnose(sheet(MACHINE, ["t1", "t2", "t3"], balls=0))
    likeliest = {one.faults[0].name for one in found.causes[:6] if one.faults}
    assert {"fuse-blown:f1", "plug-off:emitter-plug", "supply-lost:twelve"} <= likeliest


def test_what_no_reading_parts_is_one_group() -> None:
    """With readings alone a dark emitter and a dead receiver are one group; a dirty beam shows
    at times and stands apart."""
    found = _diagnose(sheet(MACHINE, ["t2"], balls=0), apart=lambda fault: None)
    groups = {one.faults[0].kind.id: one.group for one in found.causes if len(one.faults) == 1}
    alike = {"emitter-dead", "emitter-joint-cracked", "beam-obstructed", "receiver-dead"}
    assert len({groups[kind] for kind in alike}) == 1
    assert groups["beam-dirty"] not in {groups[kind] for kind in alike}


def test_alike_alone_is_not_alike_beside_another() -> None:
    """A dark emitter and an output always on show alike alone; beside a flooded receiver the
    first reads open, the second closed."""
    found = _diagnose(sheet(MACHINE, ["t2"], balls=0))
    alike = found.whys.grouping.alike
    dark, on, flooded = (
        suspect_named(found, f"{kind}:t2")
        for kind in ("emitter-dead", "channel-on", "receiver-flooded")
    )
    assert alike((dark,)) == alike((on,))
    assert alike((dark, flooded)) != alike((on, flooded))


def test_checks_part_groups() -> None:
    """What the catalogue of bench checks tells apart is no longer one group."""
    found = _diagnose(sheet(MACHINE, ["t2"], balls=0))
    groups = {one.faults[0].kind.id: one.group for one in found.causes if len(one.faults) == 1}
    assert groups["emitter-dead"] != groups["resistor-lead-broken"]
    assert groups["emitter-dead"] != groups["receiver-dead"]


def test_what_parts_groups_can_be_given() -> None:
    """Other means than the catalogue can say what is told apart, such as the part alone."""
    found = _diagnose(sheet(MACHINE, ["t2"], balls=0), apart=lambda fault: fault.kind.part)
    groups = {one.faults[0].kind.id: one.group for one in found.causes if len(one.faults) == 1}
    assert groups["emitter-dead"] == groups["emitter-shorted"]
    assert groups["emitter-dead"] != groups["resistor-lead-broken"]


def test_pairs_are_parted_as_the_whole_catalogue_does() -> None:
    """Asking checks in pairs, the likely ones first, gives the groups that the whole catalogue
    gives."""
    faults = possible_faults(MACHINE)
    told = apart(catalogue(MACHINE))
    parting = Parting(profile=MACHINE)
    for one, other in itertools.combinations(faults[::3], 2):
        assert parting.parted(one, other) == (told(one) != told(other))


def test_a_missing_ball_is_shared_by_all_sheets() -> None:
    """Two balls home when three should be, and one when two were put in: one ball is missing."""
    found = _diagnose(sheet(MACHINE, ["t1", "t2"]), sheet(MACHINE, ["t1"], balls=2))
    best = found.causes[0]
    assert [fault.kind.id for fault in best.faults] == ["ball-missing"]
    assert best.at == (({"trough": 2},), ({"trough": 1},))


def test_sheets_together_rule_out_what_each_leaves() -> None:
    """t3 open with three balls, closed with none: neither a ball nor a stuck output, so not one
    fault of its own that stays."""
    one, other = sheet(MACHINE, ["t1", "t2"]), sheet(MACHINE, ["t3"], balls=0)
    assert "ball-missing:any" in _singles(_diagnose(one))
    assert "channel-on:t3" in _singles(_diagnose(other))
    assert not {"ball-missing:any", "channel-on:t3"} & _singles(_diagnose(one, other))


def test_a_swapped_sheet_blames_no_part() -> None:
    """Every symbol the wrong way round: that, and no part, is the first thing to look at."""
    found = _diagnose(sheet(MACHINE, ["launcher-ball"]))
    assert [one.kind for one in found.causes[0].assumes] == ["symbols"]
    assert not found.causes[0].faults


def test_a_flicker_needs_something_that_comes_and_goes() -> None:
    """Only intermittent faults explain a flicker by themselves."""
    found = _diagnose(sheet(MACHINE, [], balls=0, flicker=["t2"]))
    assert _singles(found) == {"beam-dirty:t2", "emitter-joint-loose:t2"}


def test_the_why_follows_the_chain() -> None:
    """The sentence names each step from the LED to the reading, and what good readings rule out."""
    found = _diagnose(sheet(MACHINE, ["t2"], balls=0))
    (why,) = [
        one.why for one in found.causes if [f.kind.id for f in one.faults] == ["emitter-dead"]
    ]
    assert why.startswith(
        "emitter LED dead at t2: it gives no light, the receiver is dark, its output on receivers "
        "closes; so t2 reads closed without a ball; t1 rightly reads open, so "
    )
    for part in ("fuse f1", "plug emitter-plug", "supply twelve", "return of the bank emitters"):
        assert part in why
    assert "plug output-plug" not in why


def test_the_why_follows_the_topology() -> None:
    """On a board that closes when lit the same LED reads open, and the sentence says so."""
    lit = machine(TEXT_LIT)
    found = diagnose(lit, [sheet(lit, ["t1", "t3", "launcher-ball"], balls=0)])
    whys = [one.why for one in found.causes if [f.kind.id for f in one.faults] == ["emitter-dead"]]
    assert all("its output on receivers opens; so t2 reads open without a ball" in w for w in whys)


def test_a_phantom_is_followed_around_its_corners() -> None:
    """A shorted diode lets the signal back: the sentence names the three closed corners.

    With a ball in the launcher and t1, t2 home, column 2 passes over the launcher's ball to row
    1, back past t1's diode to column 1, over t2 to row 2; a switch at column 2 row 2 reads closed.
    """
    more = TEXT + (
        '[[sensor]]\nid = "gate"\nkind = "leaf switch"\nat = ["serve.way"]\n'
        'contact = "normally open"\naddress = "column 2 row 2"\n'
    )
    gated = machine(more)
    seen = sheet(gated, ["t1", "t2", "launcher-ball", "gate"], phase="ready")
    found = diagnose(gated, [seen], limit=1)
    (why,) = [
        one.why for one in found.causes if [f.name for f in one.faults] == ["diode-shorted:t1"]
    ]
    assert "over launcher-ball to row 1, back past this diode to column 1, over t2 to row 2" in why


def test_nothing_fits_says_which_readings_and_the_way_back() -> None:
    """Too much at once: the message names readings of the sheet and what to do."""
    found = diagnose(MACHINE, [sheet(MACHINE, ["t2", "launcher-ball"])], limit=0)
    assert found.causes == ()
    assert found.conflict is not None
    assert found.conflict.kind == NOTHING_FITS
    looked = {"t1", "t2", "t3", "launcher-ball"}
    named = {name for _, name, _ in found.conflict.readings}
    assert named
    assert named <= looked
    assert "--faults 1" in found.conflict.way_back


def test_sheets_that_contradict_each_other() -> None:
    """Each sheet fits by itself, together they do not: the message says that."""
    sheets = [sheet(MACHINE, closed) for closed in (["t1"], ["t2"], ["t3"], ["t1", "t2", "t3"])]
    found = diagnose(MACHINE, sheets, limit=2)
    assert found.causes == ()
    assert found.conflict is not None
    assert found.conflict.kind == SHEETS
    assert "give one sheet at a time" in found.conflict.way_back


def test_the_sheet_that_does_not_fit_is_named() -> None:
    """Three sheets agree that a ball is missing, the fourth has all of them."""
    sheets = [
        sheet(MACHINE, ["t1", "t2"]),
        sheet(MACHINE, ["t1"], balls=2),
        sheet(MACHINE, ["t1", "t2", "t3"], balls=3),
        sheet(MACHINE, ["t1", "t2"], balls=3),
    ]
    conflict = diagnose(MACHINE, sheets, limit=1).conflict
    assert conflict is not None
    assert "without sheet 3 the others fit together" in conflict.way_back


class _Says:
    """Evidence that allows only sets with one named fault."""

    def __init__(self, name: str) -> None:
        self.name = name

    def system(self, suspects: tuple[Suspect, ...], limit: int) -> System:
        wanted = next(i for i, one in enumerate(suspects) if one.name == self.name)

        class Only(System):
            deviations = tuple(one.deviation for one in suspects)

            def outcomes(self, chosen: frozenset[int]) -> Any:
                from simrig.diagnosis.reasoning import Conflict

                return (
                    Allowed(likelihood=1.0)
                    if wanted in chosen
                    else Conflict(candidates=frozenset((wanted,)))
                )

        return Only()


def test_evidence_that_contradicts_the_readings() -> None:
    """Readings that fit by themselves, and evidence that they rule out: the message says which."""
    full = sheet(MACHINE, ["t1", "t2", "t3"])
    found = _diagnose(full, full, evidence=[_Says("fuse-blown:f1"), _Says("channel-open:t2")])
    assert found.causes == ()
    assert found.conflict is not None
    assert found.conflict.kind == BESIDES
    assert "rest of the evidence" in found.conflict.words


def test_nothing_but_what_the_machine_did() -> None:
    """Evidence without any reading is diagnosed too, and a contradiction in it told."""
    found = _diagnose(evidence=[_Says("fuse-blown:f1")])
    assert [fault.name for fault in found.causes[0].faults] == ["fuse-blown:f1"]
    assert found.causes[0].why.startswith("fuse blown: f1: ")
    clash = [_Says(f"channel-open:t{n}") for n in (1, 2, 3)]
    conflict = _diagnose(evidence=clash).conflict
    assert conflict is not None
    assert "what the machine did" in conflict.words


def test_other_evidence_counts() -> None:
    """Evidence from elsewhere narrows what the sheet leaves."""
    found = _diagnose(sheet(MACHINE, ["t2"], balls=0), evidence=[_Says("emitter-dead:t2")])
    assert _singles(found) == {"emitter-dead:t2"}
    assert found.told_apart


def test_no_evidence_is_refused() -> None:
    """Nothing seen is nothing to diagnose."""
    with pytest.raises(ValueError, match="nothing was seen"):
        diagnose(MACHINE, [])


def test_conditions_that_cannot_be_are_refused_in_words() -> None:
    """A phase that leaves no legal position is wrong input, not a fault."""
    wrong = sheet(MACHINE, ["t1"])
    impossible = Conditions(phase="idle", at={"launcher": 1})
    with pytest.raises(ValueError, match="no legal position"):
        diagnose(MACHINE, [type(wrong)(observation=wrong.observation, conditions=impossible)])


def test_the_same_with_models_made_before() -> None:
    """A diagnosis with models at hand is the one made from scratch."""
    seen = sheet(MACHINE, ["t1", "t3"], balls=1)
    one, other = _diagnose(seen, seen), diagnose(MACHINE, [seen, seen])
    assert [c.members for c in one.causes] == [c.members for c in other.causes]
    assert one.count == other.count
