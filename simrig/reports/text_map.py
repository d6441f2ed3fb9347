"""The places and ways of a machine drawn in text."""

from __future__ import annotations

from collections.abc import Iterator

from simrig.profile.layout import Place
from simrig.profile.machine import Profile


def ball_path(profile: Profile) -> Iterator[str]:
    """Yield lines that draw each place with its positions, and the ways out of it."""
    for place in profile.place:
        yield _place(profile, place)
        if place.jam:
            watching = _sensors(profile, f"{place.id}.jam")
            yield f"    above the ball at the kicker: {watching}"
        for route in profile.route:
            if route.from_ == place.id:
                how = {"coil": f"coil {route.coil}" if route.coil else "a coil"}.get(
                    route.by, route.by
                )
                ends = " or ".join(route.to)
                when = "".join(
                    f", while {name} stands {state}" for name, state in (route.when or {}).items()
                )
                passed = [
                    sensor.id
                    for number in range(1, (route.points or 0) + 1)
                    for sensor in profile.covering.get(f"{route.id}.{number}", ())
                ]
                passing = ", ".join(dict.fromkeys(passed))
                seen = f", past {passing}" if passing else ""
                yield f"    {route.id}: to {ends} by {how}{when}{seen}"


def _place(profile: Profile, place: Place) -> str:
    title = f"{place.title} ({place.id})"
    if place.open_area:
        return f"{title}: any number of balls, no order"
    numbers = list(range(1, place.capacity + 1))
    if place.position_1 == "far end":
        numbers.reverse()
    cells = " ".join(f"[{number}]" for number in numbers)
    exit_end = {"exit end": f"exit <- {cells}", "far end": f"exit <- {cells}"}.get(
        place.position_1 or "", cells
    )
    if place.capacity == 1:
        exit_end = cells
    note = f"  {place.captive} captive, not counted" if place.captive else ""
    order = (
        "  (which end is the exit is not known)"
        if place.position_1 is None and place.capacity > 1
        else ""
    )
    return f"{title}: {exit_end}{order}{note}"


def _sensors(profile: Profile, spot: str) -> str:
    return ", ".join(sensor.id for sensor in profile.covering.get(spot, ())) or "no sensor"
