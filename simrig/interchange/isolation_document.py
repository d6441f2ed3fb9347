"""Checks, the next one, a whole plan: as JSON documents for other tools."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from simrig.diagnosis import sequencing
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_moves import BenchFacts, Way, way
from simrig.diagnosis.bench_state import BenchState, Needs
from simrig.diagnosis.isolation import Isolation
from simrig.diagnosis.offered import NextCheck
from simrig.interchange.diagnosis_document import explanation


def needs(wanted: Needs) -> list[dict[str, str]]:
    """Return what a check needs of the bench, stage by stage."""
    return [need.stated() for need in wanted]


def check(one: Check) -> dict[str, Any]:
    """Return one check of the catalogue."""
    return {
        "id": one.id,
        "title": one.title,
        "minutes": one.minutes,
        "needs": needs(one.needs),
        "results": list(one.results),
        "result_words": dict(one.results),
        "joined": one.listing,
        "caution": one.caution,
        "work": one.work,
        "volts": one.volts,
        "coil_voltage": bool(one.tier),
    }


def catalogue(
    machine: str, checks: Iterable[Check], facts: BenchFacts, start: BenchState
) -> dict[str, Any]:
    """Return a catalogue; ``allowed`` tells whether the bench can be brought to a check."""
    return {
        "machine": machine,
        "coils_can_be_proven_dead": {"interlock": facts.interlock, "fuses": facts.fuses},
        "checks": [
            {**check(one), "allowed": way(facts, start, one.needs) is not None} for one in checks
        ],
    }


def moves(taken: Way) -> list[dict[str, Any]]:
    """Return the changes of the bench, in order."""
    return [
        {
            "id": move.id,
            "do": move.words,
            "minutes": move.minutes,
            "caution": move.caution,
            "bench": state(move.after),
        }
        for move in taken.moves
    ]


def state(bench: BenchState) -> dict[str, str]:
    """Return how the bench stands."""
    return {
        name: getattr(bench, name)
        for name in ("power", "coils", "door", "playfield", "balls", "fuses")
    }


def next_check(isolation: Isolation) -> dict[str, Any] | None:
    """Return the next check with the way to it; None when no check parts what is left."""
    found = isolation.next
    if found is None:
        return None
    return {
        "id": found.check.id,
        "title": found.check.title,
        "minutes": found.check.minutes,
        "needs": needs(found.check.needs),
        "why": why(found),
        "caution": found.check.caution,
        "results": [left.result for left in found.leaves],
        "bench": state(isolation.state),
        "bench_minutes": found.way.minutes,
        "moves": moves(found.way),
        "expected_minutes": found.expected_minutes,
        "proven": found.proven,
        "method": found.method,
        "leaves": [
            {
                "result": left.result,
                "words": left.words,
                "probability": left.probability,
                "groups": [{"group": group, "probability": share} for group, share in left.groups],
            }
            for left in found.leaves
        ],
    }


def why(found: NextCheck) -> str:
    """Return in a sentence why this comes next."""
    if len(found.leaves) == 1:
        return "it is wrong in all that is left, and what is read after it tells the rest"
    parts = [
        f"{left.result} leaves {len(left.groups)} group{'' if len(left.groups) == 1 else 's'} "
        f"(chance {left.probability:.2f})"
        for left in found.leaves[:6]
    ]
    return "it parts what is left: " + ", ".join(parts)


def plan(isolation: Isolation) -> dict[str, Any]:
    """Return the whole plan as nested documents."""
    found = isolation.plan
    return {
        "expected_minutes": found.expected_minutes,
        "proven": found.proven and not isolation.cut,
        "method": str(found.method),
        "start": state(isolation.state),
        "root": _node(isolation, found.root, isolation.state),
    }


def _node(
    isolation: Isolation, node: sequencing.Step | sequencing.Group, bench: BenchState
) -> dict[str, Any]:
    if isinstance(node, sequencing.Group):
        return {"left": [explanation(isolation.diagnosis, one) for one in isolation.left_at(node)]}
    one = isolation.check(node.check.id)
    taken = isolation.bench.way(bench, one)
    assert taken is not None
    return {
        "check": one.id,
        "title": one.title,
        "minutes": one.minutes,
        "needs": needs(one.needs),
        "caution": one.caution,
        "work": one.work,
        "moves": moves(taken),
        "results": [
            {
                "result": branch.result,
                "probability": branch.probability,
                "then": _node(isolation, branch.node, taken.after),
            }
            for branch in node.branches
        ],
    }
