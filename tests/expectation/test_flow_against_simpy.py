"""Expected events held against an independent run of the same motion in simpy.

The model below knows nothing of the project: balls are processes that roll in small
exact steps from beam to beam, with formulas of its own.
"""

import math

import attrs
import pytest
import simpy

import simrig
from simrig.expectation.flow import Flow
from simrig.expectation.geometry import EXACT
from simrig.expectation.motions import Motions
from simrig.scan.sampling import Sampling
from simrig.world.balls import Placement
from simrig.world.moves import start

G = 9806.65
BALL, PITCH, HEIGHT, WIDTH, SLOPE, SEATS = 27.0, 27.0, 15.0, 15.0, 7.0, 5


def acceleration():
    """Sphere on two rails: g sin / (1 + 0.4 R^2 / r^2). Source: NIC (MEC-05)."""
    radius = BALL / 2
    rolling = math.sqrt(radius**2 - (WIDTH / 2) ** 2)
    return G * math.sin(math.radians(SLOPE)) / (1 + 0.4 * radius**2 / rolling**2)


def chord():
    """What the beam meets of the ball: 2 sqrt(R^2 - h^2) (MEC-08)."""
    radius = BALL / 2
    offset = HEIGHT - math.sqrt(radius**2 - (WIDTH / 2) ** 2)
    return 2 * math.sqrt(radius**2 - offset**2)


def clock(distance, speed):
    """Seconds until a ball has rolled a distance: root of v t + a t^2 / 2 = s."""
    a = acceleration()
    return (-speed + math.sqrt(speed**2 + 2 * a * distance)) / a


class Trough:
    """Balls as processes; each says when it covers and uncovers a beam."""

    def __init__(self):
        self.env = simpy.Environment()
        self.log = []

    def say(self, beam, covered):
        self.log.append((self.env.now * 1000, f"trough-{beam}", covered))

    def roll(self, begins_mm, speed, ends_mm, *, delay=0.0):
        """Roll from a distance above the exit wall down to another, from a speed."""
        if delay:
            yield self.env.timeout(delay)
        began = self.env.now
        crossings = []
        for beam in range(1, SEATS + 1):
            centre = PITCH * (beam - 0.5)
            for edge, covered in ((centre + chord() / 2, True), (centre - chord() / 2, False)):
                if ends_mm < edge < begins_mm:
                    crossings.append((clock(begins_mm - edge, speed), beam, covered))
        for when, beam, covered in sorted(crossings):
            yield self.env.timeout(began + when - self.env.now)
            self.say(beam, covered)


def flow_of(balls):
    profile = simrig.load("tidal-clockwork")
    profile = attrs.evolve(profile, scan=None)
    spots = frozenset(f"trough.{number}" for number in range(1, balls + 1))
    placement = start(profile, Placement(spots=spots))
    # A scan without end of readings: nothing is missed, nothing is late.
    at_once = Sampling(period_ms=1e-9)
    motions = Motions(profile, sampling=at_once, allowance=EXACT)
    whole = Flow.of(profile, placement)
    return attrs.evolve(whole, motions=motions)


def edges(events):
    return [
        (one.typical_ms, one.signal, one.reading == "closed")
        for one in events
        if one.signal.startswith("trough-") and one.signal[-1].isdigit()
    ]


def same(ours, theirs):
    assert [one[1:] for one in ours] == [one[1:] for one in theirs]
    for one, other in zip(ours, theirs, strict=True):
        assert one[0] == pytest.approx(other[0], abs=1e-5)


@pytest.mark.parametrize("balls", range(SEATS))
def test_a_ball_fed_rolls_past_the_beams_as_in_simpy(balls):
    """Source: the same motion run in simpy; a hand lets go half a pitch above position 5."""
    trough = Trough()
    top = PITCH * (SEATS - 0.5) + PITCH / 2
    trough.env.process(trough.roll(top, 250.0, PITCH * (balls + 0.5)))
    trough.env.run()
    _, events = flow_of(balls).step("feed trough")
    same(edges(events), trough.log)


@pytest.mark.parametrize("balls", range(1, SEATS + 1))
def test_a_row_rolls_on_after_a_kick_as_in_simpy(balls):
    """Source: the same motion run in simpy; the kicked ball clears the way in 15 ms."""
    trough = Trough()
    kicked = 0.015

    def kick():
        yield trough.env.timeout(kicked)
        trough.say(1, False)

    trough.env.process(kick())
    for ball in range(2, balls + 1):
        centre = PITCH * (ball - 0.5)
        trough.env.process(trough.roll(centre, 0.0, centre - PITCH, delay=kicked))
    trough.env.run()
    _, events = flow_of(balls).step("serve")
    order = {name: number for number, name in enumerate(dict.fromkeys(e[1] for e in trough.log))}
    ours = sorted(edges(events), key=lambda edge: (round(edge[0], 6), order[edge[1]]))
    theirs = sorted(trough.log, key=lambda edge: (round(edge[0], 6), order[edge[1]]))
    same(ours, theirs)
