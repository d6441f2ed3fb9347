"""The facts of a growing profile as a document: what is known, assumed, unknown, and what for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from simrig.expectation.worth_finding import otherwise, worth_finding
from simrig.interchange.beginning.questions import NOT_KNOWN, QUESTIONS, ball_sensors
from simrig.profile.machine import Profile


def document(profile: Profile) -> dict[str, Any]:
    """Return the facts: the eight that are asked first, then others, the best to find first."""
    return {
        "machine": profile.id,
        "balls": profile.balls.installed,
        "facts": [*_asked(profile), *_worth(profile), *_assumed(profile)],
    }


def _asked(profile: Profile) -> Iterator[dict[str, Any]]:
    begun = profile.begun or {}
    for question in QUESTIONS:
        said = begun.get(question.id)
        state, source = "unknown", None
        if question.known(profile) and said != NOT_KNOWN:
            state, source = "known", "answered" if said else "the file"
        elif said is not None and said != NOT_KNOWN:
            state, source = "known", said
        if state == "known" and (reason := _assumption(profile, question.id)):
            state, source = "assumed", reason
        if question.id == "polarity" and not ball_sensors(profile):
            state, source = "unknown", None
        yield {"fact": question.title, "state": state, "source": source, "sharpens": []}


def _assumption(profile: Profile, question: str) -> str | None:
    if question == "balls":
        return profile.balls.assumption("installed")
    if question == "polarity":
        reasons = [sensor.assumption("worked_reads") for sensor in ball_sensors(profile)]
        return next((reason for reason in reasons if reason), None)
    if question == "trough":
        trough = profile.row("place", "trough")
        return None if trough is None else trough.assumption("seats")
    return None


def _worth(profile: Profile) -> Iterator[dict[str, Any]]:
    for one in worth_finding(profile):
        yield {
            "fact": one.fact,
            "state": one.state,
            "source": None,
            "sharpens": list(one.sharpens),
            "minutes": one.minutes,
            "gain": one.gain,
        }


def _assumed(profile: Profile) -> Iterator[dict[str, Any]]:
    told = {one.fact for one in worth_finding(profile)}
    for words, _, _ in otherwise(profile):
        if words not in told:
            yield {"fact": words, "state": "assumed", "source": "the file", "sharpens": []}
