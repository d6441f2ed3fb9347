"""From the text of a profile file to a Profile, or to every problem in it at once.

Strict: nothing is converted.  Complete: a wrong value is left out and reading
goes on, so that the cross-checks see the rest.  Located: each problem has its line.
"""

from __future__ import annotations

import attrs

from simrig.errors import Problem, ProfileError
from simrig.profile.checking import contradictions
from simrig.profile.components import SENSOR_KINDS, SensorKind
from simrig.profile.located import decode, locate
from simrig.profile.machine import Origin, Profile
from simrig.profile.tables import build, problem, unreadable


def read(data: bytes, file: str, *, kinds: tuple[SensorKind, ...] = SENSOR_KINDS) -> Profile:
    """Read a profile; raise ProfileError with every problem found.

    ``kinds`` are the kinds of sensor that are known: the built-in ones and those
    that plug-ins bring.
    """
    profile, problems = examine(data, file, kinds=kinds)
    if profile is None or problems:
        raise ProfileError(problems)
    return profile


def examine(
    data: bytes, file: str, *, kinds: tuple[SensorKind, ...] = SENSOR_KINDS
) -> tuple[Profile | None, tuple[Problem, ...]]:
    """Read as far as it goes: the profile where its structure allows one, and all problems."""
    try:
        located = locate(decode(data, file), file)
    except ProfileError as error:
        return None, tuple(attrs.evolve(one, rule="not-toml") for one in error.problems)
    faults = list(unreadable(located.data, Profile, ()))
    problems = [problem(located, path, message, rule) for path, message, rule in faults]
    if located.data.get("format", 1) != 1:
        return None, tuple(problems)
    bad = {path for path, _, _ in faults}
    profile = build(located.data, Profile, (), bad)
    if profile is None:
        return None, tuple(problems)
    origin = Origin(file=file, located=lambda: located)
    profile = attrs.evolve(profile, origin=origin, kinds=kinds)
    for path, message, rule in contradictions(profile):
        if not any(path[: len(known)] == known for known in bad if known):
            problems.append(problem(located, path, message, rule))
    problems.sort(key=lambda one: one.line or 0)
    return profile, tuple(problems)
