"""The machines at hand: profiles that plug-ins bring, those in folders, and files named outright."""

from __future__ import annotations

import difflib
import os
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

from simrig.errors import InputError, PluginError, Problem
from simrig.host import folders, index
from simrig.host.found import Index, Machine

if TYPE_CHECKING:
    from simrig.faults.modes import FaultKind
    from simrig.host.manager import Host
    from simrig.profile.components import SensorKind
    from simrig.profile.machine import Profile


OF_A_MACHINE: Final = frozenset(("simrig_checks", "simrig_questions"))
"""Hooks that are asked for one machine."""


class Catalogue:
    """The machines at hand.

    ``problems`` are those of plug-ins and of profile files in folders that are
    left out; ``strict`` raises PluginError at once when a plug-in has one.  ``tell`` is
    called with each that shows only in use.
    Raises InputError for a folder that is not there.
    """

    def __init__(
        self,
        *,
        named: Iterable[str] = (),
        environ: Mapping[str, str] | None = None,
        strict: bool = False,
        known: Index | None = None,
        tell: Callable[[Problem], None] | None = None,
    ) -> None:
        self._strict = strict
        self._tell = tell
        self._gathered: dict[str, tuple[Any, ...]] = {}
        self._index = index.current() if known is None else known
        if strict and self._index.problems:
            raise PluginError(self._index.problems)
        found, missing = folders.folders(named, os.environ if environ is None else environ)
        if missing:
            raise InputError(missing)
        self.plugin_problems = self._index.problems
        self.folder_problems: list[Problem] = []
        self._own: list[Machine] = []
        for folder in found:
            for path, summary in folders.scan(folder):
                if isinstance(summary, Problem):
                    self.folder_problems.append(summary)
                else:
                    self._own.append(Machine(*summary, path, folder, ""))

    def machines(self) -> tuple[Machine, ...]:
        """Return every machine at hand, by id; one found twice is there twice."""
        return tuple(sorted({*self._index.machines, *self._own}))

    def kinds(self) -> tuple[SensorKind, ...]:
        """Return the kinds of sensor that are known: built in and brought by plug-ins."""
        from simrig.profile.components import SENSOR_KINDS, SensorKind

        return SENSOR_KINDS + tuple(
            SensorKind(id=kind.id, title=kind.title, technology=kind.technology, lugs=kind.lugs)
            for kind in self._index.kinds
        )

    def fault_kinds(self) -> tuple[FaultKind, ...]:
        """Return the kinds of fault that are known: built in and brought by plug-ins."""
        from simrig.faults.modes import FAULT_KINDS

        return (*FAULT_KINDS, *self.brought("simrig_fault_kinds"))

    def path(self, reference: str) -> str:
        """Return the file of the machine that an id or a path names.

        Raises InputError where there is none or, among folders, more than one;
        PluginError where its plug-in failed, or where two bring it.
        """
        if reference.endswith((".toml", ".json")) or os.path.basename(reference) != reference:
            return reference
        own = [machine for machine in self._own if machine.id == reference]
        brought = [machine for machine in self._index.machines if machine.id == reference]
        found = own or brought
        if len({machine.path for machine in found}) == 1:
            return found[0].path
        if found:
            places = " and ".join(sorted(machine.path for machine in found))
            problem = Problem(
                file="command line",
                where="MACHINE",
                message=f'the machine "{reference}" is there twice: {places}; name the file you mean',
            )
            raise InputError([problem]) if own else PluginError([problem, *self._twice(reference)])
        if os.path.isfile(reference):
            return reference
        failed = [
            entry for entry in self._index.refused if reference in (entry.name, entry.distribution)
        ]
        if failed:
            sources = {f"plug-in {entry.name}, " for entry in failed}
            raise PluginError(
                problem
                for problem in self.plugin_problems
                if problem.where.startswith(tuple(sources))
            )
        raise InputError([self._unknown(reference), *self.folder_problems])

    def brought(self, hook: str, **arguments: Any) -> tuple[Any, ...]:
        """Return what plug-ins bring by a hook; no plug-in is loaded where none fills it."""
        if hook not in self._index.hooks:
            return ()
        if not arguments and hook in self._gathered:
            return self._gathered[hook]
        found = self._host.gather(hook, **arguments)
        while self._host.problems:
            problem = self._host.problems.pop(0)
            if self._tell is not None:
                self._tell(problem)
        if not arguments:
            self._gathered[hook] = tuple(found)
        return tuple(found)

    @cached_property
    def _host(self) -> Host:
        from simrig.host.manager import Host

        return Host(known=self._index._replace(problems=()), strict=self._strict)

    def load(self, reference: str) -> Profile:
        """Read the profile of a machine; raise as :meth:`path` does, or ProfileError.

        What plug-ins bring for it comes with it.
        """
        path = self.path(reference)
        return self.read(contents(path, "profile"), path)

    def read(self, data: bytes, path: str) -> Profile:
        """Read the profile in the bytes of a file, with what plug-ins bring for it.

        Raises ProfileError, which names the file as ``path``.
        """
        return self.completed(self._read(data, path))

    def completed(self, profile: Profile) -> Profile:
        """Return a profile with what plug-ins bring for its machine."""
        brought = {
            hook: self.brought(hook, **({"profile": profile} if hook in OF_A_MACHINE else {}))
            for hook in self._index.hooks
            if hook != "simrig_rules"
        }
        if not brought:
            return profile
        import attrs

        return attrs.evolve(profile, brought=brought)

    def _read(self, data: bytes, path: str) -> Profile:
        if path.endswith(".json"):
            from simrig.interchange import profile_json

            return profile_json.read(data, path, kinds=self.kinds())
        if any(machine.path == path for machine in self._index.machines):
            from simrig.host import kept

            return kept.profile(path, data, self.kinds())
        from simrig.profile.reader import read

        return read(data, path, kinds=self.kinds())

    def _twice(self, name: str) -> list[Problem]:
        return [
            problem
            for problem in self.plugin_problems
            if f'the machine "{name}" ' in problem.message
        ]

    def _unknown(self, reference: str) -> Problem:
        known = sorted({machine.id for machine in self.machines()})
        near = difflib.get_close_matches(reference, known, 1)
        if near:
            hint = f'did you mean "{near[0]}"?'
        elif known:
            hint = "at hand: " + ", ".join(known[:12]) + (" ..." if len(known) > 12 else "")
        else:
            hint = "none is at hand: install a plug-in, or name a profile file or --profiles DIR"
        return Problem(
            file="command line",
            where="MACHINE",
            message=f'no machine is called "{reference}"; {hint}',
        )


def contents(path: str, what: str) -> bytes:
    """Return the bytes of a file; raise InputError, in words, where it cannot be read."""
    try:
        with open(path, "rb") as file:
            return file.read()
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise InputError(
            [
                Problem(
                    file=path,
                    where=what,
                    message=f"it cannot be read ({reason}); wanted a file that you may read; "
                    "look at its name and its permissions, or name another",
                )
            ]
        ) from None
