"""What the machine's controller makes of its readings, as data."""

from __future__ import annotations

import attrs

from simrig.profile import keys
from simrig.profile.keys import Key, Stated


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Controller(Stated):
    """How the controller counts, starts, serves, searches and gives up."""

    home_sensors: tuple[str, ...] | None = keys.sequence(
        "the sensors whose worked readings it counts as balls at home",
        Key(shape="identifier", meaning="a sensor", refers="sensor"),
    )
    start_needs: int | None = keys.integer(
        "balls at home that it wants before a game starts", 0, 20
    )
    serve_coil: str | None = keys.reference("the coil that serves a ball", "coil")
    served_sensor: str | None = keys.reference(
        "the sensor by which it knows that a ball was served", "sensor"
    )
    serve_again_s: float | None = keys.number(
        "time after which it kicks again when nothing moved", "s", 0.1, 120
    )
    serve_tries: int | None = keys.integer("kicks before it gives up serving", 1, 50)
    search_after_s: float | None = keys.number(
        "time without any playfield reading after which it searches for a ball", "s", 1, 600
    )
    lock_tries: int | None = keys.integer("kicks before it gives up emptying a lock", 1, 50)
    lock_sensors: tuple[str, ...] | None = keys.sequence(
        "the sensors by which it counts locked balls",
        Key(shape="identifier", meaning="a sensor", refers="sensor"),
    )
    jam_sensor: str | None = keys.reference(
        "the sensor that tells it that balls are stacked at the kicker", "sensor"
    )
