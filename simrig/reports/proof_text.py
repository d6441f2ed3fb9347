"""The proof of a repair on the screen: its steps, what they prove, and what a log showed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from simrig.profile.machine import Profile
from simrig.proving.judging import Judged
from simrig.proving.plan import Plan
from simrig.proving.step import Step
from simrig.reports import wording

SHOWN = 12


def lines(profile: Profile, plan: Plan, *, repaired: str | None) -> Iterator[str]:
    """Yield the whole plan, cautions before the steps that they concern."""
    about = f" after the repair of {repaired}" if repaired else ""
    if plan.balls != profile.balls.installed:
        about += f" with {plan.balls} of {profile.balls.installed} balls"
    count = len(plan.steps)
    yield wording.folded(
        f"Proof of {profile.name}{about}: {count} steps, {len(plan.proven)} ball sensors. "
        "Look at each sensor while you do it; wait two seconds before you read."
    )
    for number, step in enumerate(plan.steps, 1):
        yield ""
        yield from step_lines(number, step)
    yield ""
    yield from ending(plan)


def step_lines(number: int, step: Step) -> Iterator[str]:
    """Yield one step: the caution first, then what to do and what must be seen."""
    if step.caution:
        yield wording.folded(f"  Caution: {step.caution}", "  ")
    yield wording.folded(f"{number:3}. {step.do}", "     ")
    yield wording.folded(f"     {step.expect}", "     ")


def ending(plan: Plan) -> Iterator[str]:
    """Yield what is proven when every step was as expected, and what is not."""
    yield wording.folded(f"Proven by then: {', '.join(plan.proven) or 'nothing'}.", "  ")
    if plan.unproven:
        yield wording.folded(f"Not proven by this: {', '.join(plan.unproven)}.", "  ")


def judged(found: Judged, plan: Plan) -> Iterator[str]:
    """Yield what a recorded run showed."""
    if found.passed:
        yield "Passed: every sensor did what the plan says, in its turn."
        yield from ending(plan)
        return
    sensors = list(dict.fromkeys(one.sensor for one in found.anomalies))
    yield wording.folded(f"Not passed: {', '.join(sensors)}.", "  ")
    for one in found.anomalies[:SHOWN]:
        when = "" if one.time_ms is None else f" at {one.time_ms / 1000:.2f} s"
        line = "" if not one.line else f" (line {one.line})"
        yield wording.folded(f"  {one.sensor}, {one.kind}{when}{line}: {one.why}.", "    ")
    if len(found.anomalies) > SHOWN:
        yield f"  and {len(found.anomalies) - SHOWN} more: --json lists them"


def asked(plan: Plan, answers: Sequence[str]) -> Iterator[str]:
    """Yield what was answered step by step, and what that leaves unproven."""
    wrong = [
        (number, answer) for number, answer in enumerate(answers, 1) if answer != "as expected"
    ]
    seen: set[str] = set()
    for step, answer in zip(plan.steps, answers, strict=False):
        if answer == "as expected":
            seen.update(step.proves)
    doubtful = {
        change.sensor
        for number, _ in wrong
        for change in plan.steps[number - 1].changes
        if change.certain
    }
    proven = [name for name in plan.proven if name in seen and name not in doubtful]
    if not wrong and len(answers) == len(plan.steps):
        yield "Proven: every step was as expected."
    for number, answer in wrong:
        yield wording.folded(f"  step {number} {answer}: {plan.steps[number - 1].do}", "    ")
    yield wording.folded(f"Proven: {', '.join(proven) or 'no sensor yet'}.", "  ")
    left = [name for name in (*plan.proven, *plan.unproven) if name not in proven]
    if left:
        yield wording.folded(f"Not proven: {', '.join(left)}.", "  ")
    if wrong:
        yield wording.folded(
            "What differs is a sheet for simrig diagnose: read all ball sensors as they are now.",
            "  ",
        )
