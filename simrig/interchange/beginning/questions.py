"""The eight questions: what each asks, what the names suggest, and what an answer makes of a profile.

Which ones are still to be asked is read from the profile itself: a question whose
facts are there, by whose hand ever, is not asked; ``[begun]`` tells of those
that were answered with none, or that nobody could answer.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Final

import attrs

from simrig.expectation.worth_candidates import reads_surely
from simrig.interchange.beginning import proposals
from simrig.interchange.beginning.laying_out import (
    TROUGH,
    changed_sensors,
    checked,
    place_of,
    with_assumption,
    with_balls,
    with_jam,
    with_phase,
    with_place,
    with_trough,
    without_assumption,
)
from simrig.interchange.beginning.naming import switches
from simrig.profile.components import Sensor
from simrig.profile.layout import Phase
from simrig.profile.machine import Profile
from simrig.profile.wiring import Interlock

ANSWERED: Final = "answered"
NOT_KNOWN: Final = "not known"
DO_NOT_KNOW: Final = frozenset(
    ("don't know", "dont know", "do not know", "?", "unknown", "not known", "no idea", "not sure")
)
NONE_WORDS: Final = frozenset(("none", "no", "nowhere", "nothing", "0", "-"))
SAID: Final = "said without a trial"


@attrs.frozen(kw_only=True)
class Question:
    """One question.

    ``answer`` takes the profile and the words of an answer and returns the profile
    that holds it; it raises ValueError, in words, for an answer that cannot be.
    ``known`` tells whether the profile holds the answer already.
    """

    id: str
    title: str
    ask: Callable[[Profile], str]
    answer: Callable[[Profile, str], Profile]
    known: Callable[[Profile], bool]
    propose: Callable[[Profile], str | None] = lambda profile: None


def open_questions(profile: Profile) -> Iterator[Question]:
    """Yield the questions that are still to be asked, in their order."""
    begun = profile.begun or {}
    for question in QUESTIONS:
        if question.id not in begun and not question.known(profile):
            yield question


def answered(profile: Profile, question: Question, words: str) -> Profile:
    """Return the profile with one question answered; raises ValueError for a wrong answer."""
    plain = " ".join(words.lower().split()).strip(" .!")
    plain = plain.replace("’", "'")
    if plain in DO_NOT_KNOW:
        return _marked(profile, question.id, NOT_KNOWN)
    return checked(_marked(question.answer(profile, plain), question.id, ANSWERED))


def _marked(profile: Profile, name: str, how: str) -> Profile:
    return attrs.evolve(profile, begun={**(profile.begun or {}), name: how})


def ball_sensors(profile: Profile) -> tuple[Sensor, ...]:
    """The sensors of which it is known where a ball works them."""
    return tuple(sensor for sensor in profile.sensor if sensor.spots)


def _balls(profile: Profile, words: str) -> Profile:
    match = re.match(r"(\d{1,3})( balls?)?\Z", words)
    if match is None or not 1 <= int(match[1]) <= 20:
        raise ValueError(f'found "{words}"; wanted a number of balls from 1 to 20')
    return with_balls(profile, int(match[1]))


def _captive(profile: Profile, words: str) -> Profile:
    if words in NONE_WORDS:
        return profile
    for number, group in enumerate(_groups(words), 1):
        match = re.match(r"(\d{1,2})(?: balls?)?(?:\s+(?:at|on)\s+(.+))?\Z", group)
        if match is None or not 1 <= int(match[1]) <= 20:
            raise ValueError(f'found "{group}"; wanted none, 1, or 1 at 28 (the switch it holds)')
        balls = int(match[1])
        ids = switches(profile, match[2]) if match[2] else ()
        if len(ids) > balls:
            raise ValueError(f"{balls} captive ball holds at most {balls} switch at rest")
        name = "captive ball" if number == 1 else f"captive ball {number}"
        profile = with_place(profile, name, ids, kind="captive", seats=balls, captive=balls)
        profile = changed_sensors(profile, {one: {"counted": False} for one in ids})
    return profile


def _trough(profile: Profile, words: str) -> Profile:
    resting, jam, above = words.partition("; jam")
    found = () if resting in NONE_WORDS else _in_order(profile, resting)
    stacked = switches(profile, above.strip(" :=")) if jam else ()
    if jam and len(stacked) != 1:
        raise ValueError(f'found "{above.strip()}"; wanted one switch after jam, such as jam 36')
    if jam and stacked[0] in found:
        raise ValueError(f"{stacked[0]} is named twice; name each switch once")
    profile = with_trough(profile, found)
    return with_jam(profile, stacked[0]) if jam else profile


def _in_order(profile: Profile, words: str) -> tuple[str | None, ...]:
    """Return the switches of a place from its exit end; a dash is a position without one."""
    found: list[str | None] = []
    for chunk in words.split(","):
        found += [None] if chunk.strip() in NONE_WORDS else switches(profile, chunk)
    twice = next((one for one in found if one is not None and found.count(one) > 1), None)
    if twice is not None:
        raise ValueError(f"{twice} is named twice; name each switch once")
    return tuple(found)


def _places(profile: Profile, words: str) -> Profile:
    if words in NONE_WORDS:
        return profile
    for group in _groups(words):
        name, ids = _place_words(profile, group)
        profile = with_place(profile, name, ids)
    return profile


def _place_words(profile: Profile, group: str) -> tuple[str, tuple[str | None, ...]]:
    name, divider, named = group.partition(":")
    if not divider:
        tokens = group.split()
        known = {sensor.id for sensor in profile.sensor}
        first = next(
            (n for n, word in enumerate(tokens)
             if n and (word[0].isdigit() or word.rstrip(",") in known or re.match(r"c\d", word))),
            len(tokens),
        )  # fmt: skip
        name, named = " ".join(tokens[:first]), " ".join(tokens[first:])
    if not name.strip() or name.strip()[0].isdigit() or "," in name:
        raise ValueError(f'found "{group}"; wanted a place and its switches, such as launcher: 26')
    empty = named.strip() in NONE_WORDS or not named.strip()
    return name.strip(), () if empty else _in_order(profile, named)


def _polarity(profile: Profile, words: str) -> Profile:
    main, _, exceptions = words.partition("except")
    match = re.search(r"\b(closed|open)\b", main)
    if match is None or len(set(re.findall(r"\b(?:closed|open)\b", main))) > 1:
        raise ValueError(f'found "{words}"; wanted closed or open, such as closed, tried')
    reading = match[1]
    tried = bool(re.search(r"\b(tried|tested|measured|seen)\b", words))
    exceptions = re.sub(r"\b(tried|tested|measured|seen|assumed)\b", "", exceptions)
    others = set(switches(profile, exceptions))
    other = {"closed": "open", "open": "closed"}[reading]
    changes = {}
    for sensor in ball_sensors(profile):
        if sensor.worked_reads is not None and sensor.assumption("worked_reads") is None:
            continue
        fresh = attrs.evolve(sensor, worked_reads=other if sensor.id in others else reading)
        fresh = (
            without_assumption(fresh, "worked_reads")
            if tried
            else with_assumption(fresh, "worked_reads", SAID)
        )
        changes[sensor.id] = {"worked_reads": fresh.worked_reads, "assumed": fresh.assumed}
    return changed_sensors(profile, changes)


def _kinds(profile: Profile, words: str) -> Profile:
    beams, _, inductive = words.partition("inductive")
    beams = beams.strip(" ;,")
    if beams in ("all", "all of them"):
        chosen = {sensor.id for sensor in ball_sensors(profile)}
    else:
        chosen = set() if beams in NONE_WORDS or not beams else set(switches(profile, beams))
    heads = set(switches(profile, inductive))
    if both := chosen & heads:
        raise ValueError(f"{min(both)} is named as a beam and as inductive; it can be one")
    changes = {
        sensor.id: {
            "kind": "opto"
            if sensor.id in chosen
            else "inductive"
            if sensor.id in heads
            else "switch"
        }
        for sensor in profile.sensor
        if sensor.kind is None or sensor.id in chosen | heads
    }
    return changed_sensors(profile, changes)


def _ready(profile: Profile, words: str) -> Profile:
    row: dict[str, object] = {}
    groups = () if words in NONE_WORDS else _groups(words.replace(",", ";"))
    for group in groups:
        match = re.match(r"(.+?)[\s:=]+(\d{1,2})(?: balls?)?\Z", group)
        name, balls = (match[1], int(match[2])) if match else (group, 1)
        place = place_of(profile, name)
        if place is None:
            profile = with_place(profile, name, (), seats=balls)
            place = place_of(profile, name)
            assert place is not None
        row[place.id] = balls
    if profile.row("place", TROUGH) is None:
        profile = with_trough(profile, ())
    row.setdefault(TROUGH, "rest")
    phase = Phase(id="ready", name="game ready, first ball not yet shot", placements=(row,))
    return with_phase(profile, phase)


def _interlock(profile: Profile, words: str) -> Profile:
    if words in ("yes", "y", "there is", "fitted"):
        fitted = True
    elif words in ("no", "n", "none", "not fitted"):
        fitted = False
    else:
        raise ValueError(f'found "{words}"; wanted yes, no, or don\'t know')
    return attrs.evolve(
        profile, interlock=attrs.evolve(profile.interlock or Interlock(), fitted=fitted)
    )


def _groups(words: str) -> list[str]:
    return [group.strip() for group in words.split(";") if group.strip()]


def _other_places(profile: Profile) -> bool:
    if _accounted_for(profile):
        return True
    kinds = ("trough", "captive", "playfield", "passage")
    return any(place.kind not in kinds for place in profile.place)


def _accounted_for(profile: Profile) -> bool:
    """Whether places are stated, and of every switch what works it: none is left to be found."""
    return bool(profile.place) and all(
        sensor.at is not None or sensor.follows for sensor in profile.sensor
    )


def _captive_known(profile: Profile) -> bool:
    return any(place.captive for place in profile.place) or _accounted_for(profile)


def _polarity_known(profile: Profile) -> bool:
    return all(reads_surely(profile, sensor) for sensor in ball_sensors(profile))


QUESTIONS: Final = (
    Question(
        id="balls",
        title="how many balls the machine carries",
        ask=lambda profile: "How many balls does the machine carry, captive ones not counted?",
        answer=_balls,
        known=lambda profile: profile.balls.assumption("installed") is None,
    ),
    Question(
        id="captive",
        title="which balls are captive",
        ask=lambda profile: (
            "Captive balls, which never leave their place: how many, and which switch does one "
            "hold down at rest?  Such as: none; or 1 at 28"
        ),
        answer=_captive,
        known=_captive_known,
        propose=proposals.captive,
    ),
    Question(
        id="trough",
        title="which switches a ball at rest in the trough works, from the exit end",
        ask=lambda profile: (
            f"No game on and every ball home ({profile.balls.installed}): which switches do they "
            "hold, in order from the exit end (where the kicker is)?  A dash for a position "
            "without a switch; after jam the one above the kicker, if any.  Such as: 31-35; "
            "or 31, -, 33; jam 36"
        ),
        answer=_trough,
        known=lambda profile: profile.row("place", TROUGH) is not None
        or any(place.kind == "trough" for place in profile.place)
        or _accounted_for(profile),
        propose=proposals.trough,
    ),
    Question(
        id="places",
        title="where else a ball comes to rest",
        ask=lambda profile: (
            "Where else can a ball come to rest?  Each place and its switches, from its exit end. "
            "Such as: launcher: 26; lock: 41, 42; or none"
        ),
        answer=_places,
        known=_other_places,
        propose=proposals.places,
    ),
    Question(
        id="polarity",
        title="how the switches read with a ball",
        ask=lambda profile: (
            "With a ball there, do these switches read closed or open?  Add tried if you blocked "
            "one and freed it by hand.  Such as: closed, tried; or open, tried, except 26"
        ),
        answer=_polarity,
        known=_polarity_known,
    ),
    Question(
        id="kinds",
        title="which sensors are beams",
        ask=lambda profile: (
            "Which are beams (a light and a receiver)?  Inductive ones, if any, after the word. "
            "Such as: 31-36; or 31-36; inductive 21-24; or none"
        ),
        answer=_kinds,
        known=lambda profile: all(sensor.kind is not None for sensor in profile.sensor),
        propose=proposals.kinds,
    ),
    Question(
        id="ready",
        title="where balls wait when a game is ready",
        ask=lambda profile: (
            "A game is ready, the first ball not yet shot: where do balls wait outside the "
            "trough?  Such as: launcher 1; or none"
        ),
        answer=_ready,
        known=lambda profile: profile.row("phase", "ready") is not None
        or (_accounted_for(profile) and len(profile.phase) > 1),
        propose=proposals.ready,
    ),
    Question(
        id="interlock",
        title="whether there is a door interlock",
        ask=lambda profile: (
            "Is there an interlock at the coin door that cuts the coils?  yes or no. "
            "Not known counts as none: coils live."
        ),
        answer=_interlock,
        known=lambda profile: profile.interlock is not None and profile.interlock.fitted is not None,
    ),
)  # fmt: skip
