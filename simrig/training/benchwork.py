"""Questions on the bench: which part, which check next, in which order, setting, reading a log."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

import attrs

from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.bench_moves import BenchFacts, Move, moves, way
from simrig.diagnosis.bench_state import BenchState, Need
from simrig.diagnosis.offered import EASY
from simrig.diagnosis.sequencing import Problem, ResultError, advance, condition, optimal_minutes
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import Observation
from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.injection import inject
from simrig.proving.judging import judge
from simrig.proving.rehearsal import rehearse
from simrig.scan.scanner import links
from simrig.sensing.inductive import SimulatedPot
from simrig.training.question import LETTERS, Question
from simrig.training.readings import PART_EFFECTS, at_home, closed_words, reads, resting
from simrig.training.subject import Subject
from simrig.world.phases import Conditions

MOST_HYPOTHESES = 14
OVER = 0.05
"""Minutes over the best that still count as the best."""


def which_part(subject: Subject, chance: Random, id_: str) -> Question | None:
    """Which part explains this sheet?"""
    profile = subject.profile
    conditions = at_home(profile, 0)
    sound = reads(profile, conditions)
    faults = [
        one
        for one in possible_faults(profile)
        if one.kind.effect in PART_EFFECTS and not one.kind.intermittent
    ]
    if sound is None:
        return None
    right = chance.choice(faults)
    sheet = reads(profile, conditions, (right,))
    if sheet is None or sheet == sound:
        return None
    wrong: list[Fault] = []
    chance.shuffle(faults)
    for fault in faults[:60]:
        other = reads(profile, conditions, (fault,))
        if other is not None and other != sheet:
            wrong.append(fault)
        if len(wrong) == 3:
            break
    if len(wrong) < 3:
        return None
    choices = [right, *wrong]
    chance.shuffle(choices)
    return Question(
        id=id_,
        topic="which-part",
        level=3,
        form="choice",
        text=f"{profile.name}, {profile.phase[0].title}, no ball in the machine. "
        f"{closed_words(sheet)} Which of these explains it?",
        choices=tuple(f"{one.kind.title} ({one.part})" for one in choices),
        right=frozenset((LETTERS[choices.index(right)],)),
        why=f"{right.kind.title}: {right.kind.why}; each of the others gives other readings",
    )


def next_check(subject: Subject, chance: Random, id_: str) -> Question | None:
    """Which check next?  Marked by what it costs over the best."""
    profile = subject.profile
    watched = resting(profile)
    sound = reads(profile, at_home(profile, 0))
    faults = [
        one
        for one in possible_faults(profile)
        if one.kind.effect in PART_EFFECTS and one.sensor in watched and not one.kind.intermittent
    ]
    if sound is None or not faults:
        return None
    fault = chance.choice(faults)
    sheet = reads(profile, at_home(profile, 0), (fault,))
    if sheet is None or sheet == sound:
        return None
    # The trough is seen empty, and the sheet was read twice: parts alone are left.
    conditions = Conditions(spots=frozenset())
    observation = Observation(readings=sheet, taken_for_open=0, taken_for_closed=0)
    job = Job(
        profile=profile, sheets=(Sheet(observation=observation, conditions=conditions),), limit=1
    )
    isolation = job.isolation(())
    if isolation.next is None:
        return None
    problem = side_by_side(isolation.problem)
    if sum(weight > 0 for weight in problem.weights) > MOST_HYPOTHESES:
        return None
    priced = priced_checks(problem)
    if len(priced) < 3:
        return None
    best = min(priced.values())
    first = min(priced, key=lambda name: (priced[name], name))
    dear = [name for name, cost in priced.items() if cost > best + 1.0]
    if len(dear) < 2:
        return None
    chosen = [first, *chance.sample(sorted(dear), min(3, len(dear)))]
    chance.shuffle(chosen)
    costs = {LETTERS[place]: priced[name] - best for place, name in enumerate(chosen)}
    titles = {one.id: one.title for one in job.bench.checks}
    return Question(
        id=id_,
        topic="next-check",
        level=3,
        form="choice",
        text=f"{profile.name}, all loose balls out and seen to be out. {closed_words(sheet)} "
        "Which check next?",
        choices=tuple(titles[name] for name in chosen),
        right=frozenset(letter for letter, over in costs.items() if over <= OVER),
        why=f"{titles[first]}: on average {best:.1f} minutes to what nothing parts any more, the "
        "bench's changes counted",
        costs=costs,
    )


def side_by_side(problem: Problem) -> Problem:
    """Return a problem in which a mere look stands beside what hands do, not before it.

    To choose between looks alone teaches little.
    """
    checks = [attrs.evolve(one, tier=max(one.tier, EASY)) for one in problem.checks]
    return attrs.evolve(problem, checks=checks)


def priced_checks(problem: Problem) -> dict[str, float]:
    """Return for each check the least expected minutes when it is made first."""
    total = sum(problem.weights)
    tier = min((one.tier for one in problem.checks), default=0)
    found: dict[str, float] = {}
    for check in problem.checks:
        if check.tier != tier or problem.change(problem.start, check) is None:
            continue
        after = advance(problem, check.id)
        change = problem.change(problem.start, check)
        assert change is not None
        cost = change[0] + check.minutes
        words = check.words([i for i, weight in enumerate(problem.weights) if weight > 0])
        if len(words) < 2:
            continue
        for word in words:
            share = sum(
                weight * check.results[i].get(word, 0.0) for i, weight in enumerate(problem.weights)
            )
            try:
                cost += share / total * optimal_minutes(condition(after, check.id, word))
            except ResultError:
                continue
        found[check.id] = cost
    return found


def in_order(subject: Subject, chance: Random, id_: str) -> Question | None:
    """In which order to open, empty, switch off, lift?"""
    profile = subject.profile
    facts = BenchFacts.of(profile)
    need = chance.choice(
        (Need(power="unplugged", playfield="raised"), Need(power="unplugged", door="open"))
    )
    found = way(facts, BenchState(), (need,))
    if found is None or len(found.moves) < 3:
        return None
    right = found.moves
    wrong: list[tuple[Move, ...]] = []
    for place in range(len(right)):
        for other in range(place + 1, len(right)):
            # One step is brought forward: wrong where it cannot, or must not, be made then.
            order = (*right[:place], right[other], *right[place:other], *right[other + 1 :])
            if order not in wrong and not _can_be_made(facts, order):
                wrong.append(order)
    if len(wrong) < 2:
        return None
    wrong = chance.sample(wrong, min(3, len(wrong)))
    choices = [right, *wrong]
    chance.shuffle(choices)
    return Question(
        id=id_,
        topic="in-order",
        level=1,
        form="choice",
        text=f"{profile.name} stands switched on, balls aboard, door shut. You want it "
        f"{need.words()}. In which order?",
        choices=tuple("; ".join(one.words.rstrip(".") for one in order) for order in choices),
        right=frozenset((LETTERS[choices.index(right)],)),
        why="balls come out and coil voltage is proven gone before the playfield is raised; stored "
        "charge is measured gone before hands go in",
    )


def _can_be_made(facts: BenchFacts, order: Sequence[Move]) -> bool:
    """Whether the rules of the bench allow these moves one after the other."""
    state = BenchState()
    for wanted in order:
        made = next((one for one in moves(facts, state) if one.id == wanted.id), None)
        if made is None:
            return False
        state = made.after
    return True


def setting(subject: Subject, chance: Random, id_: str) -> Question | None:
    """Set an inductive sensor: which way is the pot turned?"""
    profile = subject.profile
    sensors = [
        one
        for one in profile.sensor
        if profile.technology(one) == "proximity"
        and one.indicator in ("ball near", "no ball near")
        and one.ball_gap_mm
    ]
    if not sensors:
        return None
    sensor = chance.choice(sensors)
    pot = SimulatedPot(
        turns=round(chance.uniform(0.0, 15.0), 1),
        ball_gap_mm=float(sensor.ball_gap_mm or 1.0),
        rest_gap_mm=3.0 * float(sensor.ball_gap_mm or 1.0),
        lit_when=str(sensor.indicator),
    )
    seen, after = pot.rolled_across()
    window = pot.window()
    if window.empty:
        return None
    if pot.on or after.on:
        right, why = 0, "it stays on without a ball: it is too sensitive"
    elif not seen:
        right, why = 1, "it misses the ball: it is too coarse"
    elif window.low_mm <= pot.setting_mm <= window.high_mm:
        right, why = 2, "it sees the ball and goes back after it, in all heat and supply"
    else:
        return None
    lit, dark = ("lit", "dark")
    at_rest = lit if pot.indicator_lit else dark
    with_ball = lit if pot.with_ball(True).indicator_lit else dark
    gone = lit if after.indicator_lit else dark
    choices = (
        "turn the pot back, until the indicator changes, and a little further",
        "turn the pot forward, until it sees the ball, then back a little",
        "leave it as it is, and prove it by rolling balls across",
    )
    return Question(
        id=id_,
        topic="setting",
        level=2,
        form="choice",
        text=f"{profile.name}, {sensor.title}. Its indicator is lit with {sensor.indicator}. "
        f"Now: no ball near, {at_rest}; a ball rolls across, {with_ball}; the ball is gone, "
        f"{gone}. What do you do?",
        choices=choices,
        right=frozenset((LETTERS[right],)),
        why=why,
    )


def reading_a_log(subject: Subject, chance: Random, id_: str) -> Question | None:
    """Read the log of a feeding and say what went wrong."""
    profile = subject.profile
    plan = subject.plan
    watched = [name for name in resting(profile) if name in plan.steps[1].reads]
    feeding = [
        (number, deed.moves[0].subject)
        for number, deed in enumerate(plan.deeds)
        if len(deed.moves) == 1 and deed.moves[0].verb == "feed"
    ]
    fed = [number for number, place in feeding if place == feeding[0][1]]
    if len(fed) < 2 or len(watched) < 4:
        return None
    faults = [
        one
        for one in possible_faults(profile)
        if one.kind.effect in ("breaks", "opens", "forces")
        and not one.kind.intermittent
        and one.sensor in watched
    ]
    if not faults:
        return None
    fault = chance.choice(faults)
    events = rehearse(profile, plan, inject(profile, links(profile), [fault]))
    last = fed[-1]
    shown = [event for event in events if (event.time_ms or 0) < (last + 2) * 10_000]
    named = {one.sensor for one in judge(plan, events).anomalies}
    in_it = {name for name in watched if any(one.signal == name for one in shown)}
    usual = [event for event in subject.sound_run if (event.time_ms or 0) < (last + 2) * 10_000]
    differs = {
        name
        for name in watched
        if [one.reading for one in shown if one.signal == name]
        != [one.reading for one in usual if one.signal == name]
    }
    if differs != {fault.sensor} or fault.sensor not in named | in_it:
        return None
    others = chance.sample([name for name in watched if name != fault.sensor], 3)
    choices = [str(fault.sensor), *others]
    chance.shuffle(choices)
    trough = [name for name in watched if any(one.signal == name for one in usual[len(watched) :])]
    lines = []
    for ball, step in enumerate(fed, 1):
        did: dict[str, list[str]] = {}
        for one in shown:
            if one.signal in (*trough, fault.sensor) and (one.time_ms or 0) // 10_000 == step + 1:
                did.setdefault(one.signal, []).append(one.reading)
        told = "; ".join(f"{name} {', then '.join(ways)}" for name, ways in did.items())
        lines.append(f"Ball {ball}: {told or 'nothing changed'}")
    start = [one.signal for one in shown if not one.time_ms and one.reading == "closed"]
    return Question(
        id=id_,
        topic="reading-a-log",
        level=3,
        form="choice",
        text=f"{profile.name}: balls were fed one by one into the empty machine. At the start "
        f"these read closed: {', '.join(start) or 'none'}. {'. '.join(lines)}. "
        "Which sensor did wrong?",
        choices=tuple(choices),
        right=frozenset((LETTERS[choices.index(str(fault.sensor))],)),
        why=f"{fault.kind.title} ({fault.part}): {fault.kind.why}; all others did what the balls did",
    )
