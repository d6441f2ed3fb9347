"""What every command needs: the machines at hand, where to write, how."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Any

from simrig.errors import InputError, Problem
from simrig.host.catalogue import Catalogue

if TYPE_CHECKING:
    from simrig.faults.modes import FaultKind
    from simrig.history import UnitState
    from simrig.profile.machine import Profile


class Context:
    """The surroundings of one run of a command."""

    def __init__(self, arguments: argparse.Namespace) -> None:
        self.json: bool = arguments.json
        self.quiet: bool = arguments.quiet
        self.out = sys.stdout
        self.unit: UnitState | None = None
        """What the shop's record says of the one machine that was named, once it was asked."""
        self._profiles: list[str] = arguments.profiles
        self.strict: bool = arguments.strict_plugins

    @cached_property
    def catalogue(self) -> Catalogue:
        """The machines at hand; what failed on the way is told on stderr."""
        found = Catalogue(named=self._profiles, strict=self.strict, tell=self.tell)
        for problem in found.plugin_problems:
            self.tell(problem)
        return found

    def tell(self, problem: Problem) -> None:
        """Say on stderr what failed on the way, unless the command is to be quiet."""
        if not self.quiet:
            print(problem, file=sys.stderr)

    def profile(self, reference: str) -> Profile:
        """Read the profile that an id or a path names."""
        return self.catalogue.load(reference)

    def fault_kinds(self) -> tuple[FaultKind, ...]:
        """The kinds of fault that are known; what failed on the way is told on stderr."""
        return self.catalogue.fault_kinds()

    def say(self, text: str) -> None:
        """Write lines of the answer."""
        print(text, file=self.out)

    def answer(self, document: Mapping[str, Any]) -> None:
        """Write the answer as JSON."""
        import json

        print(json.dumps({"format": 1, **document}, indent=2), file=self.out)


def wrong(where: str, message: str) -> InputError:
    """Return the error for an option that cannot be taken."""
    return InputError([Problem(file="command line", where=where, message=message)])
