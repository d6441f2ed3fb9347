"""The next check on the screen: the bench first, its cautions, then the thing to do; and the plan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from simrig.diagnosis import sequencing
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_moves import Way
from simrig.diagnosis.bench_state import BenchState
from simrig.diagnosis.diagnose import Cause
from simrig.diagnosis.isolation import Isolation
from simrig.diagnosis.offered import NextCheck, result_words
from simrig.diagnosis.repairs import REPAIR, is_repair, mended, repair_caution
from simrig.diagnosis.words import fault_words, listed, mistake_words
from simrig.faults.candidates import Fault
from simrig.reports import wording
from simrig.reports.diagnosis_text import group_words

LOCAL = "Local codes, the machine's own manual and licensed practice come first."
CERTAIN = "One thing is wrong in all that is left. Put it right first, then read again."
MOST_DEPTH = 12


def folded(text: str, indent: str = "") -> list[str]:
    """Return text as lines of a screen."""
    return wording.folded(text, indent).splitlines()


def minutes(value: float) -> str:
    """Return minutes in words."""
    if value < 0.75:
        return "half a minute"
    whole = max(round(value), 1)
    return "1 minute" if whole == 1 else f"{whole} minutes"


def sentence(text: str) -> str:
    """Return text as a sentence: with a full stop, where it does not end with a mark of its own."""
    return text if text.endswith(("?", ".", "!")) else f"{text}."


def next_lines(isolation: Isolation, most: int = 1000, machine: str = "") -> list[str]:
    """Return the bench, the changes that it needs, each after its caution, and the next check.

    Changes that do not fit into ``most`` lines are counted, not named without their caution.
    Where no check is left to do, the repair is what comes next, and its proof on ``machine``.
    """
    found = isolation.next
    if found is None:
        lines = []
        if len(isolation.causes) > 1:
            lines = folded("No check of the catalogue parts what is left.", "  ")
        repair = _repair(isolation, machine or isolation.diagnosis.profile.id)
        return [*lines, *(repair if len(lines) + len(repair) <= most else [])]
    head = [*put_right(isolation), *folded(f"Bench now: {isolation.state.words()}.", "  ")]
    tail = folded(f"Next ({minutes(found.check.minutes)}): {sentence(found.check.title)}", "  ")
    known = "right, or the sensors that read wrong" if found.check.listing else words_of(found)
    tail += folded(f"  Then say --found {found.check.id}= {known}", "    ")
    if isolation.mending is not None:
        head += folded(CERTAIN, "  ")
    return [*head, *_before(found, most - len(head) - len(tail)), *tail]


def _repair(isolation: Isolation, machine: str) -> list[str]:
    """Return what is done about what is left, the likeliest first, its caution and its proof."""
    causes = isolation.causes
    faults = dict.fromkeys(fault for cause in causes for fault in cause.faults)
    if not faults:
        return folded("No part is at fault.") if causes else []
    prove = f"simrig prove {machine} --repaired {_named(next(iter(faults)))}"
    to_do = {fault: words for fault in faults if (words := to_put_right(isolation, fault))}
    if not to_do:
        return folded(f"Next: all of it is put right; prove it: {prove}", "  ")
    lines = folded(f"Caution: {repair_caution(to_do)} {LOCAL}", "  ")
    lines += folded(f"Next: {'; or '.join(dict.fromkeys(to_do.values()))}.", "  ")
    return [*lines, *folded(f"  Then prove it: {prove}", "    ")]


def to_put_right(isolation: Isolation, fault: Fault) -> str:
    """Return what is still to be done about a fault; nothing where it was done on the way.

    A check that has put right what comes and goes was a beginning, and who looks has not
    said that hands were in.
    """
    by = mended(fault, isolation.results)
    if by is None:
        return fault.kind.repair
    if by.work == "look":
        return f"{fault.kind.repair}, unless you did with {by.id}"
    if is_repair(by) or not fault.kind.intermittent:
        return ""
    return f"{fault.kind.repair} (begun with {by.id}: see that it lasts)"


def _done(isolation: Isolation, fault: Fault) -> str:
    by = mended(fault, isolation.results)
    if by is None or is_repair(by):
        return "was put right"
    return f"{fault.kind.repair}: done with {by.id}"


def put_right(isolation: Isolation) -> list[str]:
    """Return the repairs that were made on the way, so that nobody makes them again."""
    done = {one.check.id for one in isolation.results if is_repair(one.check)}
    if not done:
        return []
    diagnosis = isolation.diagnosis
    words = [
        fault_words(diagnosis.profile, one.fault)
        for one in diagnosis.suspects
        if one.fault is not None and f"{REPAIR}{one.fault.name}" in done
    ]
    return folded(f"Put right on the way: {listed(words)}.", "  ")


def _before(found: NextCheck, room: int) -> list[str]:
    """Return the changes of the bench, each after its caution, in at most so many lines."""
    moves = found.way.moves
    end = f" Caution: {found.check.caution}" if found.check.caution else ""
    if end or any(move.caution for move in moves):
        end += f" {LOCAL}"
    if not moves:
        return folded(end.strip(), "  ") if end else []
    lines: list[str] = []
    for count in range(len(moves), -1, -1):
        steps = [
            f"{f'Caution: {move.caution} ' if move.caution else ''}{move.words}"
            for move in moves[:count]
        ]
        left = len(moves) - count
        if left:
            changes = "1 change of the bench" if left == 1 else f"{left} changes of the bench, each"
            more = f"{changes} with its caution: --ask."
            steps.append(f"Then {more}" if count else more)
        start = f"Before it ({minutes(found.way.minutes)}):"
        lines = folded(" ".join([start, *steps]) + end, "  ")
        if len(lines) <= room:
            break
    return lines


def words_of(found: NextCheck) -> str:
    """Return the results that a check knows, those that can come first."""
    likely = [left.result for left in found.leaves]
    return " or ".join([*likely, *[word for word in found.check.results if word not in likely]])


def cautions_of(way: Way, check: Check) -> list[str]:
    """Return each caution once: those of the changes of the bench, then the check's own."""
    found = dict.fromkeys(move.caution for move in way.moves if move.caution)
    if check.caution:
        found[check.caution] = None
    return list(found)


