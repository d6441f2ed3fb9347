"""The parts behind a sensor as JSON for other tools."""

from __future__ import annotations

from typing import Any

import attrs

from simrig.expectation.parts_behind import Behind
from simrig.profile.machine import Profile


def document(profile: Profile, found: Behind) -> dict[str, Any]:
    """Return the parts behind one sensor; what is not known is null."""
    resistor, window = found.resistor, found.window
    address = profile.address_of.get(found.sensor.id)
    return {
        "sensor": found.sensor.id,
        "address": None if address is None else str(address),
        "links": [{"kind": kind, "part": name} for kind, name in found.links],
        "shares": {what: list(names) for what, names in found.mates},
        "resistor": None
        if resistor is None
        else attrs.asdict(resistor) | {"label": resistor.label},
        "setting": list(found.setting),
        "pot": None
        if window is None
        else {
            "low_mm": window.low_mm,
            "high_mm": window.high_mm,
            "best_mm": None if window.empty else window.best_mm,
            "margin": None if window.empty else window.margin(window.best_mm),
            "estimate": window.estimate,
        },
        "missing": list(found.missing),
    }
