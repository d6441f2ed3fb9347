"""From the text of a profile file to a Profile, or to every problem in it at once.

Strict: nothing is converted.  Complete: a wrong value is left out and reading
goes on, so that the cross-checks see the rest.  Located: each problem has its
line.  Once: what only follows from a fault that is told already is not told.
"""

from __future__ import annotations

import attrs

from simrig.errors import Problem, ProfileError
from simrig.profile.checking import contradictions
from simrig.profile.components import SENSOR_KINDS, SensorKind
from simrig.profile.located import SIZE_LIMIT, decode, locate
from simrig.profile.machine import FORMAT, Origin, Profile
from simrig.profile.tables import MOST_FAULTS, build, faults_of, limited, problem


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
    """Read as far as it goes: the profile where its structure allows one, and all problems.

    With problems, what is wrong is left out of the profile.
    """
    try:
        located = locate(decode(data, file), file)
    except ProfileError as error:
        rule = "past-bound" if len(data) > SIZE_LIMIT else "not-toml"
        return None, tuple(attrs.evolve(one, rule=one.rule or rule) for one in error.problems)
    faults, doubt = faults_of(located.data, Profile)
    stated = located.data.get("format", FORMAT)
    profile = None
    if stated == FORMAT and len(faults) <= MOST_FAULTS:
        # Before the cross-checks: what they doubt is readable, and stays.
        profile = build(located.data, Profile, (), doubt)
        checked = (
            build(located.data, Profile, (), doubt, standing_in="members") if faults else profile
        )
        checked = attrs.evolve(checked, kinds=kinds)
        faults = limited([*faults, *contradictions(checked, doubt)])
    problems = [problem(located, path, message, rule) for path, message, rule in faults]
    problems.sort(key=lambda one: one.line or 0)
    if profile is not None:
        origin = Origin(file=file, located=lambda: located)
        profile = attrs.evolve(profile, origin=origin, kinds=kinds)
    return profile, tuple(problems)
