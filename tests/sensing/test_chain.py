"""Which way a ball, and a break, reads: from the links and nothing else."""

from __future__ import annotations

import attrs
import pytest

from simrig.faults.candidates import fault_named, possible_faults
from simrig.faults.injection import inject
from simrig.profile.components import Sensor
from simrig.profile.layout import Balls, Place
from simrig.profile.machine import Profile
from simrig.profile.wiring import Bank, Board, Connector, Return, Supply
from simrig.scan.scanner import links, readings
from simrig.world.balls import Placement
from simrig.world.worlds import worlds


def _machine(board: str) -> Profile:
    return Profile(
        format=1,
        id="bench",
        balls=Balls(installed=1),
        place=(Place(id="seat", kind="trough", seats=1),),
        supply=(Supply(id="emitters"), Supply(id="logic")),
        bank=(Bank(id="bank", supply="emitters"),),
        board=(
            Board(id="dark", output_closes="dark", supply="logic"),
            Board(id="lit", output_closes="lit", supply="logic"),
        ),
        return_=(Return(id="common"),),
        sensor=(
            Sensor(id="beam", kind="opto", at=("seat.1",), bank="bank", board=board,
                   common="common" if board == "none" else None),
        ),
    )  # fmt: skip


def _reads(profile: Profile, ball: bool, fault: str | None = None) -> str:
    table = links(profile)
    if fault is not None:
        table = inject(profile, table, [fault_named(possible_faults(profile), fault)])
    many = worlds(profile, (Placement(spots={"seat.1"} if ball else ()),))
    return readings(profile, table, many).reading("beam")


@pytest.mark.parametrize(
    ("board", "clear", "blocked"),
    [("dark", "open", "closed"), ("lit", "closed", "open"), ("none", "closed", "open")],
)
def test_clear_and_blocked_are_opposite(board: str, clear: str, blocked: str) -> None:
    """A lit receiver conducts; an output that closes when dark turns that round.

    Source: AB213 (ELE-07): the two ways to wire a phototransistor read opposite."""
    profile = _machine(board)
    assert (_reads(profile, ball=False), _reads(profile, ball=True)) == (clear, blocked)


@pytest.mark.parametrize("board", ["dark", "lit", "none"])
def test_a_dead_emitter_reads_as_a_ball(board: str) -> None:
    """A dark emitter reads as if a ball were always there. Source: AB213 (ELE-07)."""
    profile = _machine(board)
    assert _reads(profile, ball=False, fault="emitter-dead:beam") == _reads(profile, ball=True)


@pytest.mark.parametrize("board", ["dark", "lit"])
def test_a_board_without_supply_opens(board: str) -> None:
    """A receiver board without supply opens its outputs. Common practice, no source."""
    profile = _machine(board)
    for ball in (False, True):
        assert _reads(profile, ball=ball, fault="supply-lost:logic") == "open"


def test_a_bare_receiver_reads_every_break_alike() -> None:
    """Without a board a break anywhere reads the same as a ball. Common practice, no source."""
    profile = _machine("none")
    for fault in ("emitter-dead:beam", "receiver-dead:beam", "return-open:common",
                  "wire-open:beam", "supply-lost:emitters"):  # fmt: skip
        assert _reads(profile, ball=False, fault=fault) == "open" == _reads(profile, ball=True)


@pytest.mark.parametrize(
    ("contact", "rest"), [("normally open", "open"), ("normally closed", "closed")]
)
def test_contacts_both_ways_round(contact: str, rest: str) -> None:
    """A normally open contact closes with a ball, a normally closed one opens."""
    profile = attrs.evolve(
        _machine("dark"),
        sensor=(Sensor(id="beam", kind="leaf switch", at=("seat.1",), contact=contact),),
    )
    assert _reads(profile, ball=False) == rest
    assert _reads(profile, ball=True) != rest


def test_the_plug_of_a_common_return_is_on_the_chain() -> None:
    """A common return that goes through a plug conducts nothing when the plug is off."""
    profile = attrs.evolve(
        _machine("none"),
        return_=(Return(id="common", connector="return-plug"),),
        connector=(Connector(id="return-plug"),),
    )
    assert _reads(profile, ball=False) == "closed"
    assert _reads(profile, ball=False, fault="plug-off:return-plug") == "open"
