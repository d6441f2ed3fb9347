"""What plug-ins bring, with every call into it guarded: an error names the plug-in, not us."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Mapping
from typing import Any, Final

import attrs

from simrig.errors import PluginError
from simrig.host.entries import Entry
from simrig.host.probe import words


def guarded(entry: Entry, stage: str, work: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that does the same, quietly, and raises PluginError for whatever goes
    wrong in it."""

    def call(*arguments: Any) -> Any:
        try:
            with contextlib.redirect_stdout(sys.stderr):
                return work(*arguments)
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            raise PluginError([entry.problem(stage, words(error))]) from None

    return call


class GuardedReader:
    """A reader of a plug-in; what it returns is checked."""

    def __init__(self, entry: Entry, reader: Any) -> None:
        self.id: str = reader.id
        self._entry = entry
        self._stage = f"in its reader {reader.id}"
        self._reads = guarded(entry, self._stage, reader.reads)
        self._read = guarded(entry, self._stage, reader.read)

    def reads(self, data: bytes, file: str) -> bool:
        """Whether a file is of the kind that it reads."""
        return bool(self._reads(data, file))

    def read(self, data: bytes, file: str) -> dict[str, str]:
        """Return the reading of each sensor that the file names."""
        found = self._read(data, file)
        if not isinstance(found, Mapping) or not all(
            isinstance(name, str) and isinstance(word, str) for name, word in found.items()
        ):
            message = "it returned no readings; wanted pairs of a sensor and its reading, both text"
            raise PluginError([self._entry.problem(self._stage, message)])
        return dict(found)


def _rule(entry: Entry, rule: Any) -> Any:
    look = rule.look

    def look_at(subject: Any) -> list[Any]:
        return list(look(subject))

    return attrs.evolve(rule, look=guarded(entry, f"in its rule {rule.code}", look_at))


def _check(entry: Entry, check: Any) -> Any:
    return attrs.evolve(check, judge=guarded(entry, f"in its check {check.id}", check.judge))


GUARDS: Final[Mapping[str, Callable[[Entry, Any], Any]]] = {
    "simrig_rules": _rule,
    "simrig_checks": _check,
    "simrig_readers": GuardedReader,
}
"""How what each hook returns is guarded; what is missing here is data alone."""


def name_of(thing: Any) -> str:
    """Return the name by which a thing is known: its id, or its code."""
    return str(getattr(thing, "code", None) or thing.id)
