"""Assumptions of a profile that would, if wrong, explain what was seen."""

from __future__ import annotations

from collections.abc import Iterator

from simrig.expectation.comparison import compare
from simrig.expectation.observation import Observation
from simrig.expectation.worth_candidates import otherwise
from simrig.profile.machine import Profile
from simrig.world.phases import Conditions


def doubts(profile: Profile, observation: Observation, conditions: Conditions) -> Iterator[str]:
    """Yield, in words, each assumption without which what was seen agrees.

    Nothing is yielded where it agrees already.  Raises ValueError for conditions
    that the machine cannot have.
    """
    if compare(profile, observation, conditions).agrees:
        return
    for words, _, changed in otherwise(profile):
        try:
            if compare(changed, observation, conditions).agrees:
                yield words
        except ValueError:
            continue  # if it were so, these conditions could not be
