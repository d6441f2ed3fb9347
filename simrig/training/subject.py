"""A machine that questions are asked about, with what many of them need worked out once."""

from __future__ import annotations

from functools import cached_property

import attrs

from simrig.profile.machine import Profile
from simrig.proving.plan import Plan, prove
from simrig.proving.rehearsal import rehearse
from simrig.scan.events import Event
from simrig.scan.scanner import links
from simrig.training.question import Question


@attrs.frozen(kw_only=True, eq=False, slots=False)
class Subject:
    """A machine to ask about."""

    profile: Profile

    @cached_property
    def brought(self) -> tuple[Question, ...]:
        """The questions that plug-ins bring for it, named as all others: topic, machine, which."""
        return tuple(
            attrs.evolve(one, id=f"{one.topic}:{self.profile.id}:{one.id}")
            for one in self.profile.brought.get("simrig_questions", ())
        )

    @cached_property
    def plan(self) -> Plan:
        """The plan that proves it."""
        return prove(self.profile)

    @cached_property
    def sound_run(self) -> tuple[Event, ...]:
        """What a recorder writes when the plan is carried out on a sound machine."""
        return rehearse(self.profile, self.plan, links(self.profile))
