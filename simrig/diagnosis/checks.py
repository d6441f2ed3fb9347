"""The catalogue of bench checks of one machine, and what each says about each fault.

Every check is generated from the parts that the profile states; what it says
about a fault follows from the links of the machine (``bench_case``).  Minutes are
common practice, no source.
"""

from __future__ import annotations

import difflib
from collections.abc import Hashable, Iterable
from functools import cache

from simrig.diagnosis.bench_case import Case, Ground
from simrig.diagnosis.bench_check import RIGHT, Check
from simrig.diagnosis.checks_coils import coil_checks
from simrig.diagnosis.checks_granted import granted_checks
from simrig.diagnosis.checks_mates import mate_checks
from simrig.diagnosis.checks_matrix import line_checks
from simrig.diagnosis.checks_optical import beam_checks
from simrig.diagnosis.checks_plugs import plug_checks
from simrig.diagnosis.checks_reading import ball_checks, hand_checks, reading_checks
from simrig.diagnosis.checks_wiring import supply_checks, wire_checks
from simrig.diagnosis.grouping import Apart
from simrig.expectation.observation import resolve
from simrig.faults.candidates import Fault
from simrig.profile.machine import Profile


def catalogue(
    profile: Profile, *, ground: Ground | None = None, start_balls: str = "aboard"
) -> tuple[Check, ...]:
    """Return every bench check of a machine, those that plug-ins bring for it last.

    ``start_balls`` says where the balls were (aboard, some, out) when the sheet was taken.
    """
    about = Ground.of(profile) if ground is None else ground
    return (
        *reading_checks(about, start_balls),
        *granted_checks(about, start_balls),
        *ball_checks(about),
        *hand_checks(about),
        *mate_checks(about),
        *beam_checks(about),
        *supply_checks(about),
        *plug_checks(about),
        *wire_checks(about),
        *line_checks(about),
        *coil_checks(about),
        *profile.brought.get("simrig_checks", ()),
    )


def outcomes(check: Check, faults: Fault | Iterable[Fault]) -> frozenset[str]:
    """Return the results that a check can give with these faults showing.

    Empty: nobody can tell, any result is possible.
    """
    chosen = (faults,) if isinstance(faults, Fault) else tuple(faults)
    return check.outcomes(Case(ground=check.ground, faults=chosen))


def apart(checks: Iterable[Check]) -> Apart:
    """Return what a catalogue tells of a fault: equal for faults that no check parts."""
    every = tuple(checks)

    @cache
    def told(fault: Fault) -> Hashable:
        if not every:
            return None
        case = Case(ground=every[0].ground, faults=(fault,))
        return fault.kind.intermittent, frozenset(
            (check.id, found) for check in every if (found := check.outcomes(case)) != check.sound
        )

    return told


def check_named(checks: Iterable[Check], name: str) -> Check:
    """Return a check by its id; raises ValueError with near matches."""
    ids = {check.id: check for check in checks}
    wanted = name.strip().lower()
    if wanted in ids:
        return ids[wanted]
    near = difflib.get_close_matches(wanted, ids, 3)
    hint = f"did you mean {' or '.join(near)}?" if near else "simrig checks lists them"
    raise ValueError(f'there is no check "{name}"; {hint}')


def result_named(check: Check, text: str) -> str:
    """Return a result of a check as the check gives it.

    A listing check takes sensors by id, address, number or range, joined by ``+`` or
    a comma.  Raises ValueError in words.
    """
    wanted = text.strip().lower()
    if wanted in check.results and not check.listing:
        return wanted
    if check.listing:
        if wanted in (RIGHT, "none"):
            return RIGHT
        named: set[str] = set()
        for word in wanted.replace(",", "+").split("+"):
            named.update(resolve(check.ground.profile, word))
        listed = [one.id for one in check.ground.profile.ball_sensors() if one.id in named]
        if listed:
            return "+".join(listed)
    close = difflib.get_close_matches(wanted, check.results, 1)
    hint = f"; did you mean {close[0]}?" if close else ""
    raise ValueError(
        f'{check.id} has no result "{text.strip()}"; it knows: '
        + ", ".join(list(check.results)[:8])
        + hint
    )
