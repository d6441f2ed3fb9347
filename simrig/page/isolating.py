"""What can be wrong, for the page: worked out once for the same evidence, whoever asks."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import Any, Final

import attrs

from simrig.diagnosis.diagnose import Diagnosis, diagnose
from simrig.diagnosis.one_sheet import Models
from simrig.diagnosis.suspects import Sheet
from simrig.faults.candidates import possible_faults
from simrig.page.session import State
from simrig.profile.machine import Profile
from simrig.reports import diagnosis_text, wording
from simrig.reports.bars import bar

_KEPT: Final = 40
_LIMIT: Final = 2


@attrs.frozen(kw_only=True)
class GroupView:
    """Causes that nothing can part: in words, how likely, and why."""

    number: int
    title: str
    chance: str
    bar: str
    why: str


@attrs.frozen(kw_only=True)
class CausesView:
    """What can be wrong, likeliest groups first, ``more`` of them not shown."""

    verdict: str
    as_assumed: bool
    conflict: bool
    told_apart: bool
    groups: tuple[GroupView, ...]
    more: int
    diagnosis: Diagnosis = attrs.field(repr=False, eq=False)


class Isolating:
    """Diagnoses for all who use the page; one at a time, since each takes the whole processor."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._models: dict[str, Models] = {}
        self._known: OrderedDict[Any, Diagnosis] = OrderedDict()

    def diagnosis(self, profile: Profile, state: State) -> Diagnosis:
        """Return the diagnosis of everything that was seen and checked.

        Raises ValueError, in words, when nothing was seen or the conditions cannot be.
        """
        sheets = tuple(
            Sheet(observation=sheet.observation(profile), conditions=sheet.conditions)
            for sheet in state.taken
        )
        key = (
            profile.id,
            state.checks,
            tuple(
                (sheet.phase, sheet.balls, tuple(sorted(sheet.readings.items())))
                for sheet in state.taken
            ),
        )
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
                return self._known[key]
            models = self._models.get(profile.id)
            if models is None or models.profile is not profile:
                faults = possible_faults(profile)
                models = Models(profile=profile, faults=faults, limit=_LIMIT)
                self._models[profile.id] = models
            found = diagnose(profile, sheets, limit=_LIMIT, models=models)
            self._known[key] = found
            if len(self._known) > _KEPT:
                self._known.popitem(last=False)
            return found


def causes_view(found: Diagnosis) -> CausesView:
    """Return a diagnosis as the page shows it: the same groups and words as the command's."""
    shown = diagnosis_text.top_groups(found) if not found.as_assumed else []
    groups = []
    for number in shown:
        causes = found.group(number)
        share = sum(cause.chance for cause in causes)
        groups.append(
            GroupView(
                number=number,
                title=diagnosis_text.group_words(found, number),
                chance=f"{wording.chance(share)} ({share:.0%})",
                bar=bar(share),
                why=causes[0].why,
            )
        )
    return CausesView(
        verdict=diagnosis_text.verdict(found),
        as_assumed=found.as_assumed,
        conflict=found.conflict is not None,
        told_apart=found.told_apart and not found.as_assumed,
        groups=tuple(groups),
        more=0 if found.as_assumed else found.groups - len(shown),
        diagnosis=found,
    )
