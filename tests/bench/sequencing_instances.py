"""Seeded sequencing problems shaped like work at a trough, and slow peers to hold plans against.

All chances, minutes and layouts are invented.  The peers share nothing with the
planner but the problem type.
"""

from __future__ import annotations

import math
import random
import warnings
from functools import cache

from simrig.diagnosis.sequencing_problem import Check, Problem, certain, no_change

# What can leave one beam of a trough dark, with a rough relative chance.
CHANNEL = {
    "dirt": 8, "aim": 5, "object": 4, "emitter": 6, "resistor-lead": 9, "resistor": 2,
    "emitter-joint": 4, "emitter-wire": 3, "emitter-pin": 3, "receiver": 4, "receiver-joint": 3,
    "receiver-wire": 3, "receiver-pin": 3, "board-channel": 2, "output-wire": 3, "output-pin": 3,
    "input": 1,
}  # fmt: skip
SHARED = {
    "emitter-supply": 2, "fuse": 3, "return": 2, "board-supply": 2, "sensor-plug": 3,
    "output-plug": 3,
}  # fmt: skip
DARK = {"emitter", "resistor-lead", "resistor", "emitter-joint", "emitter-wire", "emitter-pin"}
DARK_SHARED = {"emitter-supply", "fuse", "return"}
RECEIVING = {"receiver", "receiver-joint", "receiver-wire", "receiver-pin", "board-channel",
             "output-wire", "output-pin", "input"}  # fmt: skip
RECEIVING_SHARED = {"board-supply", "sensor-plug", "output-plug"}

# Bench: (power on, door open, balls out, playfield raised); None: as it is.
COLD = (False, True, True, True)
LIT = (True, True, True, True)
DOWN = (True, True, None, None)
ANY_OFF = (False, True, None, None)
START = (True, False, False, False)

# check: minutes, tier, bench, {result: suspects}; every other suspect gives "well".
CHANNEL_CHECKS = {
    "look": (0.5, 0, (None, True, None, None), {"object": {"object"}}),
    "wipe": (1.5, 0, COLD, {"cured": {"dirt"}}),
    "aim": (3.0, 0, LIT, {"cured": {"aim", "object"}}),
    "camera": (2.0, 0, LIT, {"dark": DARK | DARK_SHARED}),
    "lit-emitter": (3.0, 0, LIT, {"dead": RECEIVING | RECEIVING_SHARED}),
    "volts": (3.0, 0, LIT, {
        "none": {"resistor-lead", "resistor", "emitter-wire", "emitter-pin", "emitter-supply",
                 "fuse"},
        "full": {"emitter", "emitter-joint", "return"}}),
    "ohms-resistor": (2.0, 0, COLD, {"open": {"resistor-lead", "resistor"}}),
    "tug-lead": (1.0, 0, COLD, {"loose": {"resistor-lead", "emitter-joint"}}),
    "diode": (2.5, 0, COLD, {"open": {"emitter"}}),
    "ring-emitter": (3.5, 0, COLD, {"open": {"emitter-wire", "emitter-pin"}}),
    "reseat-emitter": (1.0, 0, COLD, {"cured": {"emitter-pin"}}),
    "ring-receiver": (3.5, 0, COLD, {"open": {"receiver-wire", "receiver-pin"}}),
    "reseat-receiver": (1.0, 0, COLD, {"cured": {"receiver-pin"}}),
    "joints": (4.0, 0, COLD, {"cracked": {"emitter-joint", "receiver-joint"}}),
    "swap-receiver": (5.0, 0, LIT, {"follows": {"receiver", "receiver-joint", "receiver-wire",
                                                "receiver-pin"}}),
    "swap-output": (4.0, 0, ANY_OFF, {"stays": {"output-wire", "output-pin", "input"}}),
    "volts-output": (3.0, 0, DOWN, {"dead": RECEIVING - {"output-wire", "output-pin", "input"}}),
    "bridge-output": (2.0, 0, DOWN, {"dead": {"output-wire", "output-pin", "input",
                                              "output-plug"}}),
    "bridge-input": (2.0, 0, DOWN, {"dead": {"input"}}),
    "reseat-output": (1.0, 0, ANY_OFF, {"cured": {"output-pin"}}),
}  # fmt: skip
SHARED_CHECKS = {
    "mates": (1.0, 0, (True, None, True, None), {
        "all": DARK_SHARED | RECEIVING_SHARED}),
    "fuse": (1.0, 0, ANY_OFF, {"blown": {"fuse"}}),
    "volts-bank": (2.5, 0, LIT, {"none": {"emitter-supply", "fuse"}}),
    "volts-board": (2.5, 0, LIT, {"none": {"board-supply"}}),
    "plug-sensor": (1.0, 0, COLD, {"cured": {"sensor-plug"}}),
    "plug-output": (1.0, 0, ANY_OFF, {"cured": {"output-plug"}}),
    "ring-return": (3.0, 0, COLD, {"open": {"return"}}),
}  # fmt: skip
ALIVE_CHECKS = {
    "live-supply": (1.5, 1, (True, False, True, False), {"sags": {"emitter-supply",
                                                                  "board-supply"}}),
}  # fmt: skip


