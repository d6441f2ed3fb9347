"""Questions on readings: how many balls, which positions, symbols, counts, where a ball is."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from simrig.expectation.comparison import compare
from simrig.expectation.location import locate
from simrig.expectation.observation import Observation, observe
from simrig.expectation.prediction import Prediction, expect
from simrig.expectation.reasons import place_words
from simrig.faults.candidates import Fault, possible_faults
from simrig.profile.machine import Profile
from simrig.training.question import LETTERS, Question, names
from simrig.training.subject import Subject
from simrig.world.phases import Conditions, phase_of

PART_EFFECTS = ("breaks", "opens", "forces", "inverts")


def resting(profile: Profile) -> list[str]:
    """The ball sensors at positions where balls rest."""
    return [
        one.id
        for one in profile.ball_sensors()
        if any(profile.spots[spot].resting for spot in one.spots)
    ]


def reads(
    profile: Profile, conditions: Conditions, faults: tuple[Fault, ...] = ()
) -> dict[str, str] | None:
    """Return the definite readings of all ball sensors; None where one is not definite."""
    try:
        found: Prediction = expect(profile, conditions, faults=faults)
    except ValueError:
        return None
    wanted = {one.id for one in profile.ball_sensors()}
    readings = {one.sensor: one.reading for one in found.readings if one.sensor in wanted}
    return readings if "either" not in readings.values() else None


def closed_words(readings: Mapping[str, str]) -> str:
    """Say which sensors read closed and that the others read open."""
    closed = [name for name, reading in readings.items() if reading == "closed"]
    if not closed:
        return "Every ball sensor reads open."
    return f"These read closed: {', '.join(closed)}. Every other ball sensor reads open."


def seen(profile: Profile, readings: Mapping[str, str]) -> Observation:
    """Return readings as what was seen."""
    closed = [name for name, reading in readings.items() if reading == "closed"]
    opened = [name for name, reading in readings.items() if reading == "open"]
    return observe(profile, closed=closed, open=opened, closed_named=True, open_named=True)


def at_home(profile: Profile, balls: int) -> Conditions:
    """The first phase with a number of balls in the machine."""
    return Conditions(phase=profile.phase[0].id, balls=balls)


def how_many(subject: Subject, chance: Random, id_: str) -> Question | None:
    """How many balls give these readings?"""
    profile = subject.profile
    by_count = {
        balls: reads(profile, at_home(profile, balls))
        for balls in range(profile.balls.installed + 1)
    }
    balls = chance.randrange(profile.balls.installed + 1)
    here = by_count[balls]
    if here is None or list(by_count.values()).count(here) > 1 or None in by_count.values():
        return None
    title = profile.phase[0].title
    return Question(
        id=id_,
        topic="how-many",
        level=1,
        form="number",
        text=f"{profile.name}, {title}. {closed_words(here)} How many balls are in the machine?",
        right=frozenset((str(balls),)),
        why=_filled(profile, balls),
    )


def which_closed(subject: Subject, chance: Random, id_: str) -> Question | None:
    """Which positions read closed with so many balls in this phase?"""
    profile = subject.profile
    phase = chance.choice(profile.phase)
    balls = chance.randrange(profile.balls.installed + 1)
    here = reads(profile, Conditions(phase=phase.id, balls=balls))
    watched = resting(profile)
    if here is None or not watched:
        return None
    closed = [name for name in watched if here[name] == "closed"]
    return Question(
        id=id_,
        topic="which-closed",
        level=2 if phase is profile.phase[0] else 3,
        form="names",
        text=f"{profile.name}, {phase.title}, {_balls(balls)} in the machine. Which sensors at "
        "positions where a ball can rest read closed?",
        right=frozenset((names(closed),)),
        why=_lying(profile, Conditions(phase=phase.id, balls=balls)),
    )


def symbols(subject: Subject, chance: Random, id_: str) -> Question | None:
    """Symbols the wrong way round, or a real fault?"""
    profile = subject.profile
    conditions = at_home(profile, chance.randrange(profile.balls.installed + 1))
    sound = reads(profile, conditions)
    if sound is None:
        return None
    kind = chance.choice(("symbols", "part", "agrees"))
    sheet = dict(sound)
    fault = None
    if kind == "symbols":
        sheet = {name: _other(reading) for name, reading in sound.items()}
    elif kind == "part":
        fault = _showing(profile, conditions, sound, chance)
        faulty = None if fault is None else reads(profile, conditions, (fault,))
        if faulty is None:
            return None
        sheet = faulty
    found = compare(profile, seen(profile, sheet), conditions)
    inverted = any(fit.inverted and not fit.differences for fit in found.fits)
    others = any(not fit.differences and not fit.inverted for fit in found.fits)
    is_so = "agrees" if found.agrees else "symbols" if inverted else "part"
    if is_so != kind or (kind != "agrees" and inverted and others) or (kind == "part" and others):
        return None
    choices = (
        "it is as it must be",
        "all symbols, or a board's, were read the wrong way round",
        "something is wrong in the machine",
    )
    right = LETTERS[("agrees", "symbols", "part").index(kind)]
    if fault is not None:
        why = f"turned round it fits even less; {_named(fault)} makes exactly this"
    else:
        turned = "turned round, every reading is as it must be: " if kind == "symbols" else ""
        why = turned + _lying(profile, conditions)
    title = phase_of(profile, conditions.phase).title
    return Question(
        id=id_,
        topic="symbols",
        level=2,
        form="choice",
        text=f"{profile.name}, {title}, {_balls(conditions.balls or 0)} in the machine. "
        f"{closed_words(sheet)} What is it?",
        choices=choices,
        right=frozenset((right,)),
        why=why,
    )


def revealing(subject: Subject, chance: Random, id_: str) -> Question | None:
    """Which ball count would reveal this fault?"""
    profile = subject.profile
    faults = [
        one
        for one in possible_faults(profile)
        if one.kind.effect in PART_EFFECTS and not one.kind.intermittent and one.sensor
    ]
    if not faults:
        return None
    fault = chance.choice(faults)
    counts = range(profile.balls.installed + 1)
    shows: list[int] = []
    for balls in counts:
        sound = reads(profile, at_home(profile, balls))
        faulty = reads(profile, at_home(profile, balls), (fault,))
        if sound is None or faulty is None:
            return None
        if sound != faulty:
            shows.append(balls)
    if not shows or len(shows) == len(counts):
        return None
    listed = ", ".join(map(str, shows))
    return Question(
        id=id_,
        topic="revealing-count",
        level=2,
        form="number",
        text=f"{profile.name}, {profile.phase[0].title}. Wrong is: {_named(fault)}. Name one "
        "number of balls in the machine with which the readings show it.",
        right=frozenset(map(str, shows)),
        why=f"with {listed} balls the readings differ from a sound machine's; with any other "
        "number they are the same, as the sensor reads so anyhow",
    )


def where_missing(subject: Subject, chance: Random, id_: str) -> Question | None:
    """Where can the missing ball be?"""
    profile = subject.profile
    installed = profile.balls.installed
    here = reads(profile, at_home(profile, installed - 1))
    if here is None or installed < 2:
        return None
    conditions = Conditions(phase=profile.phase[0].id, balls=installed)
    try:
        found = locate(profile, seen(profile, here), conditions)
    except ValueError:
        return None
    ways = [one for one in found.placements if one.missing == 1]
    if found.complete or len(ways) != 1:
        return None
    can = [spot for spot in ways[0].missing_at if _words(profile, spot)]
    cannot = [
        spot
        for spot in profile.spots
        if profile.covering.get(spot)
        and profile.spots[spot].resting
        and spot not in ways[0].missing_at
        and spot not in ways[0].spots
        and profile.spots[spot].place not in ways[0].missing_at
        and not _captive(profile, spot)
    ]
    if not can or len(cannot) < 2:
        return None
    right = chance.choice(can)
    wrong = chance.sample(cannot, min(3, len(cannot)))
    choices = [right, *wrong]
    chance.shuffle(choices)
    return Question(
        id=id_,
        topic="where-is-it",
        level=2,
        form="choice",
        text=f"{profile.name} carries {installed} balls. {closed_words(here)} All readings are "
        "right and nothing moves. Where can the missing ball be?",
        choices=tuple(_words(profile, spot) for spot in choices),
        right=frozenset((LETTERS[choices.index(right)],)),
        why="no sensor would read otherwise with a ball there; at each of the other positions its "
        "sensor would show it",
    )


def _showing(
    profile: Profile, conditions: Conditions, sound: Mapping[str, str], chance: Random
) -> Fault | None:
    faults = [
        one
        for one in possible_faults(profile)
        if one.kind.effect in PART_EFFECTS and not one.kind.intermittent
    ]
    chance.shuffle(faults)
    for fault in faults[:20]:
        faulty = reads(profile, conditions, (fault,))
        if faulty is not None and faulty != sound:
            return fault
    return None


def _other(reading: str) -> str:
    return "open" if reading == "closed" else "closed"


def _named(fault: Fault) -> str:
    return f"{fault.kind.title} ({fault.part})"


def _balls(number: int) -> str:
    return "1 ball" if number == 1 else f"{number} balls"


def _filled(profile: Profile, balls: int) -> str:
    return _lying(profile, at_home(profile, balls))


def _lying(profile: Profile, conditions: Conditions) -> str:
    found = expect(profile, conditions)
    here = [one.sensor for one in found.readings if one.ball]
    return (
        f"balls lie at {', '.join(here)}, filled from the exit end"
        if here
        else "no ball lies at a sensor"
    )


def _words(profile: Profile, spot: str) -> str:
    if spot in profile.spots:
        return place_words(profile, spot)
    place = profile.row("place", spot)
    if place is not None:
        return str(place.title)
    route = profile.row("route", spot)
    return "" if route is None else f"on the way: {route.title}"


def _captive(profile: Profile, spot: str) -> bool:
    place = profile.row("place", profile.spots[spot].place)
    return place is not None and bool(place.captive)
