"""Changing the bench: moves in their order, with minutes and cautions, and the cheapest way.

No move leads into a state that breaks a rule, since such a state cannot be made.
Minutes and order are common practice, no source.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any, Final

import attrs

from simrig.diagnosis.bench_state import BenchState, Needs, UnsafeError
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile


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
    _Kind(id="try-coils", words="Prove the coils dead: door open, have the machine fire one; "
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
