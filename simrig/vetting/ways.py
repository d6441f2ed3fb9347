"""Rules over routes and phases: what balls can reach, and what phases say of it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Final

from simrig.profile.keys import NONE
from simrig.profile.layout import REST, span
from simrig.profile.naming import listed
from simrig.vetting.rule import Found, Rule
from simrig.vetting.subject import Subject
from simrig.world.phases import phase_placements, row_counts

_BY_THEMSELVES: Final = ("drop target", "door")
"""Mechanisms that balls or people move."""


def never_reached(subject: Subject) -> Iterator[Found]:
    for place in subject.unreached:
        yield Found(
            path=("place", subject.index("place", place.id), "id"),
            message=f"no run of routes brings a ball to {place.id}; add the route that ends there",
            about=(place.id,),
        )


def no_way_out(subject: Subject) -> Iterator[Found]:
    for name in _dead_ends(subject):
        yield Found(
            path=("place", subject.index("place", name), "id"),
            message=f"no route leaves {name}: a ball there stays for good; add the way out",
            about=(name,),
        )


def _dead_ends(subject: Subject) -> tuple[str, ...]:
    if not subject.profile.route or not subject.home:
        return ()
    met = subject.beyond(subject.home)
    return tuple(
        place.id
        for place in subject.profile.place
        if place.id in met and not place.captive and not subject.ways.get(place.id)
    )


def no_way_home(subject: Subject) -> Iterator[Found]:
    if not subject.profile.route or not subject.home:
        return
    ends = frozenset(_dead_ends(subject))
    met = subject.beyond(subject.home)
    stuck = [
        place.id
        for place in subject.profile.place
        if not place.captive
        and place.id in met - subject.home
        and not subject.beyond(frozenset((place.id,))) & (subject.home | ends)
    ]
    if stuck:
        yield Found(
            path=("place", subject.index("place", stuck[0]), "id"),
            message=f"from {listed(stuck)} routes lead on, but never back to "
            f"{listed(sorted(subject.home))}; add the way home",
            about=tuple(stuck),
        )


def coil_contradicts(subject: Subject) -> Iterator[Found]:
    for index, route in enumerate(subject.profile.route):
        if route.by == "coil" and route.coil == NONE:
            message = 'found "none"; the route is taken by coil; name the coil, or mend by'
        elif route.by != "coil" and route.coil not in (None, NONE):
            message = (
                f'found "{route.coil}"; the ball moves by {route.by} here; mend one of the two'
            )
        else:
            continue
        yield Found(path=("route", index, "coil"), message=message, about=(route.id,))


def never_set(subject: Subject) -> Iterator[Found]:
    for index, route in enumerate(subject.profile.route):
        for name, state in (route.when or {}).items():
            mechanism = subject.profile.row("mechanism", name)
            if (
                mechanism.kind not in _BY_THEMSELVES
                and mechanism.rest not in (None, state)
                and mechanism.coil == NONE
                and mechanism.reset_coil == NONE
            ):
                yield Found(
                    path=("route", index, "when", name),
                    message=f"{name} stands {mechanism.rest} at rest and has no coil: it never "
                    f"stands {state}; name its coil, or mend the state",
                    about=(route.id, name),
                )


def points_too_far(subject: Subject) -> Iterator[Found]:
    for index, route in enumerate(subject.profile.route):
        points, apart, length = route.points or 0, route.spacing_mm, route.length_mm
        if apart is not None and length is not None and (points - 1) * apart > length:
            yield Found(
                path=("route", index, "spacing_mm"),
                message=f"found {apart:g}; {points} points so far apart do not fit on a way of "
                f"{length:g} mm; mend one of them",
                about=(route.id,),
            )


def phase_unreachable(subject: Subject) -> Iterator[Found]:
    reach = subject.reach
    if reach is None:
        return
    lost = {place.id for place in subject.unreached}
    for index, phase in enumerate(subject.profile.phase):
        for number, row in enumerate(phase.placements):
            ways = list(_row(subject, index, number))
            if not ways or lost & set(row):
                continue
            if not any(
                reach.holds(counts, states)
                for counts in ways
                for states in _combinations(subject.states(phase), reach.composed)
            ):
                yield Found(
                    path=("phase", index, "placements", number),
                    message="no run of moves from the first phase makes the balls lie so; add the "
                    "route that is missing, or mend the row",
                    about=(phase.id,),
                )


def _combinations(
    states: Mapping[str, tuple[str, ...]], composed: bool
) -> Iterator[dict[str, str]]:
    """The ways for mechanisms to stand; where all are reachable, one stands for the rest."""
    every = itertools.product(*states.values())
    for combination in itertools.islice(every, 1) if composed else every:
        yield dict(zip(states, combination, strict=True))


def _row(subject: Subject, index: int, number: int) -> Iterator[dict[str, int]]:
    row = subject.profile.phase[index].placements[number]
    yield from (dict(counts) for counts in row_counts(subject.profile, row))


def unnamed(subject: Subject) -> Iterator[Found]:
    if subject.reach is None:
        return
    named = {
        frozenset(counts.items())
        for phase in subject.profile.phase
        for counts in subject.counts(phase)
    }
    every = {frozenset(counts.items()) for counts in subject.reach.shares()}
    missing = every - named
    if not missing:
        return
    unused = {name for way in every for name, _ in way} - {name for way in named for name, _ in way}
    words = f"; no phase has a ball at {listed(sorted(unused))}" if unused else ""
    yield Found(
        path=("phase", len(subject.profile.phase) - 1),
        message=f"the balls can lie in {len(every)} ways, and the phases name "
        f"{len(every) - len(missing)} of them{words}; name those that people meet",
    )


def half_a_range(subject: Subject) -> Iterator[Found]:
    for index, phase in enumerate(subject.profile.phase):
        for number, row in enumerate(phase.placements):
            ways = list(_row(subject, index, number))
            for name, balls in row.items():
                if balls == REST or not ways:
                    continue
                met = {counts.get(name, 0) for counts in ways}
                never = [str(end) for end in dict.fromkeys(span(balls)) if end not in met]
                if never:
                    yield Found(
                        path=("phase", index, "placements", number, name),
                        message=f'found "{balls}"; with {" or ".join(never)} at {name} the rest of '
                        "the row does not add up; narrow the range, or mend the row",
                        about=(phase.id, name),
                    )
                    break


def rows_overlap(subject: Subject) -> Iterator[Found]:
    for index, phase in enumerate(subject.profile.phase):
        met: dict[frozenset[tuple[str, int]], int] = {}
        for number in range(len(phase.placements)):
            ways = [frozenset(counts.items()) for counts in _row(subject, index, number)]
            earlier = next((met[way] for way in ways if way in met), None)
            if earlier is not None:
                yield Found(
                    path=("phase", index, "placements", number),
                    message=f"row {earlier + 1} allows some of the same; take out what is there "
                    "twice, so that each row says one thing",
                    about=(phase.id,),
                )
            for way in ways:
                met.setdefault(way, number)


def phases_alike(subject: Subject) -> Iterator[Found]:
    met: dict[object, str] = {}
    for index, phase in enumerate(subject.profile.phase):
        ways = frozenset(frozenset(counts.items()) for counts in subject.counts(phase))
        states = frozenset((name, frozenset(one)) for name, one in subject.states(phase).items())
        other = met.setdefault((ways, states), phase.id)
        if other != phase.id and ways:
            yield Found(
                path=("phase", index, "placements"),
                message=f"{other} allows exactly the same: no reading tells the two apart; mend one, "
                "or make them one phase",
                about=(phase.id,),
            )


def extra_has_no_room(subject: Subject) -> Iterator[Found]:
    profile = subject.profile
    if not profile.balls.extra or subject.first_phase is None:
        return
    more = profile.balls.installed + 1
    if next(phase_placements(profile, subject.first_phase, more), None) is None:
        yield Found(
            path=("balls", "extra"),
            message=f"with all balls home there is room for one more at none of "
            f"{listed(list(profile.balls.extra))}; name where it lies",
        )


def store_not_home(subject: Subject) -> Iterator[Found]:
    store = subject.profile.balls.store
    if store is not None and subject.home and store not in subject.home:
        yield Found(
            path=("balls", "store"),
            message=f'found "{store}", which holds no ball in the first phase; the store is the '
            "place that is short when balls are missing",
            about=(store,),
        )


RULES: Final = (
    Rule(
        code="WAY-01",
        name="never-reached",
        level="warning",
        what="Some run of routes brings a ball to every place.",
        why="A place that no ball can reach is a route that was forgotten.",
        example='[[place]]\nid = "attic"',
        mend="Add the route that ends there.",
        limits="What mechanisms a route needs is left aside here. Captive balls stay where they "
        "are. Looked at once there are routes and a phase.",
        look=never_reached,
    ),
    Rule(
        code="WAY-02",
        name="no-way-out",
        level="warning",
        what="Some route leaves every place.",
        why="A ball there would be lost for good.",
        example='to = ["pit"]',
        mend="Add the way out: the kicker, the drain.",
        limits="A hand that takes the ball out is no route.",
        look=no_way_out,
    ),
    Rule(
        code="WAY-03",
        name="no-way-home",
        level="warning",
        what="From everywhere some run of routes leads back to where balls are at home.",
        why="A circle with no exit keeps its balls: the trough would never be full again.",
        example='from = "attic"\nto = ["cellar"]',
        mend="Add the route that leaves the circle.",
        limits="Home is where balls lie in the phase called idle, else in the first.",
        look=no_way_home,
    ),
    Rule(
        code="WAY-04",
        name="coil-contradicts",
        level="error",
        what="A route by coil has a coil; one by gravity, shot, plunger or hand names none.",
        why="A check that fires the coil would expect a ball to move, or not to.",
        example='by = "gravity"\ncoil = "kicker"',
        mend="Mend by or coil.",
        limits="A coil that is not known yet is left out.",
        look=coil_contradicts,
    ),
    Rule(
        code="WAY-05",
        name="state-never-set",
        level="warning",
        what="What a route needs of a mechanism, some coil can bring about.",
        why="A diverter without a coil stays at rest, and the route is never open.",
        example='when = { switch-rail = "side" }',
        mend="Name the coil of the mechanism, or mend the state.",
        limits="Drop targets and doors are moved by balls and people.",
        look=never_set,
    ),
    Rule(
        code="WAY-06",
        name="points-do-not-fit",
        level="error",
        what="The points of a route fit on its length.",
        why="Times between them are reckoned from these figures.",
        example="spacing_mm = 300",
        mend="Measure the spacing or the length again.",
        limits="Points need not reach the ends of the way.",
        look=points_too_far,
    ),
    Rule(
        code="PHASE-02",
        name="phase-unreachable",
        level="error",
        what="Some run of moves leads from the first phase to each row of every phase.",
        why="A row that the machine cannot bring about is a slip: a place mixed up, a route "
        "forgotten, a diverter that stands the wrong way.",
        example="{ trough = 2, hold = 2 }",
        mend="Add the missing route, or mend the row.",
        limits="Every settled way for the balls to lie is enumerated; past half a million the rule is "
        "silent. Mechanisms can be set at any time.",
        look=phase_unreachable,
    ),
    Rule(
        code="PHASE-03",
        name="ways-unnamed",
        level="note",
        what="The phases name the ways in which the balls can lie.",
        why="A sheet taken in a state that no phase names is compared with the wrong one.",
        example="# no phase has a ball in the hold",
        mend="Add a phase, or a row, for what people meet; silence the note when those that matter "
        "are there.",
        limits="Nobody wants all of them: the count, and places that no phase uses, are what to "
        "look at.",
        look=unnamed,
    ),
    Rule(
        code="PHASE-04",
        name="range-never-met",
        level="warning",
        what="Both ends of a range in a row can be met.",
        why="With an end that never adds up, the row silently allows less than it says.",
        example='{ trough = 2, launcher = "0-1", playfield = "0-2" }',
        mend="Narrow the range, or give the rest more room.",
        limits="Numbers between the ends are not looked at one by one.",
        look=half_a_range,
    ),
    Rule(
        code="PHASE-05",
        name="rows-overlap",
        level="warning",
        what="No two rows of a phase allow the same.",
        why="One of them was probably meant to say something else.",
        example='{ trough = "rest", playfield = "1-2" },',
        mend="Take out what is there twice.",
        limits="Rows of different phases may overlap.",
        look=rows_overlap,
    ),
    Rule(
        code="PHASE-06",
        name="phases-alike",
        level="warning",
        what="No two phases allow exactly the same.",
        why="No reading tells them apart, so that one is only noise in every answer.",
        example='id = "waiting"\nplacements = [{ trough = "rest", launcher = 1 }]',
        mend="Mend one of them, or make them one.",
        limits="What coils and lamps do is not part of a phase.",
        look=phases_alike,
    ),
    Rule(
        code="PHASE-07",
        name="extra-has-no-room",
        level="warning",
        what="One ball too many has room where balls.extra says.",
        why="Without room, a ball too many cannot be predicted, and so never recognised.",
        example='extra = ["trough"]',
        mend="Name the place or position where it lies, such as the jam position.",
        limits="Looked at with all balls home.",
        look=extra_has_no_room,
    ),
    Rule(
        code="PHASE-08",
        name="store-not-home",
        level="warning",
        what="The place that is short when balls are missing holds balls in the first phase.",
        why="Otherwise a missing ball is looked for at a place that is empty anyway.",
        example='store = "launcher"',
        mend="Name the trough.",
        limits="The first phase is the one called idle, else the first in the file.",
        look=store_not_home,
    ),
)
