"""The ways by which a ball comes home when nobody plays."""

from __future__ import annotations

from collections.abc import Sequence

from simrig.profile.layout import Route
from simrig.profile.machine import Profile


def way_home(profile: Profile, start: str, end: str) -> list[Route] | None:
    """Return the shortest row of ways from place to place that needs no shot; None: there is none."""
    found: dict[str, list[Route]] = {start: []}
    waiting = [start]
    while waiting:
        here = waiting.pop(0)
        if here == end:
            return found[here]
        # Past as few sensors as can be: which way a loose ball takes nobody knows.
        for route in sorted(profile.route, key=lambda one: one.points or 0):
            if route.from_ != here or route.by == "shot":
                continue
            for target in route.to:
                if target not in found:
                    found[target] = [*found[here], route]
                    waiting.append(target)
    return None


def ends(path: Sequence[Route], end: str) -> list[str]:
    """Return where each way of a row leads."""
    return [*(str(route.from_) for route in path[1:]), end]


def captive_spot(profile: Profile, spot: str) -> bool:
    """Whether a spot belongs to a captive ball."""
    place = profile.row("place", profile.spots[spot].place)
    return place is not None and bool(place.captive)