def reasons(isolation: Isolation) -> list[str]:
    """Return what each result of the next check leaves."""
    found = isolation.next
    if found is None:
        return []
    lines = [] if isolation.mending is None else folded(CERTAIN, "  ")
    for left in found.leaves:
        first, _ = left.groups[0]
        more = len(left.groups) - 1
        rest = f" and {more} more" if more else ""
        what = group_words(isolation.diagnosis, first, 2)
        text = f"{left.result} ({wording.chance(left.probability)}): leaves {what}{rest}"
        lines += folded(f"  {text}.", "    ")
    return lines


def bench_steps(way: Way) -> list[str]:
    """Return the changes of the bench, each with its caution before the act."""
    lines = []
    for number, move in enumerate(way.moves, 1):
        if move.caution:
            lines += folded(f"     Caution: {move.caution}", "     ")
        lines += folded(f"  {number:2} {move.words}", "     ")
    return lines


def plan_lines(isolation: Isolation) -> list[str]:
    """Return the whole plan as an indented tree, with bench changes and cautions."""
    found = isolation.plan
    if isinstance(found.root, sequencing.Group):
        return ["No check is needed, or none parts what is left."]
    if isolation.mending is not None:
        return [*folded(CERTAIN), *folded(LOCAL), *_node(isolation, found.root, isolation.state, 0)]
    price = f"about {found.expected_minutes:.1f} minutes on the mean"
    proof = "no plan is shorter" if found.proven else f"found by {found.method}, not proven"
    lines = [f"The plan: {price} ({proof}).", *folded(LOCAL)]
    lines += list(_node(isolation, found.root, isolation.state, 0))
    if isolation.cut:
        lines += folded(f"{isolation.cut} less likely things are not in this plan.")
    return lines


