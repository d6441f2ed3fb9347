"""What is written into a drawing of a machine: where balls are, what the sensors read."""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from simrig.expectation.prediction import Prediction
from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.signals import CLOSED, OPEN
from simrig.world.worlds import worlds

BALL_WORDS = {True: "ball here", False: "no ball", None: "ball or none"}
READING_WORDS = {CLOSED: "closed", OPEN: "open", "either": "open or closed"}


@attrs.frozen(kw_only=True)
class Marks:
    """What a drawing shows besides the machine itself.

    ``balls`` says for each spot whether a ball is there, None where legal
    positions differ; ``readings`` the reading of each sensor; ``title`` what is
    assumed, in words.
    """

    balls: Mapping[str, bool | None]
    readings: Mapping[str, str]
    title: str = ""

    def count(self, spots: tuple[str, ...]) -> str:
        """Return how many balls lie in some spots, in words: ``3``, ``2 to 3``."""
        surely = sum(self.balls.get(spot, False) is True for spot in spots)
        maybe = sum(self.balls.get(spot, False) is None for spot in spots)
        return str(surely) if not maybe else f"{surely} to {surely + maybe}"


def marks(profile: Profile, found: Prediction, title: str = "") -> Marks:
    """Return a prediction as marks; captive balls are in it."""
    many = worlds(profile, found.placements)
    everything = many.everything
    balls: dict[str, bool | None] = {}
    for spot in profile.spots:
        surely = many.occupied.get(spot, 0)
        maybe = surely | many.perhaps.get(spot, 0)
        balls[spot] = True if surely == everything else None if maybe else False
    readings = {one.sensor: one.reading for one in found.readings}
    return Marks(balls=balls, readings=readings, title=title)


def numbers_in_order(seats: int, position_1: str | None) -> list[int]:
    """Return the numbers of a place's positions as they lie, the one at the exit end first."""
    numbers = list(range(1, seats + 1))
    return numbers[::-1] if position_1 == "far end" else numbers


def end_words(seats: int, position_1: str | None) -> tuple[str, str]:
    """Return what is written at the two ends of a row of positions."""
    if seats == 1:
        return "", ""
    if position_1 is None:
        return "one end", "other end (which is the exit is not known)"
    return "exit end", "far end"


def sensor_words(profile: Profile, sensor: Sensor) -> str:
    """Return what names a sensor at the machine: its number and its address."""
    address = profile.address_of.get(sensor.id)
    parts = [f"no. {sensor.number}"] if sensor.number is not None else []
    parts += [str(address)] if address else []
    return ", ".join(parts) or "address not known"
