"""The facts of a growing profile as a document: what is known, assumed, unknown, and what for."""

from __future__ import annotations

from typing import Any

from simrig.expectation.worth_candidates import otherwise
from simrig.expectation.worth_finding import Worth, worth_finding
from simrig.interchange.beginning.questions import (
    NOT_KNOWN,
    QUESTIONS,
    Question,
    ball_sensors,
)
from simrig.profile.machine import Profile


def document(profile: Profile) -> dict[str, Any]:
    """Return the facts: the eight that are asked first, then others, the best to find first."""
    found = worth_finding(profile)
    topics = {one.topic: one for one in reversed(found) if one.topic}
    told = {one.fact for one in found}
    facts = [_asked(profile, question, topics.get(question.id)) for question in QUESTIONS]
    facts += [_worth(one, None) for one in found if not one.topic]
    facts += [
        {"fact": words, "state": "assumed", "source": "the file", "sharpens": []}
        for words, _, _ in otherwise(profile)
        if words not in told
    ]
    return {"machine": profile.id, "balls": profile.balls.installed, "facts": facts}


def _worth(one: Worth, source: str | None) -> dict[str, Any]:
    return {
        "fact": one.fact,
        "state": one.state,
        "source": source,
        "sharpens": list(one.sharpens),
        "minutes": one.minutes,
        "gain": one.gain,
    }


def _asked(profile: Profile, question: Question, worth: Worth | None) -> dict[str, Any]:
    said = (profile.begun or {}).get(question.id)
    if said == NOT_KNOWN or (said is None and not _in_the_file(profile, question)):
        state, source = "unknown", None
    else:
        state, source = "known", said or "the file"
        if (reason := _assumption(profile, question.id)) is not None:
            state, source = "assumed", reason
    if worth is not None and state != "known":
        return {**_worth(worth, source), "fact": question.title, "state": state}
    return {"fact": question.title, "state": state, "source": source, "sharpens": []}


def _in_the_file(profile: Profile, question: Question) -> bool:
    if question.id == "polarity" and not ball_sensors(profile):
        return False
    return question.known(profile)


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
