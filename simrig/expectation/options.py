"""How one change of a log can be taken: a ball on its way, a new move, or something odd."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from simrig.expectation.accounts import Account
from simrig.expectation.movers import BEGUN, OVERDUE, PENDING, unseen_before
from simrig.expectation.passes import Motion
from simrig.expectation.scene import Scene
from simrig.expectation.transfers import PICK, PUT, carried, elsewhere, ends, full
from simrig.expectation.weights import (
    BEFORE_THE_LOG,
    BOTH_HANDS,
    HAND_AGAIN,
    HAND_MS,
    HANDS,
    NO_KICK,
    ONE_TOO_MANY,
    PRICE,
    SHORTEST_REBOUND_MS,
    SLIGHT,
    TROUBLE,
    UNSEEN_MOVE,
)
from simrig.world.moves import Move

_PLAIN: Final = 1.0
"""A way to take a change that costs less leaves no need to look for others."""


_AS_GOOD: Final = 0.5
"""An account that costs at most so much more is as good."""
_MOVES_A_BALL: Final = ("take", "feed", "remove")


class Option(NamedTuple):
    """One way to take a change; ``cost`` is added to the account, ``doubt`` orders the ways.

    ``unseen`` is a move before it that no sensor must show.
    """

    cost: float
    doubt: float
    mover: int
    number: int
    begins: bool
    move: Move | None
    unseen: Move | None = None


class Width(NamedTuple):
    """How many accounts are kept, and how much dearer than the cheapest."""

    accounts: int
    dearer: float
    every: bool


class Options:
    """Finds the ways to take a change, for an account of a log."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene

    def of(
        self, account: Account, sensor: str, worked: bool, soft: bool, width: Width
    ) -> list[Option]:
        """Return the ways to take a sensor's change, now, to worked or not worked.

        ``soft``: other closed switches of the matrix can make it read closed as well.
        """
        scene, time = self.scene, self.scene.time
        found: list[Option] = []
        for number, mover in enumerate(account.movers):
            for index in mover.motion.at_sensor.get(sensor, ()):
                one = mover.motion.passes[index]
                state = mover.state[index]
                if one.worked == worked and state in (PENDING, OVERDUE):
                    side = mover.lateness(index, True, time)
                    if (side and not one.certain) or mover.too_late(index, time):
                        continue
                    cost = -1.0 if state == OVERDUE else SLIGHT if side else 0.0
                    doubt = mover.unseen(index)
                    found.append(Option(cost, doubt, number, index, True, None))
                elif one.worked != worked and state == BEGUN and one.length_ms is not None:
                    side = mover.lateness(index, False, time)
                    found.append(
                        Option(SLIGHT if side < 0 else 0.0, 0.0, number, index, False, None)
                    )
        goes_back = worked == (sensor in account.belief)
        if goes_back:
            if not any(option.cost + option.doubt < _PLAIN for option in found) or width.every:
                found.append(Option(0.0, 0.0, -1, 0, False, None))
            return found
        plain = not any(option.cost + option.doubt <= 0 for option in found)
        if plain or width.every:
            found += self._new_moves(account, sensor, worked, width)
            if width.every:
                found += self._after_unseen(account, sensor, worked, width)
        unlikely = not any(option.cost + option.doubt < _PLAIN for option in found)
        harmless = soft or account.may_rebound(scene, sensor, time)
        if width.every or unlikely or (plain and harmless):
            cost = account.oddness(scene, sensor, time, soft=soft)
            found.append(Option(cost, 0.0, -1, 0, True, None))
        return found

    def _new_moves(self, account: Account, sensor: str, worked: bool, width: Width) -> list[Option]:
        best: dict[object, Option] = {}
        plain = False
        by_hand = width.every or account.handled[0].verb in HANDS
        for move in self.scene.moves_at.get(sensor, ()):
            if plain and not by_hand and move.verb not in ("take", "set"):
                break
            price = self._price(account, move)
            if price is None:
                continue
            motion = self.motion(account, move)
            for index in motion.at_sensor.get(sensor, ()):
                one = motion.passes[index]
                if one.worked != worked:
                    continue
                cost = price
                if one.length_ms is None and self._too_soon(account, sensor):
                    cost += TROUBLE
                option = Option(cost, self._unseen(account, motion, index), -1, index, True, move)
                plain = plain or cost + option.doubt < _PLAIN / 2
                # Of several ways between two places the one with least unseen is enough, at first.
                ways: object = ends(self.scene.profile, move)
                if move.verb == "set" or width.every:
                    ways = move
                held = best.get(ways)
                if held is None or option.cost + option.doubt < held.cost + held.doubt:
                    best[ways] = option
                break
        return list(best.values())

    def _after_unseen(
        self, account: Account, sensor: str, worked: bool, width: Width
    ) -> Iterator[Option]:
        """Yield the moves that another makes possible, or look otherwise, which no sensor shows.

        So a ball comes home to a position that nothing watches.
        """
        profile = self.scene.profile
        for hidden in self.scene.all_moves:
            if not self.may_go_unseen(account, hidden):
                continue
            source, target = ends(profile, hidden)
            price = (self._price(account, hidden) or 0.0) + UNSEEN_MOVE
            here = self.after(account, hidden)
            for option in self._new_moves(here, sensor, worked, width):
                if option.move is None or option.move.verb not in _MOVES_A_BALL:
                    continue
                if not {source, target}.isdisjoint({*ends(profile, option.move)} - {None}):
                    yield option._replace(cost=option.cost + price, unseen=hidden)

    def after(self, account: Account, move: Move) -> Account:
        """Return an account as it is once a move has been made."""
        scene, here = self.scene, account.copy()
        here.counts, here.hand = carried(
            scene.profile, scene.unwatched, account.counts, account.hand, move
        )
        return here

    def other_ends(self, accounts: Iterable[Account], best: Account) -> Iterator[dict[str, int]]:
        """Yield where else the balls can be at the end of a log than the best account has them.

        So in others that are as good, and where a ball may have moved unseen since.
        """
        for account in sorted(accounts, key=lambda one: one.total):
            if account.total <= best.total + _AS_GOOD and account.laid == best.laid:
                yield account.counts
        for move in self.scene.all_moves:
            if move.verb == "take" and self.may_go_unseen(best, move):
                yield self.after(best, move).counts

    def may_go_unseen(self, account: Account, move: Move) -> bool:
        """Whether a ball can make a move to, or from, watched positions that no sensor must show."""
        source, target = ends(self.scene.profile, move)
        if move.verb not in _MOVES_A_BALL or source == target:
            return False
        if {source, target} <= {None, *self.scene.unwatched}:
            return False
        if self._price(account, move) is None:
            return False
        return not any(
            one.certain
            and one.sensor not in account.bad
            # What already reads so does not change.
            and (one.length_ms is not None or account.reads(self.scene, one.sensor) != one.worked)
            for one in self.motion(account, move).passes
        )

    def _too_soon(self, account: Account, sensor: str) -> bool:
        """Whether a sensor has changed so short a time ago that no ball came to rest or left."""
        if self.scene.ordered_only:
            return False
        return self.scene.time - account.edges.get(sensor, float("-inf")) < SHORTEST_REBOUND_MS

    def _unseen(self, account: Account, motion: Motion, index: int) -> float:
        """What speaks against a move first seen at a pass; what lay before the log does not."""
        if self.scene.time - motion.begins[index].typical < self.scene.first_time:
            return BEFORE_THE_LOG
        return unseen_before(motion, index, account.bad)

    def motion(self, account: Account, move: Move) -> Motion:
        """Return a move in time, with as many balls at its ends as the account has there."""
        scene = self.scene
        source, target = ends(scene.profile, move)
        state = account.states.get(move.subject) if move.verb == "set" else None
        leaving = account.counts.get(source or "", 0)
        if source in scene.unwatched:
            leaving = max(leaving, 1)
        there = account.counts.get(target or "", 0)
        if target in scene.unwatched and full(scene.profile, account.counts, target):
            there -= 1
        return scene.motions.between(move, leaving, there, state)

    def _price(self, account: Account, move: Move) -> float | None:
        """Return what a move costs; None where it cannot be made."""
        scene, profile = self.scene, self.scene.profile
        source, target = ends(profile, move)
        price = PRICE[move.verb]
        if move.verb in HANDS and account.handled[0].verb in HANDS:
            price = HAND_AGAIN
        if move.verb == PUT:
            return price if move.subject not in account.laid and account.hand else None
        if move.verb == PICK:
            return price if move.subject in account.laid else None
        if move.verb == "set":
            return price
        if source is not None and not account.counts.get(source):
            # Between places that nothing watches balls get unseen, and from a hand too.
            if source not in scene.unwatched:
                return None
            if any(account.counts.get(name) for name in scene.unwatched):
                price += 0.3
            elif account.hand > 0:
                price += 0.9
            else:
                return None
        if target is not None and full(profile, account.counts, target):
            if elsewhere(profile, scene.unwatched, account.counts, target) is None:
                return None
            price += 0.3
        if move.verb == "feed" and account.hand <= 0:
            # A hand can have taken it from where nothing watches.
            if not any(account.counts.get(name) for name in scene.unwatched - {target}):
                return None
            price += 0.3
        if move.verb == "feed" and sum(account.counts.values()) >= profile.balls.installed:
            price += ONE_TOO_MANY
        if move.verb == "remove" and account.may_rebound_at(scene, source):
            return None
        if move.verb in ("feed", "remove") and not scene.ordered_only:
            before, when = account.handled
            hands = before.verb in ("feed", "remove") and before.verb != move.verb
            kicked = before.verb == "take" and ends(profile, before)[0] == source is not None
            if (hands or kicked) and scene.time - when < HAND_MS:
                price += BOTH_HANDS
        if move.verb == "remove" and any(
            source in scene.kicks.get(coil, ()) for coil in account.kicks
        ):
            price += BOTH_HANDS
        if move.verb == "take" and not scene.ordered_only:
            before, when = account.handled
            if before.verb == "remove" and before.subject == source and scene.time - when < HAND_MS:
                price += BOTH_HANDS
        if move.verb == "take":
            route = profile.row("route", move.subject)
            for name, state in (route.when or {}).items():
                stands = account.states.get(name)
                if name in scene.seen_mechanisms and stands is not None and state not in stands:
                    return None
            if not scene.kicked(route.coil):
                price += NO_KICK
        return price
