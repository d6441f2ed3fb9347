"""A finished profile packaged as a plug-in: every file of the project, as text."""

from __future__ import annotations

import re
from collections.abc import Iterator

from simrig.expectation.prediction import expect
from simrig.interchange.toml_writer import pair
from simrig.profile.machine import Profile
from simrig.signals import CLOSED, EITHER
from simrig.world.phases import Conditions, legal_placements, phase_of

_VERSION = re.compile(r"[0-9]+(\.[0-9]+)*\Z")


def package(profile: Profile) -> str:
    """Return the name of the Python package: it can hide no other module."""
    return f"simrig_machine_{profile.id.replace('-', '_')}"


def files(profile: Profile, text: str, simrig: str) -> dict[str, str]:
    """Return every file of the project by its path, with ``text`` as the profile's own.

    ``simrig`` is the least version that it needs.

    Raises ValueError, in words, for a profile that is not finished: one without phases.
    """
    if not profile.phase:
        raise ValueError(
            "the profile states no [[phase]] yet; finish it first, or use the file as it is"
        )
    name = package(profile)
    return {
        "pyproject.toml": _pyproject(profile, simrig),
        "README.md": _readme(profile),
        f"{name}/__init__.py": _HOOKS.format(id=profile.id),
        f"{name}/{profile.id}.toml": text,
        "scenarios/counts.scenario.toml": _counts(profile),
        "scenarios/phases.scenario.toml": _phases(profile),
        "tests/test_machine.py": _TEST.format(package=name, id=profile.id),
    }


def _pyproject(profile: Profile, simrig: str) -> str:
    version = profile.version or ""
    return _PYPROJECT.format(
        id=profile.id,
        # The name of a distribution ends in a letter or digit.
        name=f"simrig-machine-{profile.id}".rstrip("-"),
        version=version if _VERSION.match(version) else "0.1",
        description=pair("description", f"The machine {profile.name} for simrig"),
        simrig=simrig,
        package=package(profile),
    )


def _readme(profile: Profile) -> str:
    return _README.format(title=profile.name, id=profile.id, package=package(profile))


def _scenario(profile: Profile, title: str, steps: Iterator[str]) -> str:
    head = [
        "# Written by simrig new from the profile as it stood.  A machine model that is only",
        "# compared with itself can be wrong and agree: hold each step against a real machine,",
        "# or work it out by hand, and put down in its note how that was done.",
        "",
        "format = 1",
        pair("title", f"{profile.name}: {title}"),
        pair("machine", f"../{package(profile)}/{profile.id}.toml"),
    ]
    return "\n".join([*head, *steps]) + "\n"


def _counts(profile: Profile) -> str:
    phase = phase_of(profile, None).id
    balls = range(profile.balls.installed + 1)
    steps = (_step(profile, phase, number) for number in balls)
    return _scenario(profile, f"{phase}, every number of balls", steps)


def _phases(profile: Profile) -> str:
    installed = profile.balls.installed
    steps = (_step(profile, phase.id, installed) for phase in profile.phase)
    return _scenario(profile, "every phase with all balls", steps)


def _step(profile: Profile, phase: str, balls: int) -> str:
    conditions = Conditions(phase=phase, balls=balls)
    if not legal_placements(profile, conditions):
        return f"\n# {phase} with {balls} balls: no position of the balls is legal."
    readings = expect(profile, conditions).readings
    lines = ["", "[[step]]", pair("phase", phase), pair("balls", balls)]
    lines.append(pair("closed", [one.sensor for one in readings if one.reading == CLOSED]))
    either = [one.sensor for one in readings if one.reading == EITHER and one.counted]
    if either:
        lines.append(pair("either", either))
    lines.append(pair("note", "by simrig new; not yet held against a machine"))
    return "\n".join(lines)


_HOOKS = '''"""Brings the machine {id} to simrig."""

from collections.abc import Iterable
from pathlib import Path

from simrig.host import hookimpl


@hookimpl
def simrig_profiles() -> Iterable[Path]:
    """Return the path of the profile."""
    return [Path(__file__).with_name("{id}.toml")]
'''

_TEST = '''"""The machine as a plug-in brings it, and balls moved on it by hand."""

import simrig
from {package} import simrig_profiles

(PROFILE,) = map(str, simrig_profiles())


def test_the_plugin_brings_the_machine() -> None:
    """The hook names one profile file, and it is this machine's."""
    assert simrig.load(PROFILE).id == "{id}"


def test_all_balls_are_home(rig) -> None:
    """At the start every installed ball is in the machine, and readings are those expected."""
    machine = rig(PROFILE)
    assert sum(machine.balls.values()) == machine.profile.balls.installed
    for expected in simrig.expect(machine.profile).readings:
        if expected.reading != "either":
            assert machine.reading(expected.sensor) == expected.reading
'''

_PYPROJECT = """[build-system]
requires = ["setuptools>=61"]
build-backend = "setuptools.build_meta"

[project]
name = "{name}"
version = "{version}"
{description}
requires-python = ">=3.11"
dependencies = ["simrig>={simrig}"]

[project.optional-dependencies]
test = ["simrig[test]"]

# The entry point has the machine's name: should the plug-in fail, people are told which one.
[project.entry-points.simrig]
{id} = "{package}"

[tool.setuptools]
packages = ["{package}"]

[tool.setuptools.package-data]
{package} = ["*.toml"]

[tool.pytest.ini_options]
testpaths = ["tests", "scenarios"]
pythonpath = ["."]
simrig_conformance = ["{package}/{id}.toml"]
"""

_README = """# {title}

The machine `{id}` for simrig, packaged as a plug-in.

    pip install -e '.[test]'
    pytest                      # scenarios, tests, and the conformance suite on the profile
    simrig vet {id}
    simrig expect {id}

## What is here

- `{package}/{id}.toml`: the profile. All that is known of the machine stands here.
- `{package}/__init__.py`: the hook that brings it. Other hooks go there too: kinds of
  sensor, kinds of fault, bench checks, vetting rules, drill questions.
- `scenarios/`: expected readings, step by step. They were written from the profile as it
  stood; hold each against a real machine and note how.
- `tests/`: tests in Python.

## The file alone, or the plug-in

A shop needs only the profile file: `simrig expect {id}.toml`, or a folder of such files
with `--profiles DIR` or the variable `SIMRIG_PROFILES`. The plug-in pays when people
elsewhere install the machine by its name, when it should have a version and tests of its
own, or when it brings more than a profile.

"""
