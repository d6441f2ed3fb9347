"""Setting an inductive sensor so that a ball is seen and nothing else is.

IEC 60947-5-2 gives the distances of such a sensor as multiples of its rated one,
Sn, for a square steel plate 1 mm thick with sides of max(face diameter, 3 Sn)::

    effective   Sr = 0.9 .. 1.1 Sn     one specimen, at 23 degrees C
    usable      Su = 0.9 .. 1.1 Sr     over its range of heat and supply: 0.81 .. 1.21 Sn
    assured     Sa = 0 .. 0.81 Sn      every specimen sees the plate
    hysteresis  H <= 0.2 Sr            so that every one is off beyond 1.43 Sn

Another metal shortens them by a factor of its own.  A sensor with a pot is set
where it stands, so that the spread between specimens drops out; heat, supply and
hysteresis stay.  The bands hold for flat targets.  A ball is smaller and round,
and shortens the distance by a factor that only a trial tells: **whatever is
computed here for a ball is an estimate**, to be proven by rolling one across.
"""

from __future__ import annotations

import math
from typing import Final

import attrs

from simrig.bounds import FACTOR, NOT_NEGATIVE, POSITIVE, SHARE, Bounds

SPECIMEN_SPREAD: Final = 0.1
"""How far one specimen's effective distance may differ from the rated one."""

DRIFT: Final = 0.1
"""How far heat and supply may move the distance of one specimen."""

HYSTERESIS: Final = 0.2
"""The most by which the distance of switching off may exceed that of switching on."""


@attrs.frozen(kw_only=True)
class Bands:
    """The distances that the standard allows, in mm, least and greatest."""

    effective_mm: tuple[float, float]
    usable_mm: tuple[float, float]
    assured_mm: tuple[float, float]
    surely_off_mm: float


def bands(rated_mm: float, *, material_factor: float = 1.0) -> Bands:
    """Return the bands of a rated sensing distance, for a flat target.

    ``material_factor`` is 1 for steel and less for other metals (the data sheet's;
    not standardised).  ValueError for a distance or factor that cannot be.
    """
    POSITIVE.check("rated_mm", rated_mm)
    FACTOR.check("material_factor", material_factor)
    mm = rated_mm * material_factor
    low, high = 1 - SPECIMEN_SPREAD, 1 + SPECIMEN_SPREAD
    return Bands(
        effective_mm=(low * mm, high * mm),
        usable_mm=(low * (1 - DRIFT) * mm, high * (1 + DRIFT) * mm),
        assured_mm=(0.0, low * (1 - DRIFT) * mm),
        surely_off_mm=(high * (1 + DRIFT) + HYSTERESIS * high) * mm,
    )


def hysteresis_within_bound(on_mm: float, off_mm: float) -> bool:
    """Whether a target that switches on at one distance and off at another is within 0.2 Sr."""
    POSITIVE.check("on_mm", on_mm)
    Bounds(least=on_mm).check("off_mm", off_mm)
    return off_mm - on_mm <= HYSTERESIS * on_mm


def standard_target_mm(face_diameter_mm: float, rated_mm: float) -> float:
    """Return the side of the square steel plate for which a rated distance holds."""
    POSITIVE.check("face_diameter_mm", face_diameter_mm)
    POSITIVE.check("rated_mm", rated_mm)
    return max(face_diameter_mm, 3 * rated_mm)