class Bench:
    """What it costs to change the bench: in order, power off before the playfield moves."""

    def __init__(self, chance: random.Random) -> None:
        self.off, self.on, self.door, self.out, self.back, self.lift, self.lower = (
            minutes * chance.uniform(0.7, 1.4) for minutes in (2.5, 0.5, 0.3, 2.0, 1.5, 1.5, 1.0)
        )

    def change(self, state, check):
        """Minutes and state after; the playfield moves only with power off and balls out."""
        if check.state is None:
            return 0.0, state
        power, door, out, up = (
            had if wanted is None else wanted
            for had, wanted in zip(state, check.state, strict=True)
        )
        minutes = self.door * (door != state[1])
        powered = state[0]
        if up != state[3] or (out != state[2] and state[3]):
            minutes += self.off if powered else 0.0
            powered = False
            minutes += self.lift if up and not state[3] else 0.0
            minutes += self.lower if state[3] and not up else 0.0
            if up and not out:
                return None
        minutes += self.out if out and not state[2] else 0.0
        minutes += self.back if state[2] and not out else 0.0
        if power != powered:
            minutes += self.on if power else self.off
        return minutes, (power, door, out, up)


def trough(seed, size, *, tiers=False, channels=1):
    """A dark beam with ``size`` suspects; with two channels their neighbours are suspects too."""
    chance = random.Random(f"trough {seed} {size} {tiers} {channels}")
    suspects = [(name, 0, weight) for name, weight in SHARED.items()]
    for channel in range(1, channels + 1):
        suspects += [(name, channel, weight) for name, weight in CHANNEL.items()]
    chosen = sorted(chance.sample(range(len(suspects)), size))
    suspects = [suspects[index] for index in chosen]
    weights = [weight * math.exp(chance.gauss(0, 0.6)) for _, _, weight in suspects]
    tables = [("bank", 0, SHARED_CHECKS | (ALIVE_CHECKS if tiers else {}))]
    tables += [(f"beam{channel}", channel, CHANNEL_CHECKS) for channel in range(1, channels + 1)]
    checks = []
    for prefix, channel, table in tables:
        for name, (minutes, tier, state, results) in table.items():
            outcomes = [
                next((word for word, hit in results.items() if suspect in hit), "well")
                if at in (0, channel)
                else "well"
                for suspect, at, _ in suspects
            ]
            checks.append(
                Check(
                    id=f"{prefix}-{name}",
                    minutes=minutes * chance.uniform(0.7, 1.4),
                    tier=tier,
                    state=state,
                    results=certain(outcomes),
                )
            )
    return Problem(weights=weights, checks=checks, start=START, change=Bench(chance).change)


def scattered(seed, size, checks, *, words=2):
    """Checks that part at random, no bench."""
    chance = random.Random(f"scattered {seed} {size} {checks}")
    return Problem(
        weights=[chance.expovariate(1.0) + 0.01 for _ in range(size)],
        checks=[
            Check(
                id=f"c{number:03d}",
                minutes=chance.uniform(0.5, 10),
                results=certain(str(chance.randrange(words)) for _ in range(size)),
            )
            for number in range(checks)
        ],
        change=no_change,
    )


