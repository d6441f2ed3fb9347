"""Rules over positions and the sensors that watch them."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Sequence
from typing import Final

from simrig.profile.components import Sensor
from simrig.profile.keys import NONE
from simrig.profile.layout import Place
from simrig.profile.naming import listed
from simrig.vetting.rule import Found, Rule
from simrig.vetting.subject import Subject
from simrig.world.rolling import Track, chord_mm

_NUMBER = re.compile(r"(\d+)\Z")


def unwatched(subject: Subject) -> Iterator[Found]:
    if not subject.causes_known:
        return
    for index, place in enumerate(subject.profile.place):
        if place.open_area:
            continue
        blind = [
            f"{place.id}.{number}"
            for number in range(1, place.capacity + 1)
            if f"{place.id}.{number}" not in subject.profile.covering
        ]
        if blind:
            yield Found(
                path=("place", index, "seats"),
                message=f"no sensor sees a ball at {listed(blind)}; bind one to it, or silence this "
                "with a reason where the machine has none",
                about=(place.id, *blind),
            )


def jam_unwatched(subject: Subject) -> Iterator[Found]:
    if not subject.causes_known:
        return
    for index, place in enumerate(subject.profile.place):
        if place.jam and f"{place.id}.jam" not in subject.profile.covering:
            yield Found(
                path=("place", index, "jam"),
                message=f"a ball can sit at {place.id}.jam, and no sensor sees it; bind one, or say "
                "jam = false",
                about=(place.id,),
            )


def point_unwatched(subject: Subject) -> Iterator[Found]:
    if not subject.causes_known:
        return
    for index, route in enumerate(subject.profile.route):
        blind = [
            f"{route.id}.{number}"
            for number in range(1, (route.points or 0) + 1)
            if f"{route.id}.{number}" not in subject.profile.covering
        ]
        if blind:
            yield Found(
                path=("route", index, "points"),
                message=f"no sensor is at {listed(blind)}; points are where sensors are: bind one, "
                "or state fewer points",
                about=(route.id,),
            )


def without_cause(subject: Subject) -> Iterator[Found]:
    for index, sensor in enumerate(subject.profile.sensor):
        sees = subject.technology(sensor) in ("light", "proximity")
        if sensor.at == NONE and not sensor.follows and sees:
            yield Found(
                path=("sensor", index, "at"),
                message=f"no ball and no mechanism works this {sensor.kind}; say where a ball does, "
                "or leave it out while that is not known",
                about=(sensor.id,),
            )


def disorder(subject: Subject) -> Iterator[Found]:
    for place in subject.profile.place:
        if place.open_area:
            continue
        row = _watchers(subject, place)
        if len(row) < 3:
            continue
        said: list[tuple[str, list[int | None]]] = [
            ("names", [_ending(sensor.id) for sensor in row]),
            ("numbers", [sensor.number for sensor in row]),
            ("channels", _channels(row)),
        ]
        wrong = [(what, _first_step_back(values)) for what, values in said]
        broken = [(what, at) for what, at in wrong if at is not None]
        if broken:
            sensor = row[broken[0][1]]
            yield Found(
                path=("sensor", subject.index("sensor", sensor.id), "at"),
                message=f"along {place.id} the {_both([what for what, _ in broken])} of the sensors "
                "neither rise nor fall: two positions are probably exchanged; compare "
                + ", ".join(f"{one.id} at {next(iter(one.spots))}" for one in row),
                about=(place.id, *(one.id for one in row)),
            )


def _watchers(subject: Subject, place: Place) -> list[Sensor]:
    """The sensors along a place that watch one position of it and nothing else."""
    found = []
    for number in range(1, place.capacity + 1):
        watching = subject.profile.covering.get(f"{place.id}.{number}", ())
        if len(watching) == 1 and len(watching[0].spots) == 1:
            found.append(watching[0])
    return found


def _ending(name: str) -> int | None:
    found = _NUMBER.search(name)
    return int(found[1]) if found else None


def _channels(row: Sequence[Sensor]) -> list[int | None]:
    same = len({sensor.board for sensor in row}) == 1
    return [sensor.channel if same else None for sensor in row]


def _first_step_back(values: Sequence[int | None]) -> int | None:
    """Where a row of numbers turns; None where it does not, or some are unknown."""
    known = [value for value in values if value is not None]
    if len(known) < len(values) or len(set(known)) < len(known):
        return None
    steps = [after > before for before, after in itertools.pairwise(known)]
    rising = steps.count(True) * 2 >= len(steps)
    return next((at for at, rises in enumerate(steps) if rises != rising), None)


def _both(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def watched_twice(subject: Subject) -> Iterator[Found]:
    for spot, sensors in subject.profile.covering.items():
        if not (found := subject.profile.spots.get(spot)) or not found.resting:
            continue
        alone = [sensor for sensor in sensors if len(sensor.spots) == 1]
        for number, sensor in enumerate(alone):
            other = next((one for one in alone[:number] if one.kind == sensor.kind), None)
            if other is None:
                continue
            yield Found(
                path=("sensor", subject.index("sensor", sensor.id), "at"),
                message=f"{other.id} is bound to {spot} and to nothing else too; one of the two "
                "is probably at another position",
                about=(sensor.id, spot),
            )


def beam_misses(subject: Subject) -> Iterator[Found]:
    diameter = subject.profile.balls.diameter_mm
    for index, sensor in enumerate(subject.profile.sensor):
        if diameter is None or sensor.beam_height_mm is None:
            continue
        for spot in sensor.spots:
            if spot.endswith(".jam"):
                continue
            place = subject.profile.row("place", subject.profile.spots[spot].place)
            width = place.contact_width_mm if place is not None else None
            width = width if isinstance(width, int | float) and width < diameter else 0.0
            track = Track(ball_diameter_mm=diameter, slope_deg=0, contact_width_mm=width)
            if chord_mm(diameter, track.beam_offset_mm(sensor.beam_height_mm)) == 0:
                yield Found(
                    path=("sensor", index, "beam_height_mm"),
                    message=f"found {sensor.beam_height_mm:g}; a ball of {diameter:g} mm at {spot} "
                    f"reaches up to {track.rolling_radius_mm + diameter / 2:.3g} mm and never "
                    "blocks this beam; mend the height",
                    about=(sensor.id,),
                )
                break


def too_far(subject: Subject) -> Iterator[Found]:
    for index, sensor in enumerate(subject.profile.sensor):
        gap, reach = sensor.ball_gap_mm, sensor.sensing_mm
        if gap is not None and reach is not None and gap > reach:
            yield Found(
                path=("sensor", index, "ball_gap_mm"),
                message=f"found {gap:g}; the sensor reaches {reach:g} mm at most: no ball works it; "
                "mend one of the two",
                about=(sensor.id,),
            )


def too_close(subject: Subject) -> Iterator[Found]:
    diameter = subject.profile.balls.diameter_mm
    for index, place in enumerate(subject.profile.place):
        pitch = place.pitch_mm
        if diameter is not None and pitch is not None and pitch < diameter:
            yield Found(
                path=("place", index, "pitch_mm"),
                message=f"found {pitch:g}; balls of {diameter:g} mm cannot lie closer than they are "
                "thick; mend one of the two",
                about=(place.id,),
            )


def kicker_at_the_other_end(subject: Subject) -> Iterator[Found]:
    profile = subject.profile
    for index, place in enumerate(profile.place):
        coils = {one.coil for one in profile.route if one.from_ == place.id} - {None, NONE}
        if place.position_1 is None or place.capacity < 2 or len(coils) != 1:
            continue
        (coil,) = coils
        beside = {
            spot.position: sensor.id
            for sensor in profile.sensor
            if sensor.beside == coil
            for spot in map(profile.spots.get, sensor.spots)
            if spot is not None and spot.place == place.id and spot.position is not None
        }
        if beside and place.capacity in beside and 2 * min(beside) > place.capacity + 1:
            names = listed([beside[position] for position in sorted(beside, reverse=True)])
            exit_end = place.capacity if place.position_1 == "far end" else 1
            yield Found(
                path=("place", index, "position_1"),
                message=f'found "{place.position_1}": balls leave at position {exit_end}; but '
                f"{coil}, which kicks them out, is beside {names} at the other end; mend one of "
                "the two",
                about=(place.id,),
            )


def falls_through(subject: Subject) -> Iterator[Found]:
    diameter = subject.profile.balls.diameter_mm
    for index, place in enumerate(subject.profile.place):
        width = place.contact_width_mm
        if diameter is not None and isinstance(width, int | float) and width >= diameter:
            yield Found(
                path=("place", index, "contact_width_mm"),
                message=f"found {width:g}; a ball of {diameter:g} mm falls through; state the "
                "distance between the lines on which it rolls",
                about=(place.id,),
            )


RULES: Final = (
    Rule(
        code="POS-03",
        name="position-unwatched",
        level="warning",
        what="Every position where a ball comes to rest has a sensor.",
        why="A ball there cannot be told from a missing one.",
        example="seats = 3",
        mend="Bind the sensor that watches it, or silence the rule for that place with the reason.",
        limits="Looked at only once it is stated for every sensor what works it. The open "
        "playfield is left aside.",
        look=unwatched,
    ),
    Rule(
        code="POS-04",
        name="jam-unwatched",
        level="warning",
        what="A jam position has a sensor.",
        why="jam = true says that there is a jam sensor; without one, two balls stacked at the "
        "kicker are not told from one.",
        example="jam = true",
        mend="Bind the jam sensor to PLACE.jam, or say jam = false.",
        limits="Looked at only once it is stated for every sensor what works it.",
        look=jam_unwatched,
    ),
    Rule(
        code="POS-05",
        name="point-unwatched",
        level="warning",
        what="Every point of a route has a sensor.",
        why="Points are the sensors that a ball passes, in order; one without a sensor is a slip "
        "of counting.",
        example="points = 2",
        mend="Bind a sensor to the point, or state fewer points.",
        limits="Looked at only once it is stated for every sensor what works it.",
        look=point_unwatched,
    ),
    Rule(
        code="POS-06",
        name="sensor-without-cause",
        level="warning",
        what="Optos and inductive sensors are worked by a ball or a mechanism.",
        why='They are there to see something; at = "none" says that nothing works them.',
        example='at = "none"',
        mend="State the position, or leave at out while it is not known.",
        limits="Contacts may have other causes: buttons, targets, slingshots, tilts.",
        look=without_cause,
    ),
    Rule(
        code="POS-07",
        name="order-against-positions",
        level="warning",
        what="Along a place the names, numbers and channels of the sensors rise or fall.",
        why="Two positions exchanged in the profile send people after the wrong sensor, and every "
        "prediction still looks plausible.",
        example='at = ["trough.3"]',
        mend="Look at the machine which sensor is at which position.",
        limits="Two positions have no order. A machine that is really wired so needs the rule "
        "silenced for that place.",
        look=disorder,
    ),
    Rule(
        code="POS-08",
        name="position-watched-twice",
        level="warning",
        what="No two sensors of one kind watch the same single position.",
        why="One of them is probably at the next one.",
        example='at = ["trough.1"]',
        mend="Mend the position of one of them.",
        limits="Sensors that watch several positions, such as a pair of beams, are left aside, "
        "and so is a second sensor of another kind: that is no slip of copying.",
        look=watched_twice,
    ),
    Rule(
        code="POS-09",
        name="beam-misses-ball",
        level="error",
        what="A beam passes at a height at which a ball blocks it.",
        why="Between height, rails and ball something is measured wrong: such an opto never sees.",
        example="beam_height_mm = 40",
        mend="Measure the height above the line on which the ball rolls.",
        limits="The width of the beam and jam beams are left aside. Geometry of a ball on two lines "
        "(derived).",
        look=beam_misses,
    ),
    Rule(
        code="POS-10",
        name="ball-out-of-reach",
        level="error",
        what="A ball passes an inductive sensor within its rated distance.",
        why="Farther out no setting of its pot makes it see the ball.",
        example="ball_gap_mm = 9",
        mend="Measure the gap again; look the rated distance up.",
        limits="A ball is a worse target than the rated plate: the real reach is shorter.",
        look=too_far,
    ),
    Rule(
        code="POS-11",
        name="positions-too-close",
        level="error",
        what="Positions are at least a ball apart.",
        why="Balls at rest touch; their sensors cannot stand closer than that.",
        example="pitch_mm = 20",
        mend="Measure the pitch or the ball again.",
        limits="A slanted row may look closer in a drawing; state the pitch along it.",
        look=too_close,
    ),
    Rule(
        code="POS-12",
        name="ball-falls-through",
        level="error",
        what="The two lines on which a ball rolls are closer than the ball is thick.",
        why="Otherwise there is nothing to roll on, and no time can be reckoned.",
        example="contact_width_mm = 30",
        mend="State the distance between the lines of contact, not that of the walls.",
        limits="It says nothing of whether a ball of another size would pass.",
        look=falls_through,
    ),
    Rule(
        code="POS-13",
        name="kicker-at-the-other-end",
        level="warning",
        what="The sensors beside the kicker of a place are at its exit end.",
        why="With the wrong end for position 1 every count but full and empty is predicted wrongly.",
        example='position_1 = "far end"\n\n[[sensor]]\nat = ["trough.1"]\nbeside = "kicker"',
        mend="Look at the machine at which end position 1 is, then mend position_1 or beside.",
        limits="Looked at where one coil kicks balls out of a place and every sensor beside it is "
        "in the half away from the exit.",
        look=kicker_at_the_other_end,
    ),
)