@attrs.frozen(kw_only=True)
class PotWindow:
    """The settings of a pot that serve, as switching distances on a flat plate.

    At ``low_mm`` a ball is just seen in the worst heat and supply, at ``high_mm``
    the sensor just goes off again without one.  ``estimate`` is always true: the
    standard's bands hold for flat targets, a ball is smaller.
    """

    low_mm: float
    high_mm: float
    estimate: bool = attrs.field(default=True, init=False)

    @property
    def empty(self) -> bool:
        """Whether no setting serves."""
        return self.high_mm < self.low_mm

    @property
    def best_mm(self) -> float:
        """The setting with the same margin on both sides; ValueError where none serves."""
        if self.empty:
            raise ValueError("no setting sees the ball and goes off again without it")
        return math.sqrt(self.low_mm * self.high_mm)

    def margin(self, setting_mm: float) -> float:
        """Return by what share a setting may still move before it fails; negative: it fails."""
        POSITIVE.check("setting_mm", setting_mm)
        return min(1 - self.low_mm / setting_mm, self.high_mm / setting_mm - 1)

    def why(self) -> str:
        """Say in words what bounds the window, and why an edge drifts."""
        if self.empty:
            return (
                f"no setting serves, by estimate: a ball wants {self.low_mm:.1f} mm or more,"
                f" what is near at rest {self.high_mm:.1f} mm or less; move the sensor nearer"
                " to the ball's way, or the metal away from it"
            )
        return (
            f"set between {self.low_mm:.1f} and {self.high_mm:.1f} mm, best near"
            f" {self.best_mm:.1f} mm (an estimate: the bands hold for a flat plate, a ball is"
            " smaller); heat and supply move the distance by a tenth: at the lower edge that"
            " loses balls, at the upper one it leaves the sensor on after a ball"
        )


def pot_window(
    *,
    ball_gap_mm: float,
    rest_gap_mm: float,
    ball_factor: float = 1.0,
    rest_factor: float = 1.0,
    drift: float = DRIFT,
    hysteresis: float = HYSTERESIS,
) -> PotWindow:
    """Return the settings at which a ball is seen and the sensor is off at rest.

    ``ball_gap_mm`` is the distance at which a ball passes, ``rest_gap_mm`` that of
    the nearest metal with no ball there.  The factors say by how much each
    shortens the distance against the standard plate: material, size and shape.
    With the setting s: (1 - drift) s * ball_factor >= ball gap, and
    (1 + drift) (1 + hysteresis) s * rest_factor <= rest gap.
    """
    POSITIVE.check("ball_gap_mm", ball_gap_mm)
    POSITIVE.check("rest_gap_mm", rest_gap_mm)
    FACTOR.check("ball_factor", ball_factor)
    FACTOR.check("rest_factor", rest_factor)
    SHARE.check("drift", drift)
    SHARE.check("hysteresis", hysteresis)
    return PotWindow(
        low_mm=ball_gap_mm / ((1 - drift) * ball_factor),
        high_mm=rest_gap_mm / ((1 + drift) * (1 + hysteresis) * rest_factor),
    )


def procedure(
    *, lit_when: str = "ball near", rest_reads: str = "open", worked_reads: str = "closed"
) -> tuple[str, ...]:
    """Return in words how to set the pot, one step a line, the caution first.

    ``lit_when`` says what the indicator means, "ball near" or "no ball near";
    the readings are the profile's.  Common practice, no source.
    """
    if lit_when not in ("ball near", "no ball near"):
        raise ValueError(f'lit_when is {lit_when!r}; wanted "ball near" or "no ball near"')
    off, on = ("goes out", "comes on") if lit_when == "ball near" else ("comes on", "goes out")
    return (
        "Caution: the power is on. Prove the coils dead first, keep hands out of mechanisms"
        " and work with a stick; the machine's own manual and local codes come first.",
        "Playfield down as in play, machine warm, no ball near the sensor.",
        f"Turn the pot back until the indicator {off}.",
        f"Turn it forward until the indicator {on}.",
        f"Turn it back until the indicator {off}, and a little further.",
        "Roll a ball across, as it rolls in play:"
        f" the indicator {on} for each ball and {off} after it.",
        f"If it does not: where it no longer {off}, turn back further; where a ball is"
        " missed, forward a little; roll again.",
        f"Check the switch: {rest_reads} at rest, {worked_reads} over the sensor.",
    )


