"""Plug-ins: the hooks they fill, how they are probed and loaded, the machines they bring.

The names below are all that a plug-in needs: ``hookimpl`` marks the functions that fill a
hook, the others are what hooks return and what that is made of.  Each is imported when it
is first used.
"""

from __future__ import annotations

# The typing module would cost more than all that telling the version takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from simrig.diagnosis.bench_case import Case, Ground
    from simrig.diagnosis.bench_check import Check
    from simrig.diagnosis.bench_state import needs_of
    from simrig.faults.modes import FaultKind
    from simrig.host.hookspecs import Reader, hookimpl
    from simrig.profile.components import SensorKind
    from simrig.sensing.chain import Part
    from simrig.training.question import Question
    from simrig.vetting.rule import Found, Rule

__all__ = [
    "Case",
    "Check",
    "FaultKind",
    "Found",
    "Ground",
    "Part",
    "Question",
    "Reader",
    "Rule",
    "SensorKind",
    "hookimpl",
    "needs_of",
]

_HOMES = {
    "Case": "simrig.diagnosis.bench_case",
    "Check": "simrig.diagnosis.bench_check",
    "FaultKind": "simrig.faults.modes",
    "Found": "simrig.vetting.rule",
    "Ground": "simrig.diagnosis.bench_case",
    "Part": "simrig.sensing.chain",
    "Question": "simrig.training.question",
    # pluggy is imported only where a plug-in, or the host itself, needs it.
    "Reader": "simrig.host.hookspecs",
    "Rule": "simrig.vetting.rule",
    "SensorKind": "simrig.profile.components",
    "hookimpl": "simrig.host.hookspecs",
    "needs_of": "simrig.diagnosis.bench_state",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
