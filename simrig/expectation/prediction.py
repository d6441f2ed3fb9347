"""What each ball sensor must read, for any phase and number of balls."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import reduce
from operator import and_, or_

import attrs

from simrig.expectation.facts import dependencies, standing_on
from simrig.expectation.reasons import Reasons
from simrig.faults.candidates import Fault
from simrig.faults.dispositions import placements_with
from simrig.faults.injection import inject
from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, readings
from simrig.world.balls import Placement
from simrig.world.phases import Conditions, legal_placements, phase_of
from simrig.world.worlds import Value, Worlds, worlds


@attrs.frozen(kw_only=True)
class Expected:
    """The reading that one sensor must give, and why.

    ``ball`` is True or False where a ball surely is or is not at the sensor,
    None where legal positions differ.  ``depends_on`` names unknown facts that
    make the reading ``either``, and assumed ones that it stands on.
    """

    sensor: str
    address: str
    place: str | None
    position: int | None
    ball: bool | None
    reading: str
    why: str
    depends_on: tuple[str, ...]
    counted: bool


@attrs.frozen(kw_only=True)
class Prediction:
    """Every ball sensor's expected reading under some conditions."""

    machine: str
    phase: str | None
    balls: int
    placements: tuple[Placement, ...]
    readings: tuple[Expected, ...]
    frame: Frame = attrs.field(eq=False, repr=False)


def expect(
    profile: Profile,
    conditions: Conditions,
    *,
    table: Links | None = None,
    faults: Sequence[Fault] = (),
) -> Prediction:
    """Predict the readings; ``table`` is the table of links, a sound machine's when left out.

    With ``faults`` in the machine: parts change the links, balls lie otherwise, and what an
    intermittent one makes of a reading comes and goes.  Raises ValueError, in words, for
    conditions that the machine cannot have, and for a part that fails in two ways.
    """
    table = table or links(profile)
    placements = legal_placements(profile, conditions)
    if not placements:
        raise ValueError(
            "no legal position of the balls fits these conditions; "
            "leave --phase out to say exactly where they are"
        )
    if faults:
        placements = placements_with(profile, conditions, faults)
    phase = None if conditions.seen_only else phase_of(profile, conditions.phase).id
    many = worlds(profile, placements)
    faulty = inject(profile, table, faults)
    frame = _frame(profile, table, many, faults)
    reasons = Reasons(profile, faulty, many, frame, faults)
    return Prediction(
        machine=profile.id,
        phase=phase,
        balls=_balls(profile, conditions, placements),
        placements=placements,
        readings=tuple(
            expected(profile, faulty, many, frame, sensor, phase, reasons)
            for sensor in watched(profile)
        ),
        frame=frame,
    )


def _frame(profile: Profile, table: Links, many: Worlds, faults: Sequence[Fault]) -> Frame:
    """Return the readings; where an intermittent fault makes two of one, either is possible."""
    fickle = [fault for fault in faults if fault.kind.intermittent]
    frames = [
        readings(
            profile,
            inject(profile, table, [fault for fault in faults if fault not in absent]),
            many,
        )
        for size in range(len(fickle) + 1)
        for absent in itertools.combinations(fickle, size)
    ]
    cells = {}
    for name in frames[0].cells:
        values = [frame.cells[name] for frame in frames]
        cells[name] = Value(
            reduce(and_, [value.surely for value in values]),
            reduce(or_, [value.maybe for value in values]),
        )
    return attrs.evolve(frames[0], cells=cells)


def watched(profile: Profile) -> tuple[Sensor, ...]:
    """The sensors that a ball works, or of which nobody knows yet what does."""
    return tuple(
        sensor
        for sensor in profile.sensor
        if sensor.spots or (sensor.at is None and not sensor.follows)
    )


def expected(
    profile: Profile,
    table: Links,
    many: Worlds,
    frame: Frame,
    sensor: Sensor,
    phase: str | None,
    reasons: Reasons,
) -> Expected:
    """Return one sensor's row of a prediction."""
    worked = many.works(sensor)
    everything = many.everything
    ball = True if worked.surely == everything else False if not worked.maybe else None
    spot = next((profile.spots[name] for name in sensor.spots), None)
    reading = frame.reading(sensor.id)
    address = profile.address_of.get(sensor.id)
    return Expected(
        sensor=sensor.id,
        address=str(address) if address else "",
        place=None if spot is None else spot.place or spot.route,
        position=None if spot is None else spot.position,
        ball=ball if sensor.spots else None,
        reading=reading,
        why=reasons.why(sensor, ball, reading),
        depends_on=dependencies(profile, standing_on(profile, table, many, frame, sensor, phase)),
        counted=sensor.counted,
    )


def _balls(profile: Profile, conditions: Conditions, placements: tuple[Placement, ...]) -> int:
    if conditions.balls is not None:
        return conditions.balls
    return placements[0].balls if conditions.seen_only else profile.balls.installed
