"""Checks by eye and by hand that read the switches: ball counts, sensors worked by hand, looks."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from typing import Final

from simrig.diagnosis.bench_answers import answers
from simrig.diagnosis.bench_case import (
    FICKLE,
    MOVES,
    NOTHING,
    Act,
    Case,
    Ground,
)
from simrig.diagnosis.bench_check import RIGHT, Check
from simrig.diagnosis.bench_scene import EMPTY
from simrig.diagnosis.bench_state import needs_of
from simrig.profile.components import Sensor
from simrig.profile.layout import Place
from simrig.sensing.chain import Part
from simrig.signals import CLOSED

PRESS: Final = "In the switch test only: in play a button can make the machine kick a ball."
STICK: Final = "Near mechanisms a stick, not a finger."
BEAM_EYES: Final = "Do not stare into an infra-red emitter at close range."
ANSWERS: Final = {
    "answers": "it changes as it must",
    "stays-open": "it stays open",
    "stays-closed": "it stays closed",
    "inverted": "it changes the other way round",
    "elsewhere": "another address changes instead",
    "others-too": "it changes, and another address with it",
}
PRESSED: Final = "only-pressed"
GAP: Final = "contact-gap-wide"
"""The kind of fault that pressing a contact closed takes away while it is pressed."""
UNDER: Final = ("trough", "outhole", "magazine", "passage")
"""Kinds of places that are reached from below the playfield."""
MOST_UNSURE: Final = 3


def below(ground: Ground, sensor: Sensor) -> bool:
    """Whether a sensor is worked on from below; where nobody knows, it is."""
    places = [ground.profile.spots[spot].place for spot in sensor.spots]
    if not places:
        return True
    rows = [ground.profile.row("place", place) for place in places]
    return any(row is not None and row.kind in UNDER for row in rows)


def reached(ground: Ground, sensor: Sensor, *, parts: bool = False) -> dict[str, str]:
    """Return how the bench stands when hands come to a sensor, or to its parts."""
    if below(ground, sensor) or parts:
        return {"door": "open", "playfield": "raised", "balls": "out"}
    return {"door": "open", "playfield": "down", "balls": "out"}


def reading_checks(ground: Ground, start_balls: str) -> Iterator[Check]:
    """Yield the checks that read every ball sensor with some number of balls in."""
    if ground.profile.sensor:
        yield Check(
            id="read-again", title="Read the same sheet once more, two seconds at rest",
            work="read", needs=needs_of("read", balls=start_balls, playfield="down"), minutes=0.5,
            results={"same": "it reads as before", "changed": "it reads otherwise now"},
            caution="", ground=ground, judge=_again, asks=("misread", "passing", FICKLE),
        )  # fmt: skip
    store = ground.store
    if not ground.profile.ball_sensors():
        return
    yield _read(ground, "read-empty", "Read the switches with all loose balls out", EMPTY, "out")
    if store is not None:
        most = min(store.capacity, ground.profile.balls.installed)
        for number in range(1, most + 1):
            if number < ground.profile.balls.installed:
                count = "1 ball" if number == 1 else f"{number} balls"
                title = f"Read the switches with {count} put into the {store.title}"
                yield _read(ground, f"read-{number}", title, number, "some", 0.5 + 0.2 * number)
    if "home" in ground.sound.scene.masks:
        title = "Have every ball home, then read the switches"
        yield _read(ground, "read-home", title, "home", "aboard")


def _read(
    ground: Ground, name: str, title: str, balls: int | str, out: str, minutes: float = 0.5
) -> Check:
    return Check(
        id=name, title=title, work="read", needs=needs_of("read", balls=out), minutes=minutes,
        results={RIGHT: "every ball sensor reads as it must",
                 **{sensor.id: f"{sensor.title} reads wrong (join several with +)"
                    for sensor in ground.profile.ball_sensors()}},
        caution=STICK if out == "some" else "", ground=ground, judge=_pattern(balls),
        sensors=frozenset(sensor.id for sensor in ground.profile.ball_sensors()),
        asks=(MOVES,), listing=True,
    )  # fmt: skip


def _pattern(balls: int | str) -> Callable[[Case], frozenset[str]]:
    """The judge of which sensors read wrong, in profile order."""

    def judge(case: Case) -> frozenset[str]:
        sound = case.ground.sound
        right, read = sound.cells(), case.cells()
        must = {
            sensor.id: next(iter(words))
            for sensor in case.ground.profile.ball_sensors()
            if len(words := sound.reads(right, sensor.id, balls)) == 1
        }
        found: set[str] = set()
        worlds = case.scene.masks.get(balls, 0)
        while worlds:
            world = worlds & -worlds
            worlds ^= world
            wrong, unsure = set(), []
            for name, reading in must.items():
                value = read.cells[name]
                surely, maybe = bool(value.surely & world), bool(value.maybe & world)
                if surely != maybe:
                    unsure.append(name)
                elif surely != (reading == CLOSED):
                    wrong.add(name)
            if len(unsure) > MOST_UNSURE:
                return frozenset()
            for size in range(len(unsure) + 1):
                for more in itertools.combinations(unsure, size):
                    listed = [name for name in must if name in wrong or name in more]
                    found.add("+".join(listed) or RIGHT)
        return frozenset(found)

    return judge


def _again(case: Case) -> frozenset[str]:
    """What the last sheet reads now, beside what was noted.

    What hides now may have shown on it, or have hidden, or made no difference; of several
    sheets it can have shown on another one.
    """
    if any(
        mistake.kind in ("misread", "passing") and mistake.sheet == case.ground.sheet
        for mistake in case.mistakes
    ):
        return frozenset(("changed",))
    fickle = case.ground.sheet and any(fault.kind.intermittent for fault in case.faults)
    return frozenset(("same", "changed") if case.hidden or fickle else ("same",))


def hand_checks(ground: Ground) -> Iterator[Check]:
    """Yield, for each sensor, the check that works it by hand."""
    for sensor in ground.profile.sensor:
        technology = ground.profile.technology(sensor)
        if sensor.id not in ground.profile.address_of:
            continue
        pressed = technology == "contact" and sensor.kind != "button"
        doing = {
            "light": f"Block the beam of {sensor.title} with a stick and free it",
            "proximity": f"Roll a ball over {sensor.title}, playfield as in play",
        }.get(technology or "contact", f"Work {sensor.title} by hand and let go")
        if pressed:
            doing += (
                "; if nothing changes, press the contact itself closed behind its lever or wire"
            )
        if sensor.kind == "button":
            work, where = "press", {"playfield": "down"}
        elif technology == "proximity":
            work, where = "reach", {"door": "open", "playfield": "down", "balls": "out"}
        else:
            work, where = "reach", reached(ground, sensor)
        yield Check(
            id=f"work-{sensor.id}", title=doing + "; watch its reading", work=work,
            needs=needs_of(work, **where), minutes=0.5,
            results=ANSWERS | ({PRESSED: "only when the contact itself is pressed"} if pressed else {}),
            caution=PRESS if work == "press" else STICK, ground=ground,
            judge=_by_hand(
                sensor.id, (EMPTY,) if work == "reach" else (EMPTY, "home"), pressed=pressed
            ),
            sensors=frozenset((sensor.id,)),
        )  # fmt: skip


def _by_hand(
    sensor: str, balls: tuple[int | str, ...], *, pressed: bool
) -> Callable[[Case], frozenset[str]]:
    worked = Act(by_hand=frozenset((sensor,)))

    def judge(case: Case) -> frozenset[str]:
        found = answers(case, sensor, NOTHING, worked, balls)
        gap = [fault for fault in case.faults if fault.name == f"{GAP}:{sensor}"]
        if not pressed or not gap or "stays-open" not in found:
            return found
        # Pressed closed, a contact whose gap is too wide does what it must.
        closed = answers(
            Case(
                ground=case.ground,
                faults=tuple(fault for fault in case.faults if fault not in gap),
                hidden=case.hidden,
                mistakes=case.mistakes,
            ),
            sensor,
            NOTHING,
            worked,
            balls,
        )
        if "stays-open" in closed:
            return found
        return found - {"stays-open"} | {PRESSED}

    return judge


def ball_checks(ground: Ground) -> Iterator[Check]:
    """Yield the checks of the balls themselves, and of what the reader takes for granted."""
    profile = ground.profile

    def look(
        name: str,
        title: str,
        part: Part,
        words: tuple[str, str],
        minutes: float,
        work: str = "look",
        **where: str,
    ) -> Check:
        def judge(case: Case) -> frozenset[str]:
            return frozenset((words[0] if part in case.parts else words[1],))

        return Check(
            id=name, title=title, work=work, needs=needs_of(work, **where), minutes=minutes,
            results=dict(zip(words, (f"yes: {words[0]}", f"no: {words[1]}"), strict=True)),
            caution=STICK if work == "hand" else "", ground=ground, judge=judge,
            parts=frozenset((part,)),
        )  # fmt: skip

    yield Check(
        id="count-balls", title="Count the loose balls in the tray; captive ones do not count",
        work="look", needs=needs_of("look", balls="out"), minutes=0.3,
        results={"as-assumed": f"{ground.assumed}", "fewer": f"fewer than {ground.assumed}",
                 "more": f"more than {ground.assumed}"},
        caution="", ground=ground, judge=_counted, asks=("count", MOVES),
    )  # fmt: skip
    if len(profile.phase) > 1:
        yield Check(
            id="look-phase", title="Look what the machine is doing: is it in the phase you assumed?",
            work="look", needs=needs_of("look"), minutes=0.3,
            results={"as-assumed": "it is", "another": "it is in another one"}, caution="",
            ground=ground, judge=_phase, asks=("phase",),
        )  # fmt: skip
    for route in profile.route:
        yield look(
            f"way-{route.id}", f"Look along {route.title} with a torch for a ball that hangs there",
            Part("way", route.id), ("ball", "clear"), 1.0,
        )  # fmt: skip
    for place in profile.place:
        if place.captive or place.open_area:
            continue
        yield from _place_checks(place, look)


def _place_checks(place: Place, look: Callable[..., Check]) -> Iterator[Check]:
    if place.jam:
        yield look(
            f"stack-{place.id}", f"Look at the exit of {place.title}: two balls on each other?",
            Part("stack", place.id), ("stacked", "single"), 0.5, balls="aboard",
        )  # fmt: skip
    if place.capacity > 2:
        yield look(
            f"pull-{place.id}", f"Hold the balls of {place.title} to a paper clip on a thread",
            Part("row of balls", place.id), ("pulls", "hangs-free"), 1.0, "hand", balls="out",
        )  # fmt: skip
        yield look(
            f"dent-{place.id}", f"Feel along the floor of {place.title} with a stick for a dent",
            Part("dent", place.id), ("dent", "even"), 1.0, "hand", balls="out",
        )  # fmt: skip


def _counted(case: Case) -> frozenset[str]:
    balls = case.ground.assumed
    for mistake in case.mistakes:
        if mistake.kind == "count" and mistake.sheet == case.ground.sheet:
            balls = int(mistake.value)
    for fault in case.faults:
        balls += {"ball-missing": -1, "ball-hung": -1, "ball-extra": 1}.get(fault.kind.id, 0)
    difference = balls - case.ground.assumed
    return frozenset(("fewer" if difference < 0 else "more" if difference else "as-assumed",))


def _phase(case: Case) -> frozenset[str]:
    other = any(
        mistake.kind == "phase" and mistake.sheet == case.ground.sheet for mistake in case.mistakes
    )
    return frozenset(("another" if other else "as-assumed",))
