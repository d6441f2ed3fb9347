"""Finding a trough by feeding balls: all out, one in, what changed, and again.

The protocol of what was typed stands in ``[begun]``, a line a ball, so that
nothing is lost half-way; what it shows is worked out from all of it at the end.
A ball at rest changes the switch of its position and no other.  A position whose
ball changes nothing is reported and not built in.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

import attrs

from simrig.interchange.beginning.feeding_reports import (
    doubtful,
    in_words,
    likely,
    reading_when_empty,
    silent,
    strangers,
)
from simrig.interchange.beginning.laying_out import (
    TROUGH,
    changed_sensors,
    checked,
    with_balls,
    with_trough,
    without_assumption,
)
from simrig.interchange.beginning.naming import short, switches
from simrig.interchange.beginning.questions import (
    ANSWERED,
    DO_NOT_KNOW,
    NONE_WORDS,
    NOT_KNOWN,
)
from simrig.interchange.beginning.starting import identifier
from simrig.profile import addresses
from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.profile.wiring import Matrix
from simrig.signals import opposite

FEEDING: Final = "feeding"
EMPTY: Final = "empty"
NOTHING: Final = "none"
FED: Final = "fed by hand, one ball at a time"
MOST_BALLS: Final = 20
_BALL = re.compile(r"ball-(\d{1,2})\Z")


@attrs.frozen(kw_only=True)
class Shown:
    """What a protocol shows.

    ``positions`` has the switch at each position from the exit end, or None;
    ``worked`` the reading of each with a ball; ``reports`` what is not as it
    should be, in words.
    """

    positions: tuple[str | None, ...]
    worked: Mapping[str, str]
    reports: tuple[str, ...]


def fed(profile: Profile) -> int:
    """Return how many balls have been fed so far."""
    numbers = [int(match[1]) for name in profile.begun or {} if (match := _BALL.match(name))]
    return max(numbers, default=0)


def is_done(profile: Profile) -> bool:
    """Whether the feeding is over."""
    return (profile.begun or {}).get(FEEDING) == ANSWERED


def is_emptied(profile: Profile) -> bool:
    """Whether it has been asked what reads closed with all balls out."""
    return EMPTY in (profile.begun or {})


def emptied(profile: Profile, words: str) -> Profile:
    """Take the switches that read closed with all balls out; raises ValueError, in words."""
    plain = " ".join(words.lower().split())
    if plain in DO_NOT_KNOW:
        return _noted(profile, EMPTY, NOT_KNOWN)
    named = "" if plain in NONE_WORDS else re.sub(r"\bclosed\b", "", plain)
    profile = _with_named(profile, named)
    ids = switches(profile, named)
    return _noted(profile, EMPTY, short(profile, ids) or NOTHING)


def ball_fed(profile: Profile, words: str) -> Profile:
    """Take what one more ball has changed; raises ValueError, in words."""
    if fed(profile) >= MOST_BALLS:
        raise ValueError(f"{MOST_BALLS} balls are in; say done")
    plain = " ".join(words.lower().split())
    if plain in NONE_WORDS:
        return _noted(profile, f"ball-{fed(profile) + 1}", NOTHING)
    profile = _with_named(profile, re.sub(r"\b(closed|open)\b", "", plain))
    now = _readings(profile)
    changes = _changes(profile, plain, now)
    line = ", ".join(f"{short(profile, [name])} {reading}" for name, reading in changes.items())
    return _noted(profile, f"ball-{fed(profile) + 1}", line)


def taken_back(profile: Profile) -> Profile:
    """Take the last line of the protocol out; raises ValueError when there is none."""
    begun = dict(profile.begun or {})
    last = f"ball-{fed(profile)}" if fed(profile) else EMPTY
    if last not in begun:
        raise ValueError("nothing was fed that could be taken back; feed a ball first")
    del begun[last]
    return attrs.evolve(profile, begun=begun)


def shown(profile: Profile) -> Shown:
    """Work out what the protocol so far shows."""
    begun = profile.begun or {}
    closed = _closed_when_empty(profile)
    now: dict[str, str] = {}
    home: dict[str, int] = {}
    reports: list[str] = []
    unsteady: set[str] = set()
    fresh: dict[int, list[str]] = {}
    for ball in range(1, fed(profile) + 1):
        changes = _changes(profile, begun.get(f"ball-{ball}", NOTHING), now)
        for name, reading in changes.items():
            if name in home:
                reports.append(
                    f"{in_words(profile, name)} answered to ball {home[name]} and changed again at "
                    f"ball {ball}: it does not hold. It is not built in."
                )
                unsteady.add(name)
            else:
                home[name] = ball
                fresh.setdefault(ball, []).append(name)
            now[name] = reading
    positions: list[str | None] = []
    for ball in range(1, fed(profile) + 1):
        names = [name for name in fresh.get(ball, []) if name not in unsteady]
        if len(names) > 1:
            names = likely(profile, names, reports, ball)
        positions.append(names[0] if len(names) == 1 else None)
    reports += strangers(profile, positions)
    reports += silent(profile, positions, fresh, closed)
    reports += doubtful(profile, positions, now)
    return Shown(
        positions=tuple(positions),
        worked={name: now[name] for name in positions if name is not None},
        reports=tuple(dict.fromkeys(reports)),
    )


def finished(profile: Profile) -> Profile:
    """Build what the protocol shows into the profile; raises ValueError when no ball is in."""
    balls = fed(profile)
    if not balls:
        raise ValueError("no ball has been fed yet; feed one first")
    found = shown(profile)
    if profile.balls.assumption("installed") is not None:
        profile = with_balls(profile, balls)
    if profile.row("place", TROUGH) is None:
        profile = with_trough(profile, found.positions, seats=balls)
    changes = {}
    for name, reading in found.worked.items():
        sensor = profile.row("sensor", name)
        if sensor.worked_reads == reading and sensor.assumption("worked_reads") is None:
            continue
        fresh = without_assumption(sensor, "worked_reads")
        changes[name] = {
            "worked_reads": reading,
            "assumed": fresh.assumed,
            "source": sensor.source or FED,
        }
    return _noted(changed_sensors(profile, changes), FEEDING, ANSWERED)


def _noted(profile: Profile, name: str, words: str) -> Profile:
    return checked(attrs.evolve(profile, begun={**(profile.begun or {}), name: words}))


def _closed_when_empty(profile: Profile) -> frozenset[str] | None:
    words = (profile.begun or {}).get(EMPTY, NOT_KNOWN)
    if words == NOT_KNOWN:
        return None
    return frozenset(() if words == NOTHING else switches(profile, words))


def _readings(profile: Profile) -> dict[str, str]:
    """Return the reading now of each switch that has changed so far."""
    begun, now = profile.begun or {}, dict[str, str]()
    for ball in range(1, fed(profile) + 1):
        now |= _changes(profile, begun.get(f"ball-{ball}", NOTHING), now)
    return now


def _changes(profile: Profile, words: str, now: Mapping[str, str]) -> dict[str, str]:
    """Return each switch that an answer names, with its reading now; ValueError in words."""
    if words == NOTHING:
        return {}
    closed = _closed_when_empty(profile)
    found: dict[str, str] = {}
    waiting: list[str] = []
    for piece in re.findall(r"[^,;]+", words):
        match = re.match(r"\s*(.*?)\s*(?:\b(closed|open)\b)?\s*\Z", piece)
        named = match[1] if match else piece
        names = [*waiting, *switches(profile, named)]
        reading = match[2] if match else None
        if reading is None:
            waiting = names
            continue
        waiting = []
        for name in names:
            if found.setdefault(name, reading) != reading:
                raise ValueError(f"{name} is named closed and open; how does it read now?")
    for name in waiting:
        before = now.get(name) or reading_when_empty(name, closed)
        if before is None:
            raise ValueError(f"how does {name} read now?  Say closed or open behind it")
        found[name] = opposite(before)
    for name, reading in found.items():
        before = now.get(name) or reading_when_empty(name, closed)
        if before == reading:
            raise ValueError(f"{name} read {reading} before; name only what has changed")
    return found


def _with_named(profile: Profile, words: str) -> Profile:
    """Add switches that are named by number or address and are on no list yet."""
    fresh: list[Sensor] = []
    known = {sensor.number for sensor in profile.sensor}
    places = set(profile.address_of.values())
    for chunk in re.split(r"[,;]", words):
        plain = chunk.strip()
        if plain.isdigit() and len(plain) < 5:
            if int(plain) not in known:
                fresh.append(Sensor(id=_free(profile, f"switch-{plain}"), number=int(plain)))
                known.add(int(plain))
        elif (
            (address := addresses.parse(plain)) is not None
            and not profile.row("sensor", plain.replace(" ", "-"))
            and address not in places
            and (address.board is None or profile.row("inputs", address.board) is not None)
        ):
            words = str(address)
            fresh.append(Sensor(id=_free(profile, identifier(words, "switch")), address=words))
            places.add(address)
            if address.in_matrix:
                profile = attrs.evolve(profile, matrix=_wider(profile.matrix, address))
    return attrs.evolve(profile, sensor=(*profile.sensor, *fresh)) if fresh else profile


def _free(profile: Profile, name: str) -> str:
    while profile.row("sensor", name) is not None:
        name += "-b"
    return name


def _wider(matrix: Matrix | None, address: addresses.Address) -> Matrix:
    from simrig.interchange.beginning.starting import DIODES

    column, row = address.column or 1, address.row or 1
    if matrix is None:
        return Matrix(columns=column, rows=row, diodes="all", assumed={"diodes": DIODES})
    return attrs.evolve(matrix, columns=max(column, matrix.columns), rows=max(row, matrix.rows))


def disagreements(profile: Profile, found: Shown) -> tuple[str, ...]:
    """Return where the trough that a profile states already differs from what feeding shows."""
    place = profile.row("place", TROUGH)
    if place is None or is_done(profile):
        return ()
    said: dict[int, str] = {}
    for spot in profile.spots.values():
        if spot.place == TROUGH and spot.position is not None:
            for sensor in profile.covering.get(spot.id, ()):
                said[spot.position - 1] = sensor.id
    return tuple(
        f"The file has {in_words(profile, said[index])} at position {index + 1} from the exit end; "
        f"{'nothing' if name is None else in_words(profile, name)} answered there: the profile may "
        "be wrong here, or the leads are exchanged."
        for index, name in enumerate(found.positions)
        if index in said and said[index] != name
    )
