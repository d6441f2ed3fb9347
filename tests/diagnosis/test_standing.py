"""What stands apart from other faults: laid beside them, never worked out with them."""

from __future__ import annotations

import attrs
from hypothesis import given
from hypothesis import strategies as st

from simrig.diagnosis import pieces
from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.effects import Effects
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links, links
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import Value, worlds
from tests.diagnosis.small_machines import machines

MATRIX = ("diode", "row", "column", "rows", "columns", "row piece", "column piece", "leads")


def _effects(profile: Profile) -> Effects:
    """Over the positions at home and with the store at any filling."""
    placements = list(legal_placements(profile, Conditions()))
    for number in range(profile.balls.installed + 1):
        placements += legal_placements(profile, Conditions(at={"trough": number}))
    table: Links = links(profile)
    return Effects.of(profile, worlds(profile, dict.fromkeys(placements)), table)


@st.composite
def _three(draw: st.DrawFn) -> tuple[Effects, list[Fault]]:
    profile = draw(machines())
    every = [
        one
        for one in possible_faults(profile)
        if one.kind.effect not in ("moves balls", "kicks nothing")
    ]
    matrix = [one for one in every if one.kind.part in MATRIX]
    some = st.sampled_from(every)
    chosen = draw(
        st.tuples(
            st.sampled_from(matrix) if matrix else some, st.sampled_from(matrix or every), some
        )
    )
    return _effects(profile), list({one.component: one for one in chosen}.values())


@given(drawn=_three(), everything=st.booleans())
def test_what_stands_apart_changes_what_it_changes_alone(
    drawn: tuple[Effects, list[Fault]], everything: bool
) -> None:
    """Beside one or two others it changes its cells as by itself, and they change theirs, in the
    worlds that were asked for."""
    effects, faults = drawn
    asked = effects.everything if everything else effects.everything & 0b11

    def within(cells: dict[str, Value]) -> dict[str, Value]:
        healthy = effects.healthy.cells
        found = {}
        for name, value in cells.items():
            value = Value(value.surely & asked, value.maybe & asked)
            if value != Value(healthy[name].surely & asked, healthy[name].maybe & asked):
                found[name] = value
        return found

    for one in faults:
        others = [effects.change(other) for other in faults if other is not one]
        change = effects.change(one)
        own = effects.standing.own(change)
        exposure = effects.exposed(others, asked)
        halves = own & exposure.near
        taking = not effects.interaction(one, 3).closes
        if not effects.standing.plain(change) or own & exposure.bears:
            continue
        if len(halves) > 1 and not taking:
            continue
        apart = {**effects.changed_by(others), **effects.changed_by([change])}
        assert within(dict(effects.changed_by([*others, change]))) == within(apart)


def test_the_worked_example_holds() -> None:
    """The example at the head of the module is what it does."""
    import doctest

    result = doctest.testmod(pieces)
    assert result.attempted
    assert not result.failed


def test_more_of_what_is_exposed_parts_less() -> None:
    """Half of a sneak path is no bar to one cell, but to two; both halves bar any."""
    made = pieces.Pieces(
        own=(0b01, 0b11, 0b100, None),
        taking=frozenset({1}),
        exposed=lambda some, every: pieces.NOWHERE,
    )
    near = pieces.Exposure(0, 0b11)
    assert made.apart(0, near)
    assert made.apart(1, near)
    assert not attrs.evolve(made, taking=frozenset()).apart(1, near)
    assert not made.apart(0, pieces.Exposure(0b01, 0))
    assert made.apart(2, near)
    assert not made.apart(3, pieces.NOWHERE)
