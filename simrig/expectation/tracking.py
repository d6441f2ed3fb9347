"""Accounts of a log, kept side by side: each change is a ball on its way, a new move, or odd.

Where a change has a plain explanation the cheap accounts go on with it.  Where the
cheapest account has had to explain something away, the stretch since everything was
last at rest is gone through again with every explanation, and with leads exchanged.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

from simrig.expectation.accounts import Account
from simrig.expectation.anomalies import Anomaly
from simrig.expectation.movers import OVERDUE, PENDING, Mover
from simrig.expectation.options import Option, Options, Width
from simrig.expectation.resting import look_at_rest
from simrig.expectation.scene import Saved, Scene
from simrig.expectation.transfers import BACK, PICK, PUT, carried
from simrig.expectation.weights import PRICE, SWAP
from simrig.scan.events import Event
from simrig.world.moves import Move

_WORTH_A_SEARCH: Final = 1.9
_LONGEST: Final = 300
_PAUSE_MS: Final = 1000.0
_ORDERED_PAUSE: Final = 10
_SEARCHES: Final = 300
_STRETCHES: Final = 3
_FURTHEST: Final = 120
"""How far a search goes back: stretches between rests, and moments in all."""


NARROW: Final = Width(8, 3.4, False)
WIDE: Final = Width(64, 8.0, True)
CALM: Final = Width(3, 0.95, False)
OPENING: Final = Width(48, 3.4, False)


class _Stretch(NamedTuple):
    """What lies between two rests: the accounts at its start, the log so far, what came then."""

    starts: list[Account]
    scene: Saved
    groups: list[list[Event]]


class Tracker:
    """Follows the balls through a log, group by group of simultaneous changes.

    For so many events as ``opening`` says it keeps more accounts: where the balls lay
    at the start shows by and by.
    """

    def __init__(self, scene: Scene, accounts: Sequence[Account], *, opening: int) -> None:
        self.scene = scene
        self.options = Options(scene)
        self._opening = opening
        self.accounts = list(accounts)
        self._groups: list[list[Event]] = []
        self._saved = [account.copy() for account in self.accounts]
        self._scene_saved = scene.saved()
        self._earlier: deque[_Stretch] = deque(maxlen=_STRETCHES)
        self._events = 0
        self._searches = 0

    @property
    def best(self) -> Account:
        """The cheapest account; of equally cheap ones that in which fewest balls are awaited."""
        return min(self.accounts, key=lambda account: (round(account.total, 6), account.awaits))

    def feed(self, group: list[Event]) -> None:
        """Take the changes of one moment."""
        self._pause(group[0].time_ms)
        self._groups.append(group)
        self._take(group, OPENING if self._events < self._opening else NARROW)
        self._events += len(group)

    def _pause(self, time: float | None) -> None:
        """Look back where nothing has happened for a while, and every ball lies."""
        scene = self.scene
        if time is None or scene.ordered_only:
            paused = len(self._groups) >= _ORDERED_PAUSE
        else:
            paused = time - scene.time >= _PAUSE_MS
            if paused:
                for account in self.accounts:
                    account.advance(scene, time)
        best = self.best
        if (paused and best.quiet) or len(self._groups) > _LONGEST:
            self._look_back()

    def finish(self) -> Account:
        """Return the cheapest account at the end of the log."""
        for account in self.accounts:
            account.advance(self.scene, self.scene.time)
        self._look_back()
        best = self.best
        if self.scene.ordered_only:
            self._end_of_order(best)
        for sensor in list(best.flickers):
            best.tell_flicker(self.scene, sensor)
        return best

    def _end_of_order(self, account: Account) -> None:
        """Without times, a ball is overdue once another has gone on after it."""
        last = max((mover.last for mover in account.movers), default=0.0)
        for mover in account.movers:
            if mover.last < last:
                for index, one in enumerate(mover.motion.passes):
                    if mover.state[index] == PENDING and one.certain:
                        worked = account.reads(self.scene, one.sensor)
                        if worked is not None and worked != one.worked:
                            mover.state[index] = OVERDUE
                mover.trouble = mover.cost()

    # Looking back.

    def _look_back(self) -> None:
        for account in self.accounts:
            look_at_rest(account, self.scene)
        best = self.best
        before = min(account.worry for account in self._saved)
        if best.worry - before >= _WORTH_A_SEARCH and self._searches < _SEARCHES:
            self._searches += 1
            self._search(best)
            if not self.best.quiet and len(self._groups) <= _LONGEST:
                # What was found instead has yet to prove true.
                return
        calm = self.best.worry - before < 0.1
        dearest = self.best.total + (CALM.dearer if calm else NARROW.dearer + 1.0)
        self.accounts.sort(key=lambda account: account.total)
        self.accounts = [one for one in self.accounts if one.total <= dearest]
        if calm and self._events >= self._opening:
            del self.accounts[CALM.accounts :]
        self._earlier.append(_Stretch(self._saved, self._scene_saved, list(self._groups)))
        self._saved = [account.copy() for account in self.accounts]
        self._scene_saved = self.scene.saved()
        self._groups.clear()

    def _search(self, best: Account) -> None:
        """Go through the stretch again with every explanation, then with leads exchanged."""
        now = self.scene.saved()
        groups = list(self._groups)
        suspects = self._suspects(best, groups)
        starts = sorted(self._saved, key=lambda account: account.total)[: CALM.accounts]
        found = [*self.accounts, *self._again(starts, groups, WIDE)]
        least = min(account.total for account in found)
        start = min(self._saved, key=lambda account: account.total)
        if least - start.total >= _WORTH_A_SEARCH:
            found += self._from_earlier(groups, least)
            least = min(account.total for account in found)
        for one, other in self._pairs(suspects, groups, start):
            if least - start.total < SWAP - 1.0:
                break
            crossed = self._crossed(start, one, other, groups)
            if crossed is None:
                continue
            ended = self._again([crossed], groups, NARROW)
            found += [account for account in ended if account.total <= least + 1.0]
            least = min(least, *(account.total for account in ended))
        self.scene.restore(now)
        self.accounts = _distinct(found, WIDE)

    def _from_earlier(self, groups: list[list[Event]], least: float) -> list[Account]:
        """Go further back: what is odd now may have begun where all seemed plain."""
        for stretch in reversed(self._earlier):
            groups = [*stretch.groups, *groups]
            if len(groups) > _FURTHEST:
                break
            starts = sorted(stretch.starts, key=lambda account: account.total)[: CALM.accounts]
            ended = self._again(starts, groups, WIDE, stretch.scene)
            if min(account.total for account in ended) <= least - 1.0:
                return ended
        return []

    def _again(
        self,
        accounts: Iterable[Account],
        groups: list[list[Event]],
        width: Width,
        scene: Saved | None = None,
    ) -> list[Account]:
        self.scene.restore(scene or self._scene_saved)
        kept, self.accounts = self.accounts, [account.copy() for account in accounts]
        for group in groups:
            self._take(group, width)
        found, self.accounts = self.accounts, kept
        return found

    def _suspects(self, best: Account, groups: list[list[Event]]) -> list[str]:
        told = best.told()
        before = len(min(self._saved, key=lambda account: account.total).told())
        names = [one.sensor for one in told[min(before, max(0, len(told) - 6)) :]]
        names += list(best.odd) + list(best.flickers)
        return list(dict.fromkeys(names))

    def _pairs(
        self, suspects: list[str], groups: list[list[Event]], start: Account
    ) -> Iterator[tuple[str, str]]:
        judged = self.scene.contacts.closed_when_worked
        moved = [event.signal for group in groups for event in group if event.signal in judged]
        others = list(dict.fromkeys([*suspects, *moved]))[:24]
        seen = set()
        for one in suspects[:6]:
            for other in others:
                pair = (min(one, other), max(one, other))
                if one != other and pair not in seen and one not in start.swap:
                    seen.add(pair)
                    if other not in start.swap:
                        yield pair

    def _crossed(
        self, start: Account, one: str, other: str, groups: list[list[Event]]
    ) -> Account | None:
        """Return the account with two leads exchanged; None where it was not so before."""
        crossed = start.copy()
        self.scene.restore(self._scene_saved)
        crossed.swap = {**start.swap, one: other, other: one}
        crossed.cost += SWAP
        for sensor in (one, other):
            reads = crossed.reads(self.scene, sensor)
            if reads is not None and reads != (sensor in crossed.belief):
                return None
            crossed.odd.pop(sensor, None)
        first = next(
            (event for group in groups for event in group if event.signal in (one, other)), None
        )
        crossed.note(
            Anomaly(
                time_ms=None if first is None or self.scene.ordered_only else first.time_ms,
                sensor=one,
                kind="swapped",
                why=f"the leads of {one} and {other} are exchanged: each reads what the other"
                " must read",
                line=0 if first is None else first.line,
                others=(other,),
            )
        )
        return crossed

    # One moment.

    def _take(self, group: list[Event], width: Width) -> None:
        scene = self.scene
        time = group[0].time_ms
        scene.time = scene.time + 1 if time is None or scene.ordered_only else time
        for account in self.accounts:
            account.advance(scene, scene.time)
        changed = []
        for event in group:
            if event.reading in ("on", "off"):
                if event.reading == "on":
                    scene.tells_of_coils, scene.coils[event.signal] = True, scene.time
                    for account in self.accounts:
                        account.kicked(scene, event.signal)
                continue
            closed = event.reading == "closed"
            before = scene.closed.get(event.signal)
            if before == closed or event.signal not in scene.contacts.closed_when_worked:
                if event.signal in scene.contacts.open_to_phantoms:
                    scene.closed[event.signal] = closed
                continue
            changed.append((event, before is None))
            if before is not None:
                scene.changed.add(event.signal)
        if len(changed) > 1:
            changed.sort(key=lambda one: scene.order(one[0].signal, one[0].reading == "closed"))
        if scene.contacts.open_to_phantoms:
            self._take_with_phantoms(changed, width)
            return
        for event, first in changed:
            scene.closed[event.signal] = event.reading == "closed"
            scene.line = event.line
            self._change(event.signal, first, False, width)

    def _take_with_phantoms(self, changed: list[tuple[Event, bool]], width: Width) -> None:
        scene = self.scene
        before = scene.masked
        for event, _ in changed:
            scene.closed[event.signal] = event.reading == "closed"
        scene.look_for_phantoms()
        for event, first in changed:
            closed = event.reading == "closed"
            scene.line = event.line
            soft = event.signal in (scene.masked if closed else before)
            self._change(event.signal, first, soft, width)

    def _change(self, address: str, first: bool, soft: bool, width: Width) -> None:
        scene = self.scene
        found: list[tuple[float, float, Account, Option, str, bool]] = []
        kept: list[Account] = []
        for account in self.accounts:
            sensor = account.swap.get(address, address)
            worked = scene.contacts.worked(sensor, scene.closed[address])
            if first and worked == (sensor in account.belief):
                kept.append(account)
                continue
            made = soft and self._others_make_it(account, address, sensor)
            for option in self.options.of(account, sensor, worked, made, width):
                total = account.total + option.cost
                found.append((total + option.doubt, total, account, option, sensor, made))
        if found:
            least = min(
                min(one[0] for one in found),
                min((account.total for account in kept), default=float("inf")),
            )
            chosen = [one for one in found if one[0] <= least + width.dearer]
            chosen.sort(key=lambda one: one[0])
            chosen = chosen[: width.accounts]
            left: dict[int, int] = {}
            for one in chosen:
                left[id(one[2])] = left.get(id(one[2]), 0) + 1
            for _, _, account, way, sensor, soft in chosen:
                left[id(account)] -= 1
                # The last to use an account may change it in place.
                here = account if not left[id(account)] else account.copy()
                self._apply(here, way, sensor, soft)
                kept.append(here)
        self.accounts = kept if len(kept) < 2 else _distinct(kept, width)

    def _others_make_it(self, account: Account, address: str, sensor: str) -> bool:
        """Whether a reading can be a phantom that comes, or goes, in this account.

        A contact that is closed reads closed whatever the others do: where it is believed
        to be, a reading that opens is its own.
        """
        if self.scene.closed[address]:
            return True
        return (sensor in account.belief) != self.scene.contacts.closed_when_worked[sensor]

    def _apply(self, account: Account, option: Option, sensor: str, soft: bool) -> None:
        scene, time = self.scene, self.scene.time
        if option.move is None and option.mover < 0:
            if option.begins:
                account.open_odd(scene, sensor, time, soft=soft)
            else:
                account.close_odd(scene, sensor, time)
            return
        if option.unseen is not None:
            self._make(account, option.unseen, 0.0)
        if option.move is not None:
            motion = self.options.motion(account, option.move)
            mover = Mover(motion, float("-inf"), time, scene.delay, scene.ordered_only, account.bad)
            mover.refresh()
            account.movers.append(mover)
            self._make(account, option.move, option.cost)
        else:
            mover = account.movers[option.mover]
        account.begin(scene, mover, option.number, option.begins, time)

    def _make(self, account: Account, move: Move, price: float) -> None:
        # What speaks against a move counts, and that it is one.
        account.cost += price
        account.fares += PRICE[move.verb] if move.verb in ("feed", "take", "set") else 0.0
        account.handled = (move, self.scene.time)
        if self.scene.keep_moves:
            account.moves = ((self.scene.time, move), account.moves)
        if move.verb == PUT:
            account.laid |= {move.subject}
            account.hand -= 1
            return
        if move.verb == PICK:
            account.laid -= {move.subject}
            account.hand += 1
            return
        if move.verb == "set":
            account.states = {**account.states, move.subject: frozenset((str(move.target),))}
            return
        if move.verb == "take" and account.kicks:
            account.kicks.pop(self.scene.profile.row("route", move.subject).coil, None)
        account.counts, account.hand = carried(
            self.scene.profile, self.scene.unwatched, account.counts, account.hand, move
        )
        if move.verb == BACK:
            place = self.scene.profile.row("place", move.subject)
            account.note(
                Anomaly(
                    time_ms=None if self.scene.ordered_only else self.scene.time,
                    sensor=self._seen_first(account),
                    kind="returned",
                    why=f"a ball came back out of the {place.title} where it went in; it cannot"
                    " leave that way",
                    line=self.scene.line,
                )
            )

    def _seen_first(self, account: Account) -> str:
        return account.movers[-1].motion.passes[0].sensor


def _distinct(accounts: Iterable[Account], width: Width) -> list[Account]:
    """Of accounts that will go on alike keep the cheapest; of the rest the cheapest few."""
    found: dict[object, Account] = {}
    for account in sorted(accounts, key=lambda one: one.total):
        found.setdefault(account.key(), account)
    kept = list(found.values())[: width.accounts]
    return [one for one in kept if one.total <= kept[0].total + width.dearer + 0.5]
