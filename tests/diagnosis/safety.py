"""The rules of safety a second time, in other words than the code's: what a step must never do.

Common practice, no source; local codes, the machine's own manual and licensed practice
come first.
"""

from __future__ import annotations

from collections.abc import Iterator

from simrig.diagnosis import sequencing
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_moves import Way
from simrig.diagnosis.bench_state import BenchState
from simrig.diagnosis.isolation import Isolation
from simrig.profile.machine import Profile


def state_faults(state: BenchState) -> Iterator[str]:
    """Yield what is wrong with a bench state."""
    if state.playfield == "raised" and state.balls in ("aboard", "some"):
        yield "playfield raised with balls aboard"
    if state.playfield == "raised" and state.coils in ("present", "unknown"):
        yield "playfield raised with coil voltage"
    if state.power == "unplugged" and state.coils != "absent":
        yield "unplugged, but the charge was not measured gone"
    live = state.power == "on" and state.door == "shut" and state.fuses == "in"
    if live and state.coils == "absent":
        yield "coils called dead with the door shut"


def way_faults(profile: Profile, way: Way) -> Iterator[str]:
    """Yield what is wrong with the moves to a check."""
    state = way.start
    yield from state_faults(state)
    cut = bool(profile.interlock and profile.interlock.fitted) and all(
        bank.interlocked for bank in profile.coil_bank
    )
    for move in way.moves:
        before, state = state, move.after
        yield from state_faults(state)
        handled = before.balls != state.balls or before.playfield != state.playfield
        if handled and before.coils != "absent":
            yield f"{move.id}: hands in with coil voltage {before.coils}"
        moved = before.fuses != state.fuses and state.fuses != "out and tried"
        if moved and before.power != "unplugged":
            yield f"{move.id}: coil fuses moved with charge"
        if before.coils != "absent" and state.coils == "absent" and state.power != "unplugged":
            tried = (cut and profile.coil_bank and state.door == "open") or before.fuses == "out"
            still = before.fuses == "out and tried"  # proven before, and nothing put back
            if not still and ("try" not in move.id or not tried):
                yield f"{move.id}: coils called dead, nobody proved it"
        if state.power == "unplugged" and before.power == "on":
            yield f"{move.id}: unplugged without switching off"


def check_faults(check: Check, way: Way) -> Iterator[str]:
    """Yield what is wrong with doing a check where its way leads."""
    states = [way.start, *(move.after for move in way.moves)]
    stages = [states[count] for count in way.stages]
    words = check.title.lower()
    measures = check.work in ("ohms", "iron") or words.startswith(("ohms", "meter", "ring"))
    if measures and stages[0].power != "unplugged":
        yield "ohms with charge"
    pulls = check.id.startswith(("reseat-", "exchange-", "plunger-", "diode-"))
    if pulls and stages[0].power != "unplugged":
        yield "plug or iron with charge"
    if words.startswith("volts"):
        if check.volts is None or check.volts > 24:
            yield "volts on what the profile does not state as low"
        if stages[0].power != "unplugged":
            yield "probes clipped on under power"
        if stages[-1].coils != "absent":
            yield "volts with coils alive"
    if check.id.startswith(("exchange-",)) and stages[-1].power != "unplugged":
        yield "plugs changed back under power"
    near = check.id.startswith(("camera-", "light-", "wipe-", "aim-", "tap-", "channel-", "set-"))
    if near and stages[-1].coils != "absent":
        yield "hands near mechanisms with coils alive"


def plan_faults(isolation: Isolation) -> list[str]:
    """Return everything wrong in a whole plan, each step from the bench it is reached with."""
    found: list[str] = []
    waiting = [(isolation.plan.root, isolation.state)]
    profile = isolation.diagnosis.profile
    while waiting:
        node, state = waiting.pop()
        if isinstance(node, sequencing.Group):
            continue
        check = isolation.check(node.check.id)
        way = isolation.bench.way(state, check)
        if way is None:
            found.append(f"{check.id}: no way")
            continue
        for fault in (*way_faults(profile, way), *check_faults(check, way)):
            found.append(f"{check.id}: {fault}")
        if check.id.startswith(("kick-", "interlock-try")) and _parted_by_other(isolation, node):
            found.append(f"{check.id}: coil voltage though another check parts what is left")
        waiting += [(branch.node, way.after) for branch in node.branches]
    return found


def _parted_by_other(isolation: Isolation, node: sequencing.Step) -> bool:
    for check in isolation.problem.checks:
        if check.id.startswith(("kick-", "interlock-try")):
            continue
        if isolation.bench.way(isolation.state, isolation.check(check.id)) is None:
            continue
        can = {frozenset(check.results[i]) for i in node.hypotheses}
        if len(can) > 1:
            return True
    return False
