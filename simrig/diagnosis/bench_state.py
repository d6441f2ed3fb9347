"""How the bench stands, what it takes to change it, and what must never be.

A state is power, coil voltage, door, playfield, balls and coil fuses.  Checks
state a ``Need``; ``way`` finds the cheapest row of moves that meets it.  The rules
of safety are the table ``RULES`` and what each kind of work demands is the
table ``WORK``: a state that breaks a rule cannot be made, so no way leads through
one.  What is not known counts as the worse.

Minutes and order are common practice, no source.  Local codes, the machine's own
manual and licensed practice come first.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any, Final

import attrs

from simrig.profile.keys import NONE
from simrig.profile.machine import Profile

POWER: Final = ("on", "off", "unplugged")
"""``unplugged``: plug out, stored charge waited out and measured gone."""
COILS: Final = ("present", "unknown", "absent")
"""Coil voltage; ``absent`` is proven, and ``unknown`` counts as present."""
DOOR: Final = ("shut", "open")
PLAYFIELD: Final = ("down", "raised")
BALLS: Final = ("aboard", "some", "out")
FUSES: Final = ("in", "out", "out and tried")
"""Of the coils; ``out and tried``: taken out, and no coil fired when tried."""

DIMENSIONS: Final[Mapping[str, tuple[str, ...]]] = {
    "power": POWER,
    "coils": COILS,
    "door": DOOR,
    "playfield": PLAYFIELD,
    "balls": BALLS,
    "fuses": FUSES,
}

MOST_VOLTS: Final = 24.0
"""Volts d.c. up to which a stated emitter or logic supply may be measured."""


class UnsafeError(ValueError):
    """A bench state, or a check, that breaks a rule of safety."""


@attrs.frozen(kw_only=True)
class Rule:
    """One thing that must never be: its words, and the states that break it."""

    id: str
    words: str
    breaks: Callable[[BenchState], bool]


@attrs.frozen(kw_only=True)
class BenchState:
    """How the bench stands; raises UnsafeError when it would break a rule."""

    power: str = attrs.field(default="on", validator=attrs.validators.in_(POWER))
    coils: str = attrs.field(default="unknown", validator=attrs.validators.in_(COILS))
    door: str = attrs.field(default="shut", validator=attrs.validators.in_(DOOR))
    playfield: str = attrs.field(default="down", validator=attrs.validators.in_(PLAYFIELD))
    balls: str = attrs.field(default="aboard", validator=attrs.validators.in_(BALLS))
    fuses: str = attrs.field(default="in", validator=attrs.validators.in_(FUSES))

    def __attrs_post_init__(self) -> None:
        for rule in RULES:
            if rule.breaks(self):
                raise UnsafeError(rule.words)

    def words(self) -> str:
        """The state in words."""
        return ", ".join(
            _WORDS[name, getattr(self, name)]
            for name in ("power", "coils", "door", "playfield", "balls")
            if not (name == "coils" and self.power == "unplugged")
        )


RULES: Final[tuple[Rule, ...]] = (
    Rule(
        id="balls-before-playfield",
        words="the playfield is never raised with balls aboard: take them out first",
        breaks=lambda state: state.playfield == "raised" and state.balls != "out",
    ),
    Rule(
        id="coils-before-playfield",
        words="the playfield is never raised while coil voltage is present or not proven absent",
        breaks=lambda state: state.playfield == "raised" and state.coils != "absent",
    ),
    Rule(
        id="charge-stays",
        words="switched off is not dead: charge is gone when it was measured gone, unplugged",
        breaks=lambda state: (
            state.power == "off"
            and state.door == "shut"
            and state.fuses == "in"
            and state.coils == "absent"
        ),
    ),
    Rule(
        id="coils-live",
        words="with power on, door shut and coil fuses in, coil voltage is there",
        breaks=lambda state: (
            state.power == "on"
            and state.door == "shut"
            and state.fuses == "in"
            and state.coils == "absent"
        ),
    ),
)
"""What must never be: no state that breaks one of these can be made."""


@attrs.frozen(kw_only=True)
class Need:
    """What a check asks of the bench; None: as it is."""

    power: str | None = None
    coils: str | None = None
    door: str | None = None
    playfield: str | None = None
    balls: str | None = None
    fuses: str | None = None

    def met(self, state: BenchState) -> bool:
        """Whether the state is as needed."""
        return all(wanted == getattr(state, name) for name, wanted in self.stated().items())

    def stated(self) -> dict[str, str]:
        """What is asked for, by name."""
        found = {name: getattr(self, name) for name in DIMENSIONS}
        return {name: value for name, value in found.items() if value is not None}

    def words(self) -> str:
        """The need in words."""
        stated = self.stated()
        if stated.get("power") == "unplugged":
            stated.pop("coils", None)
        return ", ".join(_WORDS[name, value] for name, value in stated.items()) or "as it stands"


Needs = tuple[Need, ...]
"""What is needed one after the other: probes clipped on unplugged, then read with power on."""

_WORDS: Final = {
    ("power", "on"): "power on",
    ("power", "off"): "power off",
    ("power", "unplugged"): "unplugged, charge measured gone",
    ("coils", "present"): "coil voltage present",
    ("coils", "unknown"): "coil voltage not proven absent: count it as present",
    ("coils", "absent"): "coils proven dead",
    ("door", "shut"): "door shut",
    ("door", "open"): "door open",
    ("playfield", "down"): "playfield down",
    ("playfield", "raised"): "playfield raised",
    ("balls", "aboard"): "balls aboard",
    ("balls", "some"): "some of the balls in",
    ("balls", "out"): "balls out",
    ("fuses", "in"): "coil fuses in",
    ("fuses", "out"): "coil fuses out",
    ("fuses", "out and tried"): "coil fuses out, tried",
}

WORK: Final[Mapping[str, tuple[Mapping[str, str], ...]]] = {
    "look": ({},),
    "read": ({"power": "on"},),
    "hand": ({"coils": "absent"},),
    "reach": ({"power": "on", "coils": "absent"},),
    "ohms": ({"power": "unplugged"},),
    "plugs": ({"power": "unplugged"},),
    "iron": ({"power": "unplugged"},),
    "clip": ({"power": "unplugged"}, {"power": "on", "coils": "absent"}),
    "volts": ({"power": "unplugged"}, {"power": "on", "coils": "absent"}),
    "exchange": ({"power": "unplugged"}, {"power": "on"}, {"power": "unplugged"}),
    "coil voltage": ({"power": "on", "playfield": "down"},),
}
"""What each kind of work demands of the bench, stage by stage.

