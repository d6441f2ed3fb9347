"""What the page shows of a job: the places with what each sensor must read, and the answer.

Everything is asked of the same functions as the commands ask; nothing is worked out here.
"""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from simrig.expectation.comparison import Comparison, compare
from simrig.expectation.location import Location, locate
from simrig.expectation.prediction import Expected, Prediction, expect
from simrig.page.session import SheetState, State
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.reports import wording
from simrig.reports.marks import (
    BALL_WORDS,
    READING_WORDS,
    Marks,
    end_words,
    marks,
    numbers_in_order,
    sensor_words,
)
from simrig.scan.scanner import Links
from simrig.signals import CLOSED, FLICKERS, OPEN
from simrig.world.phases import phase_of


@attrs.frozen(kw_only=True)
class SensorView:
    """One sensor: where it is, what it must read, what was tapped."""

    id: str
    where: str
    named: str
    expected: str
    expected_words: str
    ball_words: str
    seen: str | None

    @property
    def differs(self) -> bool:
        """Whether what was tapped cannot be what it must read."""
        if self.seen is None:
            return False
        return self.seen == FLICKERS or (
            self.expected in (CLOSED, OPEN) and self.seen != self.expected
        )


@attrs.frozen(kw_only=True)
class SeatView:
    """One position: its label, whether a ball must be there, its sensors."""

    label: str
    ball: bool | None
    ball_words: str
    sensors: tuple[SensorView, ...]


@attrs.frozen(kw_only=True)
class PlaceView:
    """One place, its positions in order from the exit end."""

    id: str
    title: str
    count: str
    near: str
    far: str
    seats: tuple[SeatView, ...]


@attrs.frozen(kw_only=True)
class SheetView:
    """The whole sheet; ``problem`` says in words why nothing can be expected."""

    phase: str | None
    phase_title: str
    balls: int
    assumed: str
    polarity: str
    places: tuple[PlaceView, ...]
    passing: tuple[SensorView, ...]
    looked_at: int
    sensors: int
    problem: str | None


@attrs.frozen(kw_only=True)
class AnswerView:
    """The verdict: as the commands ``compare`` and ``locate`` answer it, and in words."""

    agrees: bool
    lines: tuple[str, ...]
    differences: tuple[tuple[str, str, str, str], ...]
    inverted: tuple[str, ...] | None
    better: tuple[str, ...]
    balls: tuple[tuple[str, str], ...]
    complete: bool
    comparison: Comparison
    location: Location | None


def predicted(
    profile: Profile, table: Links, sheet: SheetState
) -> tuple[Prediction | None, str | None]:
    """Return what must be read, or in words why nothing can be expected."""
    try:
        return expect(profile, sheet.conditions, table=table), None
    except ValueError as error:
        return None, str(error)


def sheet_view(profile: Profile, table: Links, state: State) -> SheetView:
    """Return the sheet that is being filled in."""
    sheet = state.sheet
    found, problem = predicted(profile, table, sheet)
    rows = {one.sensor: one for one in found.readings} if found else {}
    shown = marks(profile, found) if found else None
    views = {
        sensor.id: _sensor(profile, sensor.id, rows.get(sensor.id), sheet.readings)
        for sensor in profile.sensor
        if sensor.spots
    }
    left = dict(views)
    places = tuple(
        _place(profile, place, shown, left) for place in profile.place if not place.open_area
    )
    phase = phase_of(profile, sheet.phase) if profile.phase else None
    return SheetView(
        phase=None if phase is None else phase.id,
        phase_title="no phase is stated yet" if phase is None else phase.title,
        balls=profile.balls.installed if sheet.balls is None else sheet.balls,
        assumed="" if phase is None else wording.assumed(profile, sheet.conditions),
        polarity=wording.polarity(profile),
        places=places,
        passing=tuple(left.values()),
        looked_at=sum(name in views for name in sheet.readings),
        sensors=len(views),
        problem=problem,
    )


def agreeing(profile: Profile, table: Links, sheet: SheetState) -> dict[str, str]:
    """Return the readings of every sensor that was not tapped, taken to be as they must be."""
    found, _ = predicted(profile, table, sheet)
    return {
        one.sensor: one.reading
        for one in (found.readings if found else ())
        if one.place is not None
        and one.sensor not in sheet.readings
        and one.reading in (CLOSED, OPEN)
    }


def answer_view(profile: Profile, table: Links, state: State) -> AnswerView | None:
    """Return the verdict on the sheet; None where nothing was tapped or nothing can be expected."""
    sheet = state.sheet
    observation = sheet.observation(profile)
    if not observation.looked_at():
        return None
    try:
        found = compare(profile, observation, sheet.conditions, table=table)
        located = locate(profile, observation, sheet.conditions, table=table)
    except ValueError:
        return None
    fits = [fit for fit in found.fits if not fit.differences]
    turned = next((fit.inverted for fit in found.fits if fit.inverted), None)
    return AnswerView(
        agrees=found.agrees,
        lines=tuple(wording.verdict(profile, found, sheet.conditions)),
        differences=tuple(wording.differences(profile, found.differences)),
        # One reading that differs says nothing of the symbols.
        inverted=turned if len(found.differences) > 1 else None,
        better=()
        if found.agrees or fits
        else tuple(
            f"{wording.fit_words(profile, fit, sheet.conditions)} ({fit.differences} left)"
            for fit in found.fits[:3]
        ),
        balls=tuple(
            (wording.found_words(profile, one), wording.chance(one.probability))
            for one in located.placements[:3]
        ),
        complete=located.complete,
        comparison=found,
        location=located,
    )


def _sensor(
    profile: Profile, name: str, row: Expected | None, readings: Mapping[str, str]
) -> SensorView:
    sensor = profile.row("sensor", name)
    expected = row.reading if row else "not known"
    return SensorView(
        id=name,
        where=sensor.title,
        named=sensor_words(profile, sensor),
        expected=expected,
        expected_words=READING_WORDS.get(expected, expected),
        ball_words=BALL_WORDS[row.ball] if row else "",
        seen=readings.get(name),
    )


def _place(
    profile: Profile, place: Place, shown: Marks | None, left: dict[str, SensorView]
) -> PlaceView:
    labels = [
        (str(number), f"{place.id}.{number}")
        for number in numbers_in_order(place.capacity, place.position_1)
    ]
    spots = tuple(spot for _, spot in labels)
    if place.jam:
        labels.insert(0, ("top", f"{place.id}.jam"))
    seats = []
    for label, spot in labels:
        here = [s.id for s in profile.covering.get(spot, ()) if s.id in left]
        ball = shown.balls.get(spot, False) if shown else None
        seats.append(
            SeatView(
                label=label,
                ball=ball,
                ball_words=BALL_WORDS[ball] if shown else "not known",
                sensors=tuple(left.pop(name) for name in here),
            )
        )
    near, far = end_words(place.capacity, place.position_1)
    captive = f", {place.captive} captive ball not counted" if place.captive else ""
    count = f"{shown.count(spots)} of {place.capacity}{captive}" if shown else ""
    return PlaceView(
        id=place.id, title=place.title, count=count, near=near, far=far, seats=tuple(seats)
    )
