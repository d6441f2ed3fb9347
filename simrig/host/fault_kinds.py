"""The kinds of fault that are known: built in, and brought by plug-ins."""

from __future__ import annotations

from simrig.errors import Problem
from simrig.faults.modes import FAULT_KINDS, FaultKind
from simrig.host.index import Index
from simrig.host.manager import Host


def fault_kinds(
    known: Index, *, strict: bool = False
) -> tuple[tuple[FaultKind, ...], tuple[Problem, ...]]:
    """Return all kinds of fault, and what went wrong while plug-ins were asked for theirs.

    The first of two with the same id is used.  ``strict`` raises PluginError instead.
    """
    if not known.accepted:
        return FAULT_KINDS, ()
    host = Host(known=known, strict=strict)
    before = len(host.problems)
    found = host.gather("simrig_fault_kinds")
    return (*FAULT_KINDS, *found), tuple(host.problems[before:])
