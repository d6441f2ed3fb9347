"""Which machines a run is about: ids, profile files, and folders of them."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator

import attrs

from simrig.errors import InputError, Problem
from simrig.host import folders
from simrig.host.catalogue import Catalogue, contents


@attrs.frozen(kw_only=True)
class Machine:
    """A profile file of the fleet as it was when the run began, or why it cannot be read."""

    file: str
    data: bytes = attrs.field(repr=False)
    problems: tuple[Problem, ...] = ()


def named(catalogue: Catalogue, references: Iterable[str]) -> tuple[Machine, ...]:
    """Return each machine that is named once, in the order of naming; those of a folder by name.

    Raises InputError with everything that names no machine and no folder of them, and
    PluginError where the plug-in that brings one has failed.
    """
    found: dict[str, Machine] = {}
    problems: list[Problem] = []
    for reference in references:
        try:
            for machine in _machines(catalogue, reference):
                found.setdefault(os.path.realpath(machine.file), machine)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return tuple(found.values())


def _machines(catalogue: Catalogue, reference: str) -> Iterator[Machine]:
    if not os.path.isdir(reference):
        path = catalogue.path(reference)
        yield Machine(file=path, data=contents(path, "profile"))
        return
    inside = folders.files(reference)
    if not inside:
        message = "no profile is in this folder; name another"
        raise InputError([Problem(file=reference, where="PROFILE|DIR", message=message)])
    for path in map(str, inside):
        try:
            yield Machine(file=path, data=contents(path, "profile"))
        except InputError as error:
            yield Machine(file=path, data=b"", problems=error.problems)
