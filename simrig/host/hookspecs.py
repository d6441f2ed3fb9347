"""Every hook that a plug-in can fill.

A plug-in is a module (or an object) that an entry point of the group ``simrig``
names.  It marks each function below that it fills with ``@hookimpl`` and leaves
the others out::

    # pyproject.toml of the plug-in
    [project.entry-points.simrig]
    harbour-lights = "harbour_lights"

    # harbour_lights/__init__.py
    from importlib.resources import files
    from simrig.host import hookimpl

    @hookimpl
    def simrig_profiles():
        return [files(__name__) / "harbour-lights.toml"]

Name the entry point after the machine where it brings one: then a machine that
is asked for and whose plug-in failed is known by its name.

A plug-in must be quiet: importing it or calling a hook prints nothing, leaves the
working folder and standard output alone, and ends soon.  It is tried out in a
process of its own before it is used, with limits of time and memory
(:mod:`simrig.host.probe`); one that fails is named and left out.  Hooks are called
once a machine or once a command, never once a ball.
"""

# Signatures alone: nobody calls what stands here.
# mypy: disable-error-code="empty-body"

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Protocol

import pluggy

if TYPE_CHECKING:
    from simrig.diagnosis.bench_check import Check
    from simrig.faults.modes import FaultKind
    from simrig.profile.components import SensorKind
    from simrig.profile.machine import Profile
    from simrig.training.question import Question
    from simrig.vetting.rule import Rule

PROJECT = "simrig"
"""The entry-point group, and the prefix of every hook."""

hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


class Reader(Protocol):
    """A reader of files that say what was seen, in a form that simrig does not know."""

    @property
    def id(self) -> str:
        """The name by which people and reports call it."""

    def reads(self, data: bytes, file: str) -> bool:
        """Whether a file is of the kind that it reads, by its content or its name."""

    def read(self, data: bytes, file: str) -> Mapping[str, str]:
        """Return the reading of each sensor that the file names, both as people write them."""


@hookspec
def simrig_profiles() -> Iterable[str | os.PathLike[str]]:
    """Return the paths of machine profiles, TOML files on disk.

    Example::

        @hookimpl
        def simrig_profiles():
            return [files(__name__) / "harbour-lights.toml"]
    """


@hookspec
def simrig_sensor_kinds() -> Iterable[SensorKind]:
    """Return kinds of sensor beyond the built-in ones; profiles name them in ``kind``.

    Example::

        @hookimpl
        def simrig_sensor_kinds():
            return [SensorKind(id="reed", title="reed contact", technology="contact")]
    """


@hookspec
def simrig_fault_kinds() -> Iterable[FaultKind]:
    """Return kinds of fault beyond the built-in ones, for parts of every machine.

    Example::

        @hookimpl
        def simrig_fault_kinds():
            return [
                FaultKind(
                    id="reed-magnetised", title="reed magnetised", part="contact",
                    effect="forces", odds=5e-4, why="it stays closed", repair="fit a new one",
                )
            ]
    """


@hookspec
def simrig_checks(profile: Profile) -> Iterable[Check]:
    """Return bench checks for this machine beyond the built-in catalogue
    (:class:`simrig.diagnosis.bench_check.Check`).

    Example::

        @hookimpl
        def simrig_checks(profile):
            if profile.id != "harbour-lights":
                return []
            return [Check(id="compass-at-the-reed", ...)]
    """


@hookspec
def simrig_rules() -> Iterable[Rule]:
    """Return vetting rules beyond the built-in ones (:class:`simrig.vetting.rule.Rule`).

    Example::

        def no_beacon(subject):
            if subject.profile.row("place", "beacon") is None:
                yield Found(path=(), message="no place is called beacon; add it")

        @hookimpl
        def simrig_rules():
            return [Rule(code="HL-01", name="no-beacon", level="warning", look=no_beacon, ...)]
    """


@hookspec
def simrig_questions(profile: Profile) -> Iterable[Question]:
    """Return drill questions about this machine (:class:`simrig.training.question.Question`).

    They are asked among those of the topic that they name, or under a topic of their own.

    Example::

        @hookimpl
        def simrig_questions(profile):
            return [
                Question(
                    id="why-a-reed", topic="reeds", level=2, form="choice",
                    text="What works a reed contact?", choices=("a magnet", "light"),
                    right=frozenset("a"), why="its blades pull together in a magnet's field",
                )
            ]
    """


@hookspec
def simrig_readers() -> Iterable[Reader]:
    """Return readers of other files that say what was seen; ``--sheet`` takes these too.

    Example::

        @hookimpl
        def simrig_readers():
            return [Reader(id="harbour-clipboard", ...)]
    """
