"""Lays the steps of a plan, one after the other, each worked out through the chain of readings."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import attrs

from simrig.expectation.contacts import Contacts
from simrig.expectation.flow import moved
from simrig.expectation.prediction import watched
from simrig.profile.keys import NONE
from simrig.profile.layout import Place, Route
from simrig.profile.machine import Profile
from simrig.proving import words
from simrig.proving.step import (
    AT_REST,
    DEAD,
    LIVE,
    Deed,
    Step,
    Worked,
    passing_ways,
    readings_of,
    resting_ways,
    worked_by,
)
from simrig.proving.ways import captive_spot, ends, way_home
from simrig.scan.scanner import Links, links
from simrig.world.balls import Placement, count_by_place
from simrig.world.moves import IllegalMoveError, Move, start
from simrig.world.phases import Conditions

MOST_STEPS: Final = 400


class Maker:
    """Lays step after step, keeping where the balls are and what has been seen."""

    def __init__(
        self, profile: Profile, about: frozenset[str] | None, balls: int, conditions: Conditions
    ) -> None:
        self.profile = profile
        self.about = about
        self.at_hand = balls
        self.table: Links = links(profile)
        empty = start(profile, Placement(spots=frozenset()))
        stated = {name: frozenset((state,)) for name, state in conditions.states.items()}
        self.empty = attrs.evolve(empty, states=tuple({**dict(empty.states), **stated}.items()))
        self.contacts = Contacts(profile, self.table)
        self.here = self.empty
        self.steps: list[Step] = []
        self.deeds: list[Deed] = []
        self.balls = [sensor.id for sensor in watched(profile)]
        self.resting = {
            sensor.id
            for spot, sensors in profile.covering.items()
            if profile.spots[spot].resting and not captive_spot(profile, spot)
            for sensor in sensors
        }
        self.seen: dict[str, set[str]] = {}
        self.coils = ""

    def proven(self) -> list[str]:
        """The ball sensors that have been seen both ways, those at a position with a ball at rest."""
        return [name for name in self.balls if len(self.seen.get(name, ())) == 2]

    def make(self) -> None:
        """By hand with the coils dead first, then by the machine itself: one change of bench."""
        self.lay(words.READ_EMPTY, Deed(after=self.empty))
        store = self.store()
        for place in ([store] if store else []) + [
            place for place in self.profile.place if place is not store
        ]:
            watching = self.of_place(place)
            if place.open_area or not watching or not self.wanted(watching):
                continue
            if place.captive:
                self.push_captive(place)
            else:
                self.fill_and_empty(place)
        self.cross()
        self.all_back(store)
        self.try_interlock()
        self.by_itself(store)

    def wanted(self, sensors: Iterable[str]) -> bool:
        """Tell whether the plan is about any of these sensors."""
        return self.about is None or bool(self.about & set(sensors))

    def store(self) -> Place | None:
        """The place into which balls are fed one by one."""
        stated = self.profile.row("place", self.profile.balls.store)
        places = (
            [stated]
            if stated is not None
            else [place for place in self.profile.place if place.kind == "trough"]
        )
        return next((one for one in places if not one.open_area and not one.captive), None)

    def of_place(self, place: Place) -> set[str]:
        """The sensors at a place's positions and on the ways out of it."""
        ways = {route.id for route in self.profile.route if route.from_ == place.id}
        return {
            sensor.id
            for name, sensors in self.profile.covering.items()
            for sensor in sensors
            if self.profile.spots[name].place == place.id or self.profile.spots[name].route in ways
        }

    def unseen_at(self, spot: str) -> bool:
        """Tell whether a sensor at a position has not been seen both ways yet."""
        return any(
            len(self.seen.get(sensor.id, ())) < 2
            and sensor.id in self.balls
            and self.wanted((sensor.id,))
            for sensor in self.profile.covering[spot]
        )

    def lay(
        self,
        do: str,
        deed: Deed,
        *,
        expect: str = "",
        coils: str = DEAD,
        coil: str | None = None,
        loose: bool = False,
    ) -> None:
        """Lay one step: work out what is seen, and what it proves.

        A ball that is ``loose`` may pass any sensor that balls only pass.
        """
        if len(self.steps) >= MOST_STEPS:
            return
        worked, rests = worked_by(self.profile, self.here, deed)
        _, made = readings_of(self.profile, self.table, self.here, worked)
        _, bare = readings_of(
            self.profile, self.table, self.here, [one for one in worked if one.certain]
        )
        before = self.proven()
        for name, way in passing_ways(worked, made):
            # A ball that rolls by is not one that lies; one that a hand holds there is.
            if name not in self.resting or deed.by_hand:
                self.seen.setdefault(name, set()).add(way)
        self.here = deed.after
        after, _ = readings_of(self.profile, self.table, self.here, ())
        for name, way in resting_ways(self.contacts, self.here, after):
            if name in self.resting or way == AT_REST:
                self.seen.setdefault(name, set()).add(way)
        reads = {name: after[name] for name in self.balls}
        step = Step(
            do=do,
            expect=expect or words.expected(self.profile, made, reads, first=not self.steps),
            coils=coils,
            coil=coil,
            changes=tuple(made),
            reads=reads,
            rests=rests,
            unsure=frozenset(one.sensor for one in (*made, *bare) if not one.certain)
            - {one.sensor for one in worked}
            | (frozenset(self.balls) - self.resting if loose else frozenset()),
            proves=tuple(name for name in self.proven() if name not in before),
            caution=words.caution(self.profile, self.coils, coils, first=not self.steps),
        )
        self.steps.append(step)
        self.deeds.append(deed)
        self.coils = coils

    def move(
        self,
        do: str,
        *moves: Move,
        coils: str = DEAD,
        coil: str | None = None,
        loose: bool = False,
    ) -> bool:
        """Lay a step of moves; False, and nothing laid, where they cannot be made."""
        here = self.here
        try:
            for move in moves:
                here = moved(self.profile, here, move)
        except IllegalMoveError:
            return False
        self.lay(do, Deed(moves=moves, after=here), coils=coils, coil=coil, loose=loose)
        return True

    def most(self, place: Place) -> int:
        """How many balls the place takes; for one repair, as many as reach the last concerned."""
        most = min(place.capacity, self.at_hand)
        if self.about is None or place.position_1 is None:
            return most
        positions = [
            spot.position or most
            for name, spot in self.profile.spots.items()
            if spot.place == place.id
            and any(one.id in self.about for one in self.profile.covering.get(name, ()))
        ]
        return min(most, max(positions, default=1))

    def feed(self, place: Place) -> int:
        """Feed balls into a place one by one; return how many went in."""
        fed = 0
        for number in range(1, self.most(place) + 1):
            if not self.move(words.feed(place, number), Move(verb="feed", subject=place.id)):
                break
            fed = number
        return fed

    def fill_and_empty(self, place: Place) -> None:
        """Fill a place by hand, ball by ball, and empty it again."""
        self.feed(place)
        jam = f"{place.id}.jam"
        if place.jam and self.wanted(one.id for one in self.profile.covering.get(jam, ())):
            self.by_hand(words.hold_in_jam(place), (jam,))
        while count_by_place(self.profile, self.here).get(place.id) and self.move(
            words.take_out(place), Move(verb="remove", subject=place.id)
        ):
            pass

    def all_back(self, store: Place | None) -> None:
        """Put every ball back: where a coil empties a place, there too, the rest at home."""
        left = self.at_hand
        moves: list[Move] = []
        lying: list[str] = []
        for place in self.profile.place:
            kicked = any(route.coil not in (None, NONE) for route in self.ways(place))
            if place is store or place.captive or place.open_area or not kicked:
                continue
            if self.about is not None and not self.wanted(self.of_place(place)):
                continue
            here = min(place.capacity, left - 1)
            if here > 0:
                moves += [Move(verb="feed", subject=place.id)] * here
                lying.append(words.lying(place, here))
                left -= here
        if store is not None:
            home = min(left, store.capacity)
            moves += [Move(verb="feed", subject=store.id)] * home
            lying.append(words.lying(store, home))
        if moves:
            self.move(words.all_back(lying), *moves)

    def try_interlock(self) -> None:
        """Lay the step that tries the interlock."""
        interlock = self.profile.interlock
        if interlock is not None and interlock.fitted and not self.about:
            for do, expect in words.INTERLOCK:
                self.lay(do, Deed(after=self.here), expect=expect, coils=LIVE)

    def by_itself(self, store: Place | None) -> None:
        """Have every coil that moves a ball move one, and each ball served and come home."""
        for place in self.profile.place:
            if place is store or place.open_area or place.captive:
                continue
            for _ in range(count_by_place(self.profile, self.here).get(place.id, 0)):
                ways = [route for route in self.ways(place) if route.coil not in (None, NONE)]
                if not any(self.kick(route, store) for route in ways):
                    break
        if store is None:
            return
        kicked = [route for route in self.ways(store) if route.coil not in (None, NONE)]
        usual = next((one for one in kicked if one.coil == self._serving()), None)
        turns = [route for route in kicked if route is not usual]
        if usual is not None or kicked:
            balls = count_by_place(self.profile, self.here).get(store.id, 0)
            turns += [usual or kicked[0]] * (balls if self.about is None else 1)
        for route in turns:
            self.kick(route, store)

    def ways(self, place: Place) -> list[Route]:
        """The ways out of a place."""
        return [route for route in self.profile.route if route.from_ == place.id]

    def _serving(self) -> str | None:
        controller = self.profile.controller
        return None if controller is None else controller.serve_coil

    def kick(self, route: Route, store: Place | None) -> bool:
        """Have one ball kicked, and let it come home; False where that cannot be."""
        self.stand(route)
        target = route.to[0]
        done = self.move(
            words.kick(self.profile, route),
            Move(verb="take", subject=route.id, target=target if len(route.to) > 1 else None),
            coils=LIVE,
            coil=route.coil,
        )
        if done and (store is None or target != store.id):
            self.come_home(target, store)
        return done

    def come_home(self, place: str, store: Place | None) -> None:
        """Let a ball go on until it is home; where no way leads there, take it by hand."""
        path = None if store is None else way_home(self.profile, place, store.id)
        if path:
            for route in path:
                self.stand(route)
            moves = [
                Move(verb="take", subject=route.id, target=end if len(route.to) > 1 else None)
                for route, end in zip(path, ends(path, str(store and store.id)), strict=True)
            ]
            first = path[0].title if path[0].coil not in (None, NONE) else ""
            if self.move(words.come_home(first), *moves, coils=LIVE, loose=True):
                return
        row = self.profile.row("place", place)
        self.move(words.take_back(row), Move(verb="remove", subject=place))

    def stand(self, route: Route) -> None:
        """Bring the mechanisms into the states that a route needs."""
        for name, state in (route.when or {}).items():
            move = Move(verb="set", subject=name, target=state)
            if dict(self.here.states).get(name) != frozenset((state,)):
                self.move(words.stand(name, state), move, coils=self.coils)

    def by_hand(self, do: str, spots: Iterable[str]) -> None:
        """Hold a ball at one spot after the other, and take it away at the end."""
        worked: list[Worked] = []
        here: list[str] = []
        for spot in (*spots, ""):
            there = [one.id for one in self.profile.covering.get(spot, ())]
            worked += [Worked(sensor=name, worked=False) for name in here if name not in there]
            worked += [Worked(sensor=name, worked=True) for name in there if name not in here]
            here = there
        if worked:
            self.lay(do, Deed(by_hand=tuple(worked), after=self.here))

    def cross(self) -> None:
        """Roll a ball by hand along each way with a sensor that has not been seen both ways."""
        for route in self.profile.route:
            along = [f"{route.id}.{number}" for number in range(1, (route.points or 0) + 1)]
            watching = [spot for spot in along if spot in self.profile.covering]
            if any(self.unseen_at(spot) for spot in watching):
                self.by_hand(words.across(self.profile, route, watching), watching)
        for spot in self.profile.covering:
            if self.unseen_at(spot):
                self.by_hand(words.hold_at(self.profile, spot), (spot,))

    def push_captive(self, place: Place) -> None:
        """Push the captive ball away from where it rests, and let it come back."""
        resting = [name for name, value in self._captive(place).items() if value]
        other = [name for name, value in self._captive(place).items() if not value]
        if not resting and not other:
            return
        pushed = [
            *[Worked(sensor=name, worked=False) for name in resting],
            *[Worked(sensor=name, worked=True) for name in other],
            *[Worked(sensor=name, worked=False) for name in other],
            *[Worked(sensor=name, worked=True) for name in resting],
        ]
        self.lay(words.push_captive(place), Deed(by_hand=tuple(pushed), after=self.here))

    def _captive(self, place: Place) -> dict[str, bool]:
        from simrig.expectation.timeline import worked_at_rest

        now = worked_at_rest(self.profile, self.here)
        return {
            sensor.id: value
            for spot, sensors in self.profile.covering.items()
            if self.profile.spots[spot].place == place.id
            for sensor in sensors
            if (value := now[sensor.id]) is not None
        }