def plain_optimum(problem):
    """The least expected minutes by plain dynamic programming: no bound, no merging."""
    total = sum(problem.weights)
    prior = {i: w / total for i, w in enumerate(problem.weights) if w > 0}
    allowed = [
        check
        for check in problem.checks
        if check.id not in problem.done and problem.change(problem.start, check) is not None
    ]

    def support(check, i):
        return frozenset(word for word, p in check.results[i].items() if p > 0)

    @cache
    def cost(left, state, seen):
        used = {number for number, _ in seen}
        parting = [
            (check.tier, number)
            for number, check in enumerate(allowed)
            if len({support(check, i) for i in left}) > 1 and number not in used
        ]
        if not parting:
            return 0.0
        joint = dict(prior)
        for number, word in seen:
            for i in joint:
                joint[i] *= allowed[number].results[i].get(word, 0.0)
        mass = sum(joint[i] for i in left)
        best = math.inf
        for tier, number in parting:
            if tier > min(parting)[0]:
                continue
            check = allowed[number]
            minutes, after = problem.change(state, check)
            value = minutes + check.minutes
            for word in {word for i in left for word in support(check, i)}:
                rest = frozenset(i for i in left if word in support(check, i))
                share = sum(joint[i] * check.results[i][word] for i in rest)
                value += share / mass * cost(rest, after, seen | {(number, word)})
            best = min(best, value)
        return best

    return cost(frozenset(prior), problem.start, frozenset())


def certain_optimum(problem):
    """The same where no result is left to chance: by what is left and the state of the bench.

    What was done does not matter then: a check done before parts nothing any more.
    """
    live = problem.live()
    total = sum(problem.weights[i] for i in live)
    share = {1 << n: problem.weights[i] / total for n, i in enumerate(live)}
    checks = []
    for check in problem.checks:
        if problem.change(problem.start, check) is None:
            continue
        by_word = {}
        for n, i in enumerate(live):
            (word,) = check.results[i]
            by_word[word] = by_word.get(word, 0) | 1 << n
        checks.append((check, tuple(by_word.values())))

    change = cache(lambda state, number: problem.change(state, checks[number][0]))

    @cache
    def parting(left):
        """The minutes of each allowed check that parts what is left, weighed, and its parts."""
        mass = sum(weight for bit, weight in share.items() if left & bit)
        found = []
        for number, (check, sorts) in enumerate(checks):
            parts = [left & sort for sort in sorts if left & sort]
            if len(parts) > 1:
                found.append((check.tier, number, check.minutes * mass, parts))
        least = min((tier for tier, *_ in found), default=0)
        return mass, [rest for tier, *rest in found if tier == least]

    @cache
    def cost(left, state):
        mass, allowed = parting(left)
        if not allowed:
            return 0.0
        best = math.inf
        for number, value, parts in allowed:
            minutes, after = change(state, number)
            value += minutes * mass
            # One that is left alone costs nothing more.
            value += sum([cost(part, after) for part in parts if part & (part - 1)])
            best = min(best, value)
        return best

    return cost((1 << len(live)) - 1, problem.start)


def entropy_tree(problem):
    """A fitted scikit-learn entropy tree, its features and the table of who gives which.

    One feature for each result of each check.
    """
    import numpy as np
    from sklearn.tree import DecisionTreeClassifier

    live = problem.live()
    features = [(check, word) for check in problem.checks for word in check.words(live)]
    table = np.array([[float(word in check.results[i]) for check, word in features] for i in live])
    weights = np.array([problem.weights[i] for i in live])
    fitted = DecisionTreeClassifier(criterion="entropy", random_state=0)
    with warnings.catch_warnings():
        # It takes many kinds for a sign that a number is meant.
        warnings.filterwarnings("ignore", message="The number of unique classes")
        fitted.fit(table, list(live), sample_weight=weights)
    return fitted.tree_, features, table, weights


def entropy_tree_minutes(problem):
    """Expected minutes of that tree, bench changes and repeats charged.

    A check done once answers all of its features.  Only for checks without chance.
    """
    tree, features, table, weights = entropy_tree(problem)
    total = 0.0
    for row, weight in zip(table, weights, strict=True):
        node, state, done = 0, problem.start, set()
        while tree.children_left[node] != -1:
            check = features[tree.feature[node]][0]
            if check.id not in done:
                minutes, state = problem.change(state, check)
                total += weight * (minutes + check.minutes)
                done.add(check.id)
            low = row[tree.feature[node]] <= tree.threshold[node]
            node = (tree.children_left if low else tree.children_right)[node]
    return total / weights.sum()