``hand`` and ``reach``: near mechanisms, without and with power; ``ohms``, ``plugs`` and
``iron`` are for a machine without any charge; ``clip`` and ``volts`` put something on
unplugged, then look with power on; ``exchange`` changes two plugs over, reads, and
changes them back.
"""

ELEVATED: Final = frozenset(("coil voltage",))
"""Work that is offered only where no other check parts what is left."""


def needs_of(work: str, **where: str) -> Needs:
    """Return what a kind of work needs at a place; raises UnsafeError when they contradict.

    ``where`` is the rest of the bench (playfield, balls, door).  Where work has
    stages, the playfield concerns those in which hands are at the parts.
    """
    stages = []
    for demanded in WORK[work]:
        asked = dict(where)
        if len(WORK[work]) > 1 and demanded["power"] == "on":
            asked.pop("playfield", None)
        for name, value in asked.items():
            if demanded.get(name, value) != value:
                raise UnsafeError(f"{work} demands {name} {demanded[name]}, not {value}")
        stages.append(Need(**{**asked, **demanded}))
    return tuple(stages)


@attrs.frozen(kw_only=True)
class BenchFacts:
    """What the profile says about how coils are made dead.

    ``interlock``: a door interlock is fitted and cuts every stated coil bank;
    ``fuses``: every coil lies behind a stated fuse.  Unknown counts as no.
    """

    interlock: bool = False
    fuses: bool = False

    @classmethod
    def of(cls, profile: Profile) -> BenchFacts:
        """Read the facts off a profile."""
        banks = profile.coil_bank
        fed = bool(banks) and all(
            profile.row("coil_bank", coil.bank) is not None for coil in profile.coil
        )
        fitted = profile.interlock is not None and profile.interlock.fitted is True
        return cls(
            interlock=fed and fitted and all(bank.interlocked is True for bank in banks),
            fuses=fed and all(bank.fuse not in (None, NONE) for bank in banks),
        )

    def coils(self, power: str, door: str, fuses: str) -> str:
        """Return how coil voltage counts before anybody tried it."""
        if power == "unplugged":
            return "absent"
        if power == "off":
            return "unknown"
        if fuses == "out and tried":
            return "absent"
        if fuses == "out" or (door == "open" and self.interlock):
            return "unknown"
        return "present"


@attrs.frozen(kw_only=True)
class Move:
    """One change of the bench: what to do, its minutes, its caution, and the state after it."""

    id: str
    words: str
    minutes: float
    caution: str
    after: BenchState


@attrs.frozen(kw_only=True)
class Way:
    """The moves that bring the bench into a needed state, in order.

    ``stages`` tells how many of the moves come before each stage of the need.
    """

    moves: tuple[Move, ...]
    stages: tuple[int, ...]
    start: BenchState

    @property
    def minutes(self) -> float:
        """What the moves take together."""
        return sum(move.minutes for move in self.moves)

    @property
    def after(self) -> BenchState:
        """How the bench stands at the end."""
        return self.moves[-1].after if self.moves else self.start


@attrs.frozen(kw_only=True)
class _Kind:
    """A kind of move: when it can be made, and what it changes."""

    id: str
    words: str
    minutes: float
    caution: str
    when: Callable[[BenchState, BenchFacts], bool]
    then: Mapping[str, str]


def _hands(state: BenchState) -> bool:
    """Hands may go in: coils proven dead, door open and glass off."""
    return state.coils == "absent" and state.door == "open" and state.playfield == "down"


_KINDS: Final = (
    _Kind(id="open-door", words="Open the coin door.", minutes=0.3,
          caution="Keep customers and children away from the open machine.",
          when=lambda s, f: s.door == "shut", then={"door": "open"}),
    _Kind(id="shut-door", words="Shut the coin door.", minutes=0.2,
          caution="Coil voltage is there again as soon as the door is shut: fingers out.",
          when=lambda s, f: s.door == "open", then={"door": "shut"}),
    _Kind(id="switch-off", words="Switch the machine off.", minutes=0.2,
          caution="Switched off is not dead: mains and charge are still there.",
          when=lambda s, f: s.power == "on", then={"power": "off"}),
    _Kind(id="unplug", words="Pull the mains plug, wait, and measure the coil supply: gone.",
          minutes=2.3,
          caution="Charge stays in the capacitors after switch-off: wait, then measure, then touch.",
          when=lambda s, f: s.power == "off" and s.door == "open", then={"power": "unplugged"}),
    _Kind(id="power-on", words="Plug in and switch on.", minutes=0.5,
          caution="Mechanisms can move by themselves at power-on: fingers out, say it aloud.",
          when=lambda s, f: s.power != "on", then={"power": "on"}),
    _Kind(id="try-coils", words="Prove the coils dead: door open, try one from the test; "
          "none may fire.", minutes=0.5,
          caution="An interlock is not isolation. If a coil fires, switch off and unplug.",
          when=lambda s, f: s.power == "on" and s.coils == "unknown" and s.fuses == "in"
          and s.door == "open" and f.interlock, then={"coils": "absent"}),
    _Kind(id="coil-fuses-out", words="Take out the fuse of every coil bank, and keep them in order.",
          minutes=1.5, caution="Put back only fuses of the same value and kind.",
          when=lambda s, f: s.power == "unplugged" and s.fuses == "in" and f.fuses,
          then={"fuses": "out"}),
    _Kind(id="try-without-fuses", words="Prove the coils dead: fuses out, try one of each bank; "
          "none may fire.", minutes=0.7,
          caution="If a coil fires, it is fed another way: switch off and unplug.",
          when=lambda s, f: s.power == "on" and s.fuses == "out" and s.playfield == "down",
          then={"fuses": "out and tried", "coils": "absent"}),
    _Kind(id="coil-fuses-in", words="Put the coil fuses back, each in its own place.", minutes=1.5,
          caution="Fuses of the same value and kind only.",
          when=lambda s, f: s.power == "unplugged" and s.fuses != "in", then={"fuses": "in"}),
    _Kind(id="balls-out", words="Glass off, take all loose balls out and count them into a tray.",
          minutes=2.0, caution="Glass edge down on something soft. Captive balls stay.",
          when=lambda s, f: _hands(s) and s.balls != "out", then={"balls": "out"}),
    _Kind(id="some-balls-in", words="Put balls in by hand as the check says.", minutes=0.5,
          caution="Near mechanisms a stick, not a finger.",
          when=lambda s, f: _hands(s) and s.balls == "out", then={"balls": "some"}),
    _Kind(id="balls-in", words="Put all the balls back; count them.", minutes=1.0,
          caution="Near mechanisms a stick, not a finger.",
          when=lambda s, f: _hands(s) and s.balls != "aboard", then={"balls": "aboard"}),
    _Kind(id="raise", words="Raise the playfield, set its prop and try it.", minutes=1.5,
          caution="It is heavy and pinches: a second person, cables clear.",
          when=lambda s, f: s.playfield == "down" and s.door == "open",
          then={"playfield": "raised"}),
    _Kind(id="lower", words="Lower the playfield.", minutes=1.0,
          caution="Nothing left inside, fingers and cables clear of the edges.",
          when=lambda s, f: s.playfield == "raised", then={"playfield": "down"}),
)  # fmt: skip


def moves(facts: BenchFacts, state: BenchState) -> Iterator[Move]:
    """Yield every move that can be made from a state; none leads into a forbidden one."""
    for kind in _KINDS:
        if not kind.when(state, facts):
            continue
        changed: dict[str, Any] = {**attrs.asdict(state), **kind.then}
        # Switching off brings no voltage to coils that were proven dead.
        kept = kind.id == "switch-off" and state.coils == "absent"
        if "coils" not in kind.then and {"power", "door", "fuses"} & set(kind.then) and not kept:
            changed["coils"] = facts.coils(changed["power"], changed["door"], changed["fuses"])
        try:
            after = BenchState(**changed)
        except UnsafeError:
            continue
        yield Move(
            id=kind.id, words=kind.words, minutes=kind.minutes, caution=kind.caution, after=after
        )


@cache
def way(facts: BenchFacts, start: BenchState, needs: Needs) -> Way | None:
    """Return the cheapest moves that meet each need in turn; None when nothing does.

    Dijkstra over states and stages (Dijkstra, Numerische Mathematik 1 (1959) 269-271).
    """
    order = itertools.count()
    first = (start, _reached(start, needs, 0))
    queue: list[tuple[float, int, tuple[BenchState, int]]] = [(0.0, next(order), first)]
    came: dict[tuple[BenchState, int], tuple[tuple[BenchState, int], Move] | None] = {first: None}
    best = {first: 0.0}
    settled = set()
    while queue:
        spent, _, node = heapq.heappop(queue)
        if node in settled:
            continue
        settled.add(node)
        state, stage = node
        if stage == len(needs):
            return _unrolled(start, needs, came, node)
        for move in moves(facts, state):
            after = (move.after, _reached(move.after, needs, stage))
            price = spent + move.minutes
            if price < best.get(after, float("inf")):
                best[after] = price
                came[after] = (node, move)
                heapq.heappush(queue, (price, next(order), after))
    return None


def _reached(state: BenchState, needs: Needs, stage: int) -> int:
    while stage < len(needs) and needs[stage].met(state):
        stage += 1
    return stage


def _unrolled(
    start: BenchState,
    needs: Needs,
    came: Mapping[tuple[BenchState, int], tuple[tuple[BenchState, int], Move] | None],
    node: tuple[BenchState, int],
) -> Way:
    made: list[tuple[Move, int]] = []
    while (step := came[node]) is not None:
        made.append((step[1], node[1]))
        node = step[0]
    made.reverse()
    reached = [node[1], *(stage for _, stage in made)]
    stages = tuple(
        next(count for count, stage in enumerate(reached) if stage > number)
        for number in range(len(needs))
    )
    return Way(moves=tuple(move for move, _ in made), stages=stages, start=start)


def as_found(*, balls: str = "aboard", door: str = "shut") -> BenchState:
    """Return the bench as a technician finds it: power on, nothing proven, playfield down."""
    return BenchState(power="on", coils="unknown", door=door, balls=balls)
