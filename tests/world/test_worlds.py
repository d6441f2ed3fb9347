"""Placements as bits, read off by hand."""

from __future__ import annotations

from simrig.profile.components import Sensor
from simrig.world.balls import Placement
from simrig.world.worlds import Value, worlds
from tests.world.small_layouts import layout, place, sensor


def test_a_bit_for_each_placement():
    """Nine placements: the first, the eighth and the ninth hold a ball on the spot."""
    held = {0, 7, 8}
    many = worlds(
        layout(), [Placement(spots={"lock.1"} if n in held else {"lock.2"}) for n in range(9)]
    )
    assert many.everything == 0b111111111
    assert many.occupied["lock.1"] == 0b110000001
    assert many.occupied["lock.2"] == 0b001111110
    assert many.works(sensor("s", "lock.1")) == Value(0b110000001, 0b110000001)
    assert many.works(sensor("s", "lock.1", "lock.2")) == Value(many.everything, many.everything)
    assert many.works(sensor("s", "lane.1")) == Value(0, 0)


def test_where_a_ball_lies_at_one_of_two_spots_it_works_their_sensors_perhaps():
    """In nine placements, of the first and the last it is not known which end it is at."""
    many = worlds(
        layout(),
        [
            Placement(spots={"trough.1", "trough.2"}, unsure={"trough.1", "trough.3"})
            if n in (0, 8)
            else Placement(spots={"trough.1"})
            for n in range(9)
        ],
    )
    either, first = 0b100000001, 0b011111110
    assert many.works(sensor("s", "trough.1")) == Value(first, many.everything)
    assert many.works(sensor("s", "trough.2")) == Value(either, either)
    assert many.works(sensor("s", "trough.3")) == Value(0, either)


def test_no_placement_at_all():
    """Nothing holds in no world."""
    assert worlds(layout(), []).everything == 0


def test_a_ball_works_a_sensor_of_unknown_place_perhaps():
    """Where a sensor sits is not known: it may be worked in any world; bound to none, in none."""
    many = worlds(layout(), [Placement(spots={"lock.1"}), Placement(spots=())])
    assert many.works(Sensor(id="s", kind="micro-switch")) == Value(0, 0b11)
    assert many.works(sensor("s")) == Value(0, 0)


def test_captive_balls_are_in_every_world():
    """One at a known end surely, one at an unknown end perhaps at either."""
    wells = (
        place("near", 2, captive=1, rest_end="exit end"),
        place("either", 2, captive=1),
        place("lock", 2),
    )
    many = worlds(layout(place=wells), [Placement(spots=()), Placement(spots={"lock.1"})])
    assert many.works(sensor("s", "near.1")) == Value(0b11, 0b11)
    assert many.works(sensor("s", "near.2")) == Value(0, 0)
    assert many.works(sensor("s", "either.1")) == Value(0, 0b11)
    assert many.works(sensor("s", "either.1", "lock.1")) == Value(0b10, 0b11)


def test_a_mechanism_works_what_follows_it():
    """Where it stands so for certain; where it may; where its state is not told; and not."""
    many = worlds(
        layout(),
        [
            Placement(
                spots=(), states=[("gate", frozenset({"down"})), ("post", frozenset({"in"}))]
            ),
            Placement(spots=(), states=[("gate", frozenset({"down", "up"}))]),
            Placement(spots=()),
            Placement(spots=(), states=[("gate", frozenset({"up"}))]),
            Placement(
                spots=(), states=[("alarm", frozenset({"down"})), ("gate", frozenset({"up"}))]
            ),
        ],
    )
    assert many.works(sensor("s", follows={"gate": "down"})) == Value(0b00001, 0b00111)
    assert many.works(sensor("s", follows={"post": "in"})) == Value(0b00001, 0b11111)
