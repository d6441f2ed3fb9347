"""The desk behind the page: machines read once, jobs, taps kept before they are acknowledged."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from simrig.errors import SimrigError
from simrig.host.catalogue import Catalogue
from simrig.host.found import Machine
from simrig.page import views
from simrig.page.answers import Answers, Session
from simrig.page.session import Event, State, checked, fold
from simrig.page.steps import Step, steps
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links, links


class Desk:
    """Everything that the routes ask; safe to use from several threads.

    ``store`` is the shop's record into which jobs are filed, the default one when
    None; ``named`` are machines offered besides those at hand.  Raises as
    :meth:`Catalogue.load` does for one of them that cannot be read.
    """

    def __init__(
        self,
        *,
        catalogue: Catalogue,
        answers: Answers,
        store: Path | None = None,
        named: Iterable[str] = (),
        clock: Callable[[], datetime.datetime] = lambda: datetime.datetime.now(datetime.UTC),
    ) -> None:
        self.catalogue = catalogue
        self.answers = answers
        self.store = store
        self.clock = clock
        self._lock = threading.Lock()
        self._read: dict[str, tuple[Profile, Links]] = {}
        self._named: dict[str, Machine] = {}
        self._steps: dict[str, tuple[Step, ...]] = {}
        for reference in named:
            profile = catalogue.load(reference)
            self._read[profile.id] = profile, links(profile)
            self._named[profile.id] = Machine(
                profile.id, profile.name, profile.balls.installed, reference, reference, ""
            )

    def machines(self) -> list[Machine]:
        """Return the machines at hand, the one used last first."""
        order = {name: number for number, name in enumerate(self.answers.last_used())}
        known = {machine.id: machine for machine in self.catalogue.machines()} | self._named
        return sorted(known.values(), key=lambda one: (order.get(one.id, len(order)), one.title))

    def machine(self, name: str) -> tuple[Profile, Links]:
        """Return a machine's profile and links; raises a SimrigError where there is none."""
        with self._lock:
            if name not in self._read:
                if name not in {machine.id for machine in self.catalogue.machines()}:
                    raise KeyError(name)
                profile = self.catalogue.load(name)
                self._read[name] = profile, links(profile)
            return self._read[name]

    def steps(self, name: str) -> tuple[Step, ...]:
        """Return the plan that proves a machine."""
        profile, _ = self.machine(name)
        with self._lock:
            if name not in self._steps:
                self._steps[name] = steps(profile)
            return self._steps[name]

    def readable(self, name: str) -> bool:
        """Whether a machine can be read now."""
        try:
            self.machine(name)
        except (SimrigError, KeyError):
            return False
        return True

    def begin(self, machine: str) -> Session:
        """Begin a job; raises KeyError for a machine that is not at hand."""
        self.machine(machine)
        return self.answers.begin(machine, now=self.clock())

    def state(self, session: Session) -> tuple[State, int]:
        """Return a job as it stands, and the number of its last event."""
        events = self.answers.events(session.id)
        return fold(events), events[-1].seq if events else 0

    def tap(self, session: Session, taps: Iterable[tuple[str, str, Any]]) -> int:
        """Keep taps, (key, kind, value) each, and return the number of the last event.

        Raises ValueError, in words, for a tap that is not taken; then none of them is kept.
        """
        profile, table = self.machine(session.machine)
        if session.job is not None:
            raise ValueError("this job is filed; begin another")
        kept: list[tuple[str, str, Any]] = []
        events = self.answers.events(session.id)
        known = {event.key for event in events}
        for key, kind, value in taps:
            if key in known:
                continue
            value = checked(profile, kind, value)
            if kind == "agree":
                value = views.agreeing(profile, table, fold(events).sheet)
            kept.append((key, kind, value))
            known.add(key)
            events.append(Event(seq=len(events) + 1, key=key, kind=kind, value=value))
        return self.answers.add(session.id, kept, now=self.clock())
