"""Which placements are legal in a phase, for any number of balls; and what the eye saw."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Any

import attrs

from simrig.profile.layout import REST, Phase, span
from simrig.profile.machine import Profile
from simrig.world.balls import Fact, Placement, settled

States = tuple[tuple[str, frozenset[str]], ...]


@attrs.frozen(kw_only=True)
class Conditions:
    """What a technician takes for granted about a machine, and what the eye saw.

    ``phase`` and ``balls`` are assumed and may be wrong; ``at`` (balls at
    places), ``spots`` (exactly these) and ``states`` were seen and are certain.
    Without a phase, what was seen stands alone.
    """

    phase: str | None = None
    balls: int | None = None
    at: Mapping[str, int] | None = None
    spots: frozenset[str] | None = None
    states: Mapping[str, str] = attrs.field(factory=dict)

    @property
    def seen_only(self) -> bool:
        """Whether the places were seen, and no phase is assumed."""
        return self.phase is None and (self.at is not None or self.spots is not None)


def legal_placements(
    profile: Profile, conditions: Conditions, *, most: int | None = None
) -> tuple[Placement, ...]:
    """Return every placement that the conditions allow, without doubles.

    Where ``most`` is said, no more of a phase's are looked at. Raises ValueError, in words, for a
    phase or a place that the machine does not have, or a number of balls that does not fit.
    """
    if conditions.seen_only:
        found = _seen(profile, conditions)
    else:
        phase = phase_of(profile, conditions.phase)
        balls = profile.balls.installed if conditions.balls is None else conditions.balls
        found = tuple(
            placement
            for placement in itertools.islice(phase_placements(profile, phase, balls), most)
            if _agrees(profile, placement, conditions)
        )
    return tuple(dict.fromkeys(_with_states(placement, conditions.states) for placement in found))


def phase_of(profile: Profile, name: str | None) -> Phase:
    """Return a phase by its id; without one, the phase called idle, else the first."""
    if not profile.phase:
        raise ValueError(
            "the profile states no phase yet; say where the balls are with --at, or add a [[phase]]: "
            "simrig begin asks for it"
        )
    if name is None:
        idle: Phase | None = profile.row("phase", "idle")
        return idle or profile.phase[0]
    phase: Phase | None = profile.row("phase", name)
    if phase is None:
        known = ", ".join(phase.id for phase in profile.phase)
        raise ValueError(f'there is no phase called "{name}"; this machine has: {known}')
    return phase


def phase_placements(profile: Profile, phase: Phase, balls: int) -> Iterator[Placement]:
    """Yield the legal placements of a phase with this number of balls in the machine.

    With balls missing, the store is short first; what it cannot give is taken
    from the other places in every way.  With balls too many, they lie where the
    profile says, in the first place with room, or, where it does not say,
    anywhere they fit.
    """
    seen: set[Placement] = set()
    for counts in dict.fromkeys(_all_counts(profile, phase)):
        for changed, extra, facts in _with_balls(profile, dict(counts), balls):
            states = mechanism_states(profile, phase)
            for placement in settled(profile, changed):
                made = attrs.evolve(
                    placement,
                    spots=placement.spots | extra,
                    states=states,
                    rests_on=placement.rests_on | facts,
                )
                if made not in seen:
                    seen.add(made)
                    yield made


def mechanism_states(profile: Profile, phase: Phase | None) -> States:
    """Return the states in which mechanisms may stand: as the phase says, else at rest.

    A mechanism whose rest is unknown is left out: it may stand anywhere.
    """
    found: dict[str, frozenset[str]] = {}
    for mechanism in profile.mechanism:
        stated = (phase.states or {}).get(mechanism.id) if phase else None
        if stated is not None:
            found[mechanism.id] = frozenset((stated,) if isinstance(stated, str) else stated)
        elif mechanism.rest is not None:
            found[mechanism.id] = frozenset((mechanism.rest,))
    return tuple(sorted(found.items()))


def _all_counts(profile: Profile, phase: Phase) -> Iterator[tuple[tuple[str, int], ...]]:
    for row in phase.placements:
        yield from row_counts(profile, row)


def row_counts(profile: Profile, row: Mapping[str, Any]) -> Iterator[tuple[tuple[str, int], ...]]:
    """Yield the numbers of balls at each place that one row of a phase allows, all balls there."""
    spans = [
        (0, profile.row("place", name).capacity) if balls == REST else span(balls)
        for name, balls in row.items()
    ]
    for numbers in _adding_up(spans, profile.balls.installed):
        yield tuple((name, number) for name, number in zip(row, numbers, strict=True) if number)


def _adding_up(spans: list[tuple[int, int]], total: int) -> Iterator[tuple[int, ...]]:
    """Yield one number from each range, in every way that adds up to a total."""
    if not spans:
        if total == 0:
            yield ()
        return
    (low, high), others = spans[0], spans[1:]
    least, most = sum(low for low, _ in others), sum(high for _, high in others)
    for number in range(max(low, total - most), min(high, total - least) + 1):
        for numbers in _adding_up(others, total - number):
            yield (number, *numbers)


def _with_balls(
    profile: Profile, counts: dict[str, int], balls: int
) -> Iterator[tuple[dict[str, int], frozenset[str], frozenset[Fact]]]:
    difference = balls - sum(counts.values())
    if difference < 0:
        for changed, facts in _short(profile, counts, -difference):
            yield changed, frozenset(), facts
    elif difference > 0:
        yield from _extra(profile, counts, difference)
    else:
        yield counts, frozenset(), frozenset()


def _short(
    profile: Profile, counts: dict[str, int], missing: int
) -> Iterator[tuple[dict[str, int], frozenset[Fact]]]:
    store = profile.balls.store
    facts: frozenset[Fact] = frozenset()
    kept = dict(counts)
    if store is None:
        facts = frozenset((Fact("balls", "", "store"),))
    else:
        given = min(missing, kept.get(store, 0))
        if given:
            kept[store] -= given
            missing -= given
    for taken in itertools.product(*(range(min(here, missing) + 1) for here in kept.values())):
        if sum(taken) == missing:
            yield (
                {name: here - less for (name, here), less in zip(kept.items(), taken, strict=True)},
                facts,
            )


def _extra(
    profile: Profile, counts: dict[str, int], extra: int
) -> Iterator[tuple[dict[str, int], frozenset[str], frozenset[Fact]]]:
    stated = profile.balls.extra
    if stated:
        changed, spots = dict(counts), set[str]()
        for _ in range(extra):
            room = next((name for name in stated if _has_room(profile, changed, spots, name)), None)
            if room is None:
                return
            if "." in room:
                spots.add(room)
            else:
                changed[room] = changed.get(room, 0) + 1
        yield changed, frozenset(spots), frozenset()
        return
    facts = frozenset((Fact("balls", "", "extra"),))
    places = [place.id for place in profile.place if not place.captive]
    stacked = [f"{place.id}.jam" for place in profile.place if place.jam]
    for chosen in itertools.combinations_with_replacement([*places, *stacked], extra):
        changed, above = dict(counts), [name for name in chosen if name in stacked]
        for name in chosen:
            if name not in stacked:
                changed[name] = changed.get(name, 0) + 1
        if len(set(above)) == len(above) and all(
            number <= profile.row("place", name).capacity for name, number in changed.items()
        ):
            yield changed, frozenset(above), facts


def _has_room(profile: Profile, counts: Mapping[str, int], spots: set[str], name: str) -> bool:
    if "." in name:
        return name not in spots
    capacity: int = profile.row("place", name).capacity
    return counts.get(name, 0) < capacity


def _seen(profile: Profile, conditions: Conditions) -> tuple[Placement, ...]:
    states = mechanism_states(profile, None)
    if conditions.spots is not None:
        ways = [Placement(spots=conditions.spots)]
    else:
        places, routes = {}, []
        for name, number in (conditions.at or {}).items():
            if profile.row("route", name) is not None:
                routes.append((name, number))
            else:
                places[name] = number
        ways = [
            attrs.evolve(placement, spots=placement.spots | spots)
            for placement in settled(profile, places)
            for spots in _on_routes(profile, routes)
        ]
    loose = 0 if conditions.balls is None else conditions.balls - ways[0].balls
    if loose < 0:
        raise ValueError(
            f"{ways[0].balls} balls are named, but only {conditions.balls} are in the machine"
        )
    field = next((place for place in profile.place if place.open_area), None)
    found = []
    for placement in ways:
        spots = set(placement.spots)
        if field is not None:
            free = (f"{field.id}.{number}" for number in range(1, field.capacity + 1))
            spots.update(itertools.islice((spot for spot in free if spot not in spots), loose))
        found.append(
            attrs.evolve(
                placement,
                spots=frozenset(spots),
                states=states,
                missing=loose if field is None else 0,
            )
        )
    return tuple(found)


def _on_routes(profile: Profile, routes: list[tuple[str, int]]) -> Iterator[frozenset[str]]:
    choices = []
    for name, number in routes:
        points = [spot.id for spot in profile.spots.values() if spot.route == name]
        if number > len(points):
            raise ValueError(f"{name} has room for {len(points)} balls on the way; found {number}")
        choices.append([frozenset(way) for way in itertools.combinations(points, number)])
    for combination in itertools.product(*choices):
        yield frozenset().union(*combination)


def _agrees(profile: Profile, placement: Placement, conditions: Conditions) -> bool:
    if conditions.spots is not None and placement.spots != conditions.spots:
        return False
    for name, number in (conditions.at or {}).items():
        here = sum(
            1
            for spot in placement.spots
            if name in (profile.spots[spot].place, profile.spots[spot].route)
        )
        if here != number:
            return False
    return True


def _with_states(placement: Placement, seen: Mapping[str, str]) -> Placement:
    if not seen:
        return placement
    states = dict(placement.states) | {name: frozenset((state,)) for name, state in seen.items()}
    return attrs.evolve(placement, states=tuple(states.items()))