@attrs.frozen(kw_only=True)
class SimulatedPot:
    """A sensor with a pot, to practise on: a value, each act gives a new one.

    ``turns`` of ``full_turns`` sets the switching distance between ``least_mm``
    and ``most_mm``; turning forward makes it more sensitive.  The distance
    grows in proportion to heat (by ``drift`` from 23 to 70 degrees C) and shrinks
    with the supply (by ``drift`` from 100 to 85 per cent), never by more than
    ``drift`` in all: the bound is the standard's (its ranges from memory), the
    straight lines are ours.  The output has a hysteresis: ``on`` remembers.
    """

    least_mm: float = attrs.field(default=1.0, validator=POSITIVE)
    most_mm: float = attrs.field(default=12.0, validator=POSITIVE)
    full_turns: float = attrs.field(default=15.0, validator=POSITIVE)
    turns: float = attrs.field(default=0.0, validator=NOT_NEGATIVE)
    ball_gap_mm: float = attrs.field(default=3.0, validator=POSITIVE)
    ball_factor: float = attrs.field(default=0.8, validator=FACTOR)
    rest_gap_mm: float = attrs.field(default=9.0, validator=POSITIVE)
    rest_factor: float = attrs.field(default=1.0, validator=FACTOR)
    hysteresis: float = attrs.field(default=0.1, validator=SHARE)
    drift: float = attrs.field(default=DRIFT, validator=SHARE)
    celsius: float = attrs.field(default=23.0, validator=Bounds(least=-25, most=70))
    supply_share: float = attrs.field(default=1.0, validator=Bounds(least=0.85, most=1.1))
    lit_when: str = attrs.field(
        default="ball near", validator=attrs.validators.in_(("ball near", "no ball near"))
    )
    ball_near: bool = False
    on: bool = False

    @turns.validator
    def _within_its_travel(self, _: object, turns: float) -> None:
        if turns > self.full_turns:
            raise ValueError(f"turns is {turns:g}; wanted at most full_turns, {self.full_turns:g}")

    @most_mm.validator
    def _above_the_least(self, _: object, most_mm: float) -> None:
        if most_mm <= self.least_mm:
            raise ValueError(f"most_mm is {most_mm:g}; wanted above least_mm, {self.least_mm:g}")

    def __attrs_post_init__(self) -> None:
        """Let the output follow: on within the distance, off beyond it and the hysteresis."""
        reach_mm = self.switching_mm * (1 + self.hysteresis if self.on else 1)
        near = self.rest_gap_mm <= reach_mm * self.rest_factor
        if self.ball_near:
            near = near or self.ball_gap_mm <= reach_mm * self.ball_factor
        object.__setattr__(self, "on", near)

    @property
    def setting_mm(self) -> float:
        """The switching distance on a flat plate that the pot is set to, undrifted."""
        return self.least_mm + (self.most_mm - self.least_mm) * self.turns / self.full_turns

    @property
    def switching_mm(self) -> float:
        """The switching distance on a flat plate as it is now, with heat and supply."""
        warm = (self.celsius - 23) / 47
        weak = (1 - self.supply_share) / 0.15
        return self.setting_mm * (1 + self.drift * max(-1.0, min(1.0, warm - weak)))

    @property
    def indicator_lit(self) -> bool:
        """Whether the indicator is lit."""
        return self.on == (self.lit_when == "ball near")

    def turned(self, by: float) -> SimulatedPot:
        """Return it with the pot turned, forward if positive; it stops at its ends."""
        return attrs.evolve(self, turns=min(self.full_turns, max(0.0, self.turns + by)))

    def with_ball(self, near: bool) -> SimulatedPot:
        """Return it with a ball near, or with none."""
        return attrs.evolve(self, ball_near=near)

    def at(
        self, *, celsius: float | None = None, supply_share: float | None = None
    ) -> SimulatedPot:
        """Return it warmer, colder, or on another supply voltage (as a share of the rated one)."""
        return attrs.evolve(
            self,
            celsius=self.celsius if celsius is None else celsius,
            supply_share=self.supply_share if supply_share is None else supply_share,
        )

    def rolled_across(self) -> tuple[bool, SimulatedPot]:
        """Roll a ball across: whether it was seen as a change, and the sensor afterwards."""
        passing = self.with_ball(True)
        after = passing.with_ball(False)
        return (not self.on and passing.on), after

    def window(self) -> PotWindow:
        """Return the settings that serve this sensor in all heat and supply."""
        return pot_window(
            ball_gap_mm=self.ball_gap_mm,
            rest_gap_mm=self.rest_gap_mm,
            ball_factor=self.ball_factor,
            rest_factor=self.rest_factor,
            drift=self.drift,
            hysteresis=self.hysteresis,
        )
