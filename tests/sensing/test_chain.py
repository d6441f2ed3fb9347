"""Which way a ball, and a break, reads: from the links and nothing else."""

from __future__ import annotations

import attrs
import pytest

from simrig.faults.candidates import fault_named, possible_faults
from simrig.faults.injection import inject
from simrig.profile.components import Sensor
from simrig.profile.layout import Balls, Mechanism, Place
from simrig.profile.machine import Profile
from simrig.profile.wiring import Bank, Board, Connector, Fuse, Inputs, Return, Supply
from simrig.scan.scanner import links, readings
from simrig.sensing.chain import ACTIONS, Link, Part, chain, chains, contact
from simrig.world.balls import Placement
from simrig.world.worlds import Value, worlds


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
    ("form", "rest"), [("normally open", "open"), ("normally closed", "closed")]
)
def test_contacts_both_ways_round(form: str, rest: str) -> None:
    """A normally open contact closes with a ball, a normally closed one opens."""
    profile = attrs.evolve(
        _machine("dark"),
        sensor=(Sensor(id="beam", kind="leaf switch", at=("seat.1",), contact=form),),
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


def _fed_machine(**changes: object) -> Profile:
    """A beam, an inductive sensor and a leaf switch, with fuses and plugs on every way."""
    parts = {
        "format": 1,
        "id": "bench",
        "balls": Balls(installed=1),
        "place": (Place(id="seat", kind="trough", seats=1),),
        "fuse": (Fuse(id="f-emitters"), Fuse(id="f-logic"), Fuse(id="f-bank")),
        "supply": (
            Supply(id="emitters", fuse="f-emitters"),
            Supply(id="logic", fuse="f-logic"),
            Supply(id="heads"),
        ),
        "connector": tuple(Connector(id=name) for name in ("j1", "j2", "j3", "j4", "j5")),
        "bank": (Bank(id="bank", supply="emitters", fuse="f-bank", plug="j1"),),
        "board": (
            Board(
                id="board", output_closes="dark", supply="logic", sensor_plug="j2",
                output_plug="j3", without_supply="closed",
            ),
        ),
        "inputs": (Inputs(id="node", count=8, supply="logic", plug="j5"),),
        "return_": (Return(id="common"),),
        "sensor": (
            Sensor(id="beam", kind="opto", at=("seat.1",), bank="bank", board="board",
                   connector="j4", address="node 3"),
            Sensor(id="head", kind="inductive", at=("seat.1",), contact="normally closed",
                   supply="heads", address="direct 2"),
            Sensor(id="leaf", kind="leaf switch", at=("seat.1",), contact="normally open",
                   common="common", address="column 1 row 1"),
            Sensor(id="bare", kind="opto", at=("seat.1",), board="none", common="common",
                   bank="bank"),
        ),
    }  # fmt: skip
    return Profile(**{**parts, **changes})


def _links(profile: Profile, name: str) -> list[str]:
    return [
        f"{link.part} {link.action}/{link.broken}"
        for link in chain(profile, profile.row("sensor", name))
    ]


def test_the_links_of_a_beam_in_their_order() -> None:
    """From the emitters' supply to the input board: a fuse before what it feeds, a plug where
    it stands; what the board does without its supply is how its supply, fuse and board break."""
    assert _links(_fed_machine(), "beam") == [
        "fuse f-emitters passes/cuts",
        "supply emitters passes/cuts",
        "fuse f-bank passes/cuts",
        "connector j1 passes/cuts",
        "bank return bank passes/cuts",
        "resistor beam passes/cuts",
        "emitter joint beam passes/cuts",
        "emitter beam passes/cuts",
        "beam beam breaks/cuts",
        "receiver beam passes/cuts",
        "connector j2 passes/cuts",
        "channel beam inverts/cuts",
        "fuse f-logic passes/forces",
        "supply logic passes/forces",
        "board board passes/forces",
        "connector j3 passes/cuts",
        "wire beam passes/cuts",
        "connector j4 passes/cuts",
        "fuse f-logic passes/cuts",
        "supply logic passes/cuts",
        "connector j5 passes/cuts",
        "input board node passes/cuts",
        "input beam passes/cuts",
    ]


def test_the_links_of_the_other_technologies() -> None:
    """A head is worked, then turned round by its output, then fed; a crossing of the matrix
    has no input of its own; a sensor of unknown address neither; a bare receiver no channel."""
    profile = _fed_machine()
    assert _links(profile, "head") == [
        "sensing head head makes/cuts",
        "output head inverts/cuts",
        "supply heads passes/cuts",
        "wire head passes/cuts",
        "input head passes/cuts",
    ]
    assert _links(profile, "leaf") == [
        "contact leaf makes/cuts",
        "common return common passes/cuts",
        "wire leaf passes/cuts",
    ]
    assert _links(profile, "bare")[-5:] == [
        "emitter bare passes/cuts",
        "beam bare breaks/cuts",
        "receiver bare passes/cuts",
        "common return common passes/cuts",
        "wire bare passes/cuts",
    ]


def test_fuses_plugs_and_returns_that_are_none() -> None:
    """What the profile says is not there is no link, nor is what it does not say."""
    profile = _fed_machine(
        supply=(Supply(id="emitters", fuse="none"), Supply(id="logic"), Supply(id="heads")),
        bank=(Bank(id="bank", fuse="none", plug="none"),),
        sensor=(
            Sensor(id="beam", kind="opto", at=("seat.1",), bank="bank", board="none",
                   common="none", connector="none", address="direct 1"),
        ),
    )  # fmt: skip
    assert _links(profile, "beam")[0] == "bank return bank passes/cuts"
    assert _links(profile, "beam")[-3:] == [
        "receiver beam passes/cuts",
        "wire beam passes/cuts",
        "input beam passes/cuts",
    ]


@pytest.mark.parametrize(
    ("stated", "action", "fact"),
    [
        ({"board": "board"}, "inverts", ("board", "board", "output_closes")),
        (
            {"board": "board", "worked_reads": "open"},
            "inverts",
            ("board", "board", "output_closes"),
        ),
        ({"worked_reads": "closed"}, "inverts", ("sensor", "beam", "worked_reads")),
        ({"worked_reads": "open"}, "passes", ("sensor", "beam", "worked_reads")),
        ({"rest_reads": "open"}, "inverts", ("sensor", "beam", "rest_reads")),
        ({"rest_reads": "closed"}, "passes", ("sensor", "beam", "rest_reads")),
        ({}, "unsure", ("sensor", "beam", "board")),
        ({"board": "mute"}, "unsure", ("board", "mute", "output_closes")),
        ({"board": "mute", "rest_reads": "open"}, "inverts", ("sensor", "beam", "rest_reads")),
    ],
)
def test_which_way_a_channel_turns(
    stated: dict[str, str], action: str, fact: tuple[str, str, str]
) -> None:
    """By its board; where that does not say, by how the sensor is stated to read; by nothing
    known it is unsure, and names what would decide it."""
    profile = _fed_machine(
        board=(Board(id="board", output_closes="dark"), Board(id="mute")),
        sensor=(Sensor(id="beam", kind="opto", at=("seat.1",), **stated),),
    )
    (channel,) = [one for one in chain(profile, profile.sensor[0]) if one.part.kind == "channel"]
    assert (channel.action, channel.facts[0]) == (action, fact)
    lit = _fed_machine(
        board=(Board(id="board", output_closes="lit"),),
        sensor=(Sensor(id="beam", kind="opto", board="board"),),
    )
    assert "channel beam passes/cuts" in _links(lit, "beam")


def test_links_name_the_facts_that_decide_them() -> None:
    """Where a sensor sits, how its contact stands at rest, which board it is on."""
    profile = _fed_machine(
        mechanism=(Mechanism(id="gate", kind="gate", states=("up", "down"), rest="up"),),
        sensor=(
            *_fed_machine().sensor,
            Sensor(id="follower", kind="leaf switch", follows={"gate": "up"}),
            Sensor(id="stated", kind="leaf switch", at=("seat.1",), rest_reads="closed"),
            Sensor(id="nameless", kind="inductive", at=("seat.1",), worked_reads="closed"),
        ),
    )

    def facts(name: str, kind: str) -> list[tuple[str, ...]]:
        links = chain(profile, profile.row("sensor", name))
        return [tuple(fact) for one in links if one.part.kind == kind for fact in one.facts]

    assert facts("beam", "beam") == [("sensor", "beam", "at")]
    assert facts("beam", "receiver") == []
    assert facts("bare", "receiver") == [("sensor", "bare", "board")]
    assert facts("beam", "channel") == [
        ("board", "board", "output_closes"),
        ("sensor", "beam", "board"),
    ]
    assert facts("leaf", "contact") == [("sensor", "leaf", "contact"), ("sensor", "leaf", "at")]
    assert facts("follower", "contact") == [
        ("sensor", "follower", "contact"),
        ("sensor", "follower", "follows"),
    ]
    assert facts("stated", "contact")[0] == ("sensor", "stated", "rest_reads")
    assert facts("head", "sensing head") == [("sensor", "head", "at")]
    assert facts("head", "output") == [("sensor", "head", "contact")]
    assert facts("nameless", "output") == [("sensor", "nameless", "worked_reads")]
    actions = {one.id: chain(profile, one)[0].action for one in profile.sensor}
    assert (actions["follower"], actions["stated"]) == ("unsure", "breaks")


@pytest.mark.parametrize(
    ("actions", "closed"),
    [
        ((), Value(0b111, 0b111)),
        (("passes",), Value(0b111, 0b111)),
        (("makes",), Value(0b001, 0b011)),
        (("breaks",), Value(0b100, 0b110)),
        (("makes", "inverts"), Value(0b100, 0b110)),
        (("cuts", "makes"), Value(0, 0)),
        (("makes", "cuts"), Value(0, 0)),
        (("makes", "forces"), Value(0b111, 0b111)),
        (("cuts", "forces", "breaks"), Value(0b100, 0b110)),
        (("cuts", "inverts"), Value(0b111, 0b111)),
        (("makes", "unsure"), Value(0, 0b111)),
        (("unsure", "makes"), Value(0, 0b011)),
        (("unsure", "breaks"), Value(0, 0b110)),
        (("makes", "breaks"), Value(0, 0b010)),
    ],
)
def test_what_links_do_to_a_signal(actions: tuple[str, ...], closed: Value) -> None:
    """By hand in three worlds: worked for certain in the first, perhaps in the second."""
    links = tuple(Link(part=Part("part", str(n)), action=one) for n, one in enumerate(actions))
    assert contact(links, Value(0b001, 0b011), 0b111) == closed


def test_a_link_as_it_comes_and_as_it_cannot_be() -> None:
    """A link passes, and cuts when broken; any other word is refused."""
    link = Link(part=Part("wire", "w"))
    assert (link.action, link.broken, link.facts, str(link.part)) == (
        "passes",
        "cuts",
        (),
        "wire w",
    )
    assert {Link(part=link.part, action=one).action for one in ACTIONS} == ACTIONS
    for wrong in ({"action": "leaks"}, {"broken": "leaks"}):
        with pytest.raises(ValueError, match="must be in"):
            Link(part=link.part, **wrong)


def test_a_kind_that_nobody_brought_is_a_contact() -> None:
    """A sensor of unknown kind is taken for a contact; every sensor has its chain."""
    profile = _fed_machine(sensor=(Sensor(id="odd", kind="magic eye", contact="normally open"),))
    assert _links(profile, "odd") == ["contact odd makes/cuts", "wire odd passes/cuts"]
    assert set(chains(_fed_machine())) == {"beam", "head", "leaf", "bare"}
