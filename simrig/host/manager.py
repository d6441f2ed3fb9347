"""The plug-ins in use: loaded, their hooks called one by one, nothing of theirs taken on trust.

Only plug-ins that were accepted when they were tried out are loaded.  Each import
and each call is guarded again: an error, an exit or a result of the wrong kind is
named with distribution, version and stage, and the others go on.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable
from typing import Any, Final, TypeVar

import pluggy

from simrig.errors import PluginError, Problem
from simrig.host import acceptance, guards, hookspecs, index
from simrig.host.entries import Entry
from simrig.host.found import Index
from simrig.host.probe import loaded, words

T = TypeVar("T")

NAMED: Final = frozenset(
    (
        "simrig_fault_kinds",
        "simrig_checks",
        "simrig_rules",
        "simrig_questions",
        "simrig_readers",
    )
)
"""Hooks whose things have names of their own, each of which may be there once."""


class Host:
    """The plug-ins of one run; ``problems`` grows by what goes wrong with them.

    ``strict`` raises PluginError at the first problem instead.
    """

    def __init__(self, *, known: Index | None = None, strict: bool = False) -> None:
        self._known = index.current() if known is None else known
        self._strict = strict
        self._entries: dict[str, Entry] = {}
        self._manager = pluggy.PluginManager(hookspecs.PROJECT)
        self._manager.add_hookspecs(hookspecs)
        self.problems: list[Problem] = []
        for problem in self._known.problems:
            self._note(problem)
        for entry in self._known.accepted:
            self._register(entry)

    def gather(self, hook: str, **arguments: Any) -> list[Any]:
        """Return what every plug-in returns for a hook, in order of distribution and name.

        Calls into it are guarded (:mod:`simrig.host.guards`).  Of two things with one name
        the first is taken, and the other plug-in is told.
        """
        found: dict[str, Any] = {}
        everyone = self._manager.list_name_plugin()
        for name, plugin in sorted(everyone, key=lambda pair: pair[0]):
            if plugin is None or not hasattr(plugin, hook):
                continue
            others = [other for _, other in everyone if other is not plugin]
            caller = self._manager.subset_hook_caller(hook, others)
            entry, stage = self._entries[name], f"in {hook}"

            def ask(caller: Callable[..., Any] = caller) -> list[tuple[list[Any], list[str]]]:
                return [acceptance.sorted_out(hook, result) for result in caller(**arguments)]

            answered = self._guarded(entry, stage, ask)
            for sound, messages in answered or ():
                for thing in sound:
                    name = guards.name_of(thing) if hook in NAMED else str(len(found))
                    if name in found:
                        messages.append(f'"{name}" is there already; give yours another name')
                    else:
                        guard = guards.GUARDS.get(hook)
                        found[name] = thing if guard is None else guard(entry, thing)
                for message in messages:
                    self._note(entry.problem(stage, message))
        return list(found.values())

    def _register(self, entry: Entry) -> None:
        plugin = self._guarded(entry, "on import", lambda: loaded(entry.value))
        if plugin is None:
            return
        name = f"{entry.source}: {entry.name}"

        def register() -> None:
            messages = list(acceptance.refusals(plugin))
            if messages:
                raise ValueError("; ".join(messages))
            if not self._manager.is_registered(plugin):
                self._manager.register(plugin, name)

        self._entries[name] = entry
        self._guarded(entry, "on registration", register)

    def _guarded(self, entry: Entry, stage: str, work: Callable[[], T]) -> T | None:
        try:
            with contextlib.redirect_stdout(sys.stderr):
                return work()
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            self._note(entry.problem(stage, words(error)))
            return None

    def _note(self, problem: Problem) -> None:
        if self._strict:
            raise PluginError([problem])
        self.problems.append(problem)
