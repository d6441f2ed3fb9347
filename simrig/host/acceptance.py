"""What a plug-in must look like, and what its hooks must return.

Every check returns messages: what was found, what is wanted, what to do next.
"""

from __future__ import annotations

import difflib
import inspect
import os
import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import FunctionType
from typing import Any, Final

from simrig.host import hookspecs
from simrig.profile.components import SENSOR_KINDS, SensorKind

MOST_RESULTS: Final = 1000
"""The most things that one call of a hook may return."""

SPECIFICATIONS: Final[dict[str, FunctionType]] = {
    name: value
    for name, value in vars(hookspecs).items()
    if name.startswith("simrig_") and isinstance(value, FunctionType)
}
"""Every hook by its name."""


def _arguments(function: Callable[..., Any]) -> list[str]:
    named = (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD)
    return [
        parameter.name
        for parameter in inspect.signature(function).parameters.values()
        if parameter.kind in named and parameter.default is inspect.Parameter.empty
    ]


def _shown(name: str, function: Callable[..., Any]) -> str:
    return f"{name}({', '.join(_arguments(function))})"


def refusals(plugin: object) -> Iterator[str]:
    """Yield what is wrong with the hooks of a plug-in, before any of them is called."""
    marker = f"{hookspecs.PROJECT}_impl"
    filled = 0
    for name in dir(plugin):
        value = inspect.getattr_static(plugin, name)
        function = getattr(plugin, name) if callable(value) else None
        marked = getattr(function, marker, None) is not None
        if function is None or not (marked or name.startswith("simrig_")):
            continue
        filled += 1
        if name not in SPECIFICATIONS:
            near = difflib.get_close_matches(name, SPECIFICATIONS, 1)
            known = f"did you mean {near[0]}?" if near else "known: " + ", ".join(SPECIFICATIONS)
            yield f"{name} is not a hook; {known}"
            continue
        if not marked:
            yield f"{name} is not marked; put @hookimpl above it"
            continue
        wanted = SPECIFICATIONS[name]
        if not set(_arguments(function)) <= set(_arguments(wanted)):
            yield (
                f"found {_shown(name, function)}; wanted {_shown(name, wanted)}; "
                "take these arguments or fewer"
            )
    if not filled:
        yield "it fills no hook; mark its functions with @hookimpl, or take the entry point out"


def _profile(value: object) -> str | None:
    if not isinstance(value, str | os.PathLike):
        return "wanted the path of a profile file"
    path = Path(value)
    if path.suffix != ".toml" or not path.is_file():
        return f"there is no profile file {str(path)!r}; wanted the path of a TOML file"
    return None


def _sensor_kind(value: object) -> str | None:
    if not isinstance(value, SensorKind):
        return "wanted a SensorKind"
    if value.id in {kind.id for kind in SENSOR_KINDS}:
        return f'the kind "{value.id}" is built in; give yours another id'
    return None


def _fault_kind(value: object) -> str | None:
    from simrig.faults.modes import FAULT_KINDS, FaultKind

    if not isinstance(value, FaultKind):
        return "wanted a FaultKind"
    if value.id in {kind.id for kind in FAULT_KINDS}:
        return f'the kind of fault "{value.id}" is built in; give yours another id'
    return None


def _check(value: object) -> str | None:
    from simrig.diagnosis.bench_check import Check

    return None if isinstance(value, Check) else "wanted a Check"


def _rule(value: object) -> str | None:
    from simrig.vetting.rule import Rule
    from simrig.vetting.table import RULES

    if not isinstance(value, Rule):
        return "wanted a Rule"
    if any(value.code == rule.code or value.name == rule.name for rule in RULES):
        return f"{value.code} ({value.name}) is built in; give yours another code and name"
    if value.look is None:
        return f"{value.code} finds nothing; give it in look the function that finds its breaches"
    return None


def _reader(value: object) -> str | None:
    calls = all(callable(getattr(value, name, None)) for name in ("reads", "read"))
    if isinstance(value, type) or not isinstance(getattr(value, "id", None), str) or not calls:
        return "wanted a reader: a text id, reads(data, file) and read(data, file)"
    return None


def _question(value: object) -> str | None:
    from simrig.training.question import Question

    if not isinstance(value, Question):
        return "wanted a Question"
    for name in ("id", "topic"):
        found = getattr(value, name)
        if not re.fullmatch(r"[a-z][a-z0-9]*(-[a-z0-9]+)*", found):
            return f"its {name} is {found!r}; wanted small letters, digits and hyphens"
    if value.topic in ("help", "hands-on"):
        return f'a drill takes "{value.topic}" for something else; give the topic another name'
    return None


RESULTS: Final[dict[str, Callable[[object], str | None]]] = {
    "simrig_profiles": _profile,
    "simrig_sensor_kinds": _sensor_kind,
    "simrig_fault_kinds": _fault_kind,
    "simrig_checks": _check,
    "simrig_rules": _rule,
    "simrig_questions": _question,
    "simrig_readers": _reader,
}
"""What one thing returned by each hook must be: a check that returns a message or None."""


def sorted_out(hook: str, returned: object) -> tuple[list[Any], list[str]]:
    """Return the sound things that a call of a hook returned, and a message for each other."""
    if returned is None or isinstance(returned, str | bytes) or not isinstance(returned, Iterable):
        return [], [f"it returned {_kind(returned)}; wanted a list"]
    sound: list[Any] = []
    messages: list[str] = []
    for number, value in enumerate(returned, 1):
        if number > MOST_RESULTS:
            messages.append(
                f"it returned more than {MOST_RESULTS} things; return no more than that"
            )
            break
        message = RESULTS[hook](value)
        if message is None:
            sound.append(value)
        else:
            messages.append(f"it returned {_kind(value)} as number {number}; {message}")
    return sound, messages


def _kind(value: object) -> str:
    if value is None:
        return "None"
    return (
        f"{type(value).__name__} {str(value)[:60]!r}"
        if isinstance(value, str | int | float)
        else f"a {type(value).__name__}"
    )
