"""The documented weights as prior counts, and a machine's faults with the record in them.

Sensors whose parts stand beside a kicker are shaken; they and all other parts
are two neighbourhoods, each with counts of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import attrs

from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.modes import FAULT_KINDS, FaultKind
from simrig.history import rates
from simrig.history.rates import Seen
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile

_HIGHEST_ODDS = 9.0


def prior_of_kinds(
    kinds: Iterable[FaultKind] = FAULT_KINDS, *, beside_kicker: bool
) -> dict[str, float]:
    """Return prior counts by kind of part for any machine: one part of each kind.

    Beside a kicker only the parts of a sensor stand, but which those are is a
    machine's own matter: all kinds are kept, the shaken ones with more weight.
    """
    return rates.prior_counts(
        (kind.part, kind.odds * (kind.beside_kicker if beside_kicker else 1.0)) for kind in kinds
    )


def prior_of_machine(
    profile: Profile, faults: Iterable[Fault] | None = None, *, beside_kicker: bool
) -> dict[str, float]:
    """Return prior counts by kind of part for one machine: each of its parts weighs."""
    known = possible_faults(profile) if faults is None else faults
    return rates.prior_counts(
        (fault.kind.part, fault.odds)
        for fault in known
        if is_beside_kicker(profile, fault) == beside_kicker
    )


def is_beside_kicker(profile: Profile, fault: Fault) -> bool:
    """Whether a fault is one of a sensor whose parts stand beside a kicker."""
    if fault.sensor is None:
        return False
    return profile.row("sensor", fault.sensor).beside not in (None, NONE)


def with_records(
    profile: Profile, faults: Iterable[Fault], seen: Iterable[Seen]
) -> tuple[Fault, ...]:
    """Return the faults with odds in which the shop's records count.

    The odds of each fault are multiplied by what the Dirichlet rule makes of the
    share of its kind of part in its neighbourhood.
    """
    faults = tuple(faults)
    seen = tuple(seen)
    by_side: dict[bool, Mapping[str, float]] = {}
    for beside in (False, True):
        prior = prior_of_machine(profile, faults, beside_kicker=beside)
        by_side[beside] = rates.factors(prior, rates.counts(seen, beside_kicker=beside))
    return tuple(
        attrs.evolve(
            fault,
            odds=min(
                fault.odds * by_side[is_beside_kicker(profile, fault)][fault.kind.part],
                _HIGHEST_ODDS,
            ),
        )
        for fault in faults
    )