def _node(
    isolation: Isolation,
    node: sequencing.Step | sequencing.Group,
    state: BenchState,
    depth: int,
) -> Iterator[str]:
    margin = "  " * min(depth, MOST_DEPTH)
    if isinstance(node, sequencing.Group):
        causes = isolation.left_at(node)
        words = "; or ".join(cause_words(isolation, cause) for cause in causes[:4])
        more = f"; or {len(causes) - 4} more" if len(causes) > 4 else ""
        yield from folded(f"{margin}left: {words}{more}", margin + "  ")
        return
    check = isolation.check(node.check.id)
    way = isolation.bench.way(state, check)
    assert way is not None
    if way.moves:
        for caution in dict.fromkeys(move.caution for move in way.moves if move.caution):
            yield from folded(f"{margin}! {caution}", margin + "  ")
        words = " ".join(move.words for move in way.moves)
        yield from folded(f"{margin}bench: {words}", margin + "  ")
    if check.caution:
        yield from folded(f"{margin}! {check.caution}", margin + "  ")
    yield from folded(
        f"{margin}{check.id}: {check.title} ({minutes(check.minutes)})", margin + "  "
    )
    for branch in node.branches:
        chance = wording.chance(branch.probability)
        words = result_words(check, branch.result)
        yield from folded(f"{margin}- {branch.result} ({chance}): {words}", margin + "  ")
        yield from _node(isolation, branch.node, way.after, depth + 1)
        if isinstance(branch.node, sequencing.Group) and isolation.goes_on(check.id, branch.node):
            again = f"{margin}  then read again: --found {check.id}={branch.result}"
            yield from folded(again, margin + "    ")


def cause_words(isolation: Isolation, cause: Cause) -> str:
    """Return a cause in words."""
    profile = isolation.diagnosis.profile
    words = [fault_words(profile, fault) for fault in cause.faults]
    words += [mistake_words(profile, mistake) for mistake in cause.assumes]
    return ", together with ".join(words) or "all is as assumed"


def ending(isolation: Isolation, causes: Sequence[Cause], machine: str) -> list[str]:
    """Return the part or parts left, the repair in words, its caution, and what proves it.

    ``machine`` is what the person called the machine: its id, or its file.
    """
    profile = isolation.diagnosis.profile
    lines: list[str] = []
    if len(causes) == 1:
        lines += folded(f"It is: {cause_words(isolation, causes[0])}.", "  ")
    else:
        lines += folded("No check parts these; the first is the likeliest:")
    for cause in causes[:6]:
        if len(causes) > 1:
            lines += folded(f"- {cause_words(isolation, cause)}", "  ")
        for fault in cause.faults:
            words = to_put_right(isolation, fault) or _done(isolation, fault)
            lines += folded(f"  Repair: {words}.", "    ")
        for mistake in cause.assumes:
            lines += folded(f"  No part is at fault: {mistake_words(profile, mistake)}.", "    ")
    if len(causes) > 6:
        lines.append(f"  and {len(causes) - 6} more")
    parts = dict.fromkeys(_named(fault) for cause in causes for fault in cause.faults)
    if parts:
        caution = repair_caution(
            fault for cause in causes for fault in cause.faults if to_put_right(isolation, fault)
        )
        if caution:
            lines += folded(f"Caution: {caution} {LOCAL}", "  ")
        first = next(iter(parts))
        lines += folded(
            f"Then prove it: simrig prove {machine} --repaired {first} lays out the plan: balls "
            "back one at a time, every sensor watched.", "  ",
        )  # fmt: skip
    return lines


def _named(fault: Fault) -> str:
    """Return what the proof calls a part: a sensor by its id, others with the kind of fault."""
    return fault.part if fault.sensor is not None else fault.name
