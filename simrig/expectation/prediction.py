"""What each ball sensor must read, for any phase and number of balls."""

from __future__ import annotations

import attrs

from simrig.expectation.facts import dependencies, standing_on
from simrig.expectation.reasons import along_the_chain
from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, readings
from simrig.world.balls import Placement
from simrig.world.phases import Conditions, legal_placements, phase_of
from simrig.world.worlds import Worlds, worlds


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


def expect(profile: Profile, conditions: Conditions, *, table: Links | None = None) -> Prediction:
    """Predict the readings; ``table`` is the table of links, a sound machine's when left out.

    Raises ValueError, in words, for conditions that the machine cannot have.
    """
    table = table or links(profile)
    placements = legal_placements(profile, conditions)
    if not placements:
        raise ValueError(
            "no legal position of the balls fits these conditions; "
            "leave --phase out to say exactly where they are"
        )
    phase = None if conditions.seen_only else phase_of(profile, conditions.phase).id
    many = worlds(profile, placements)
    frame = readings(profile, table, many)
    return Prediction(
        machine=profile.id,
        phase=phase,
        balls=_balls(profile, conditions, placements),
        placements=placements,
        readings=tuple(
            expected(profile, table, many, frame, sensor, phase) for sensor in watched(profile)
        ),
        frame=frame,
    )


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
        why=along_the_chain(profile, table.chains[sensor.id], sensor, ball, reading),
        depends_on=dependencies(profile, standing_on(profile, table, many, frame, sensor, phase)),
        counted=sensor.counted,
    )


def _balls(profile: Profile, conditions: Conditions, placements: tuple[Placement, ...]) -> int:
    if conditions.balls is not None:
        return conditions.balls
    return placements[0].balls if conditions.seen_only else profile.balls.installed
