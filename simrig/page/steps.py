"""The plan that proves the machine, to be ticked off step by step."""

from __future__ import annotations

import attrs

from simrig.profile.machine import Profile
from simrig.proving.plan import prove


@attrs.frozen(kw_only=True)
class Step:
    """One thing to do, what must be seen then, and what to beware of before."""

    do: str
    expect: str
    caution: str


def steps(profile: Profile) -> tuple[Step, ...]:
    """Return the steps of ``simrig prove`` for a machine."""
    return tuple(
        Step(do=step.do, expect=step.expect, caution=step.caution) for step in prove(profile).steps
    )
