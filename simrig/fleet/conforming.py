"""A check of the conformance suite as a piece of work."""

from __future__ import annotations

from typing import Any

from simrig.errors import SimrigError
from simrig.fleet.orders import Order
from simrig.harness.broken_runs import BrokenError
from simrig.harness.conformance import CHECKS, Suite, WaitsError
from simrig.interchange.campaign_document import BROKEN, HOLDS, WAITS
from simrig.profile.machine import Profile


def checks() -> tuple[str, ...]:
    """Return the ids of the suite's checks, in their order."""
    return tuple(check.id for check in CHECKS)


def conformed(profile: Profile, order: Order) -> dict[str, Any]:
    """Make the check that an order names, and return what came of it as plain values."""
    check = next(check for check in CHECKS if check.id == order.check)
    suite = Suite(profile=profile, examples=order.options.examples or 1, seed=order.options.seed)
    outcome, words = HOLDS, ""
    try:
        check.run(suite)
    except WaitsError as waits:
        outcome, words = WAITS, str(waits)
    except (BrokenError, SimrigError) as broken:
        outcome, words = BROKEN, str(broken)
    return {"check": check.id, "title": check.title, "outcome": outcome, "words": words}
