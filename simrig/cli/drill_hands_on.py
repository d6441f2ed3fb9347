"""The hands-on drill: order checks, pay minutes, name the part."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

from simrig.cli.context import Context, wrong
from simrig.reports import wording

if TYPE_CHECKING:
    from simrig.profile.machine import Profile
    from simrig.training.hands_on import HandsOn, Paid

HELP = "  a check's id: make it   l WORD: list checks   c: what can be wrong   it is KIND:PART   q leave"


def session(profile: Profile, seed: int, context: Context) -> int:
    """Hold the drill; 0 when the part was named."""
    from simrig.training.hands_on import hands_on
    from simrig.training.readings import closed_words

    hidden = hands_on(profile, Random(seed))
    if hidden is None:
        raise wrong("MACHINE", f"no single fault of {profile.name} shows in its readings")
    context.say(f"Seed {seed}. {profile.name}: something is wrong with it.")
    title = profile.phase[0].title
    balls = "1 ball" if hidden.balls == 1 else f"{hidden.balls} balls"
    context.say(wording.folded(f"{title}, {balls} counted in. {closed_words(hidden.readings)}"))
    context.say(wording.folded("Order checks and pay their minutes; then name the part."))
    context.say(HELP)
    paid: list[Paid] = []
    while True:
        try:
            word = input("> ").strip()
        except (EOFError, KeyboardInterrupt):
            word = "q"
        if word in ("q", "leave"):
            _debrief(hidden, paid, context)
            return 1
        if word.startswith("it is "):
            try:
                right = hidden.named(word.removeprefix("it is ").strip())
            except ValueError as error:
                context.say(f"{error}.")
                continue
            context.say("Right: that is it." if right else "Not right.")
            _debrief(hidden, paid, context)
            return 0 if right else 1
        if word.split(" ")[0] == "l":
            _list(hidden, word[1:].strip(), context)
        elif word == "c":
            _causes(hidden, paid, context)
        elif word:
            _order(hidden, paid, word, context)
        else:
            context.say(HELP)


def _order(hidden: HandsOn, paid: list[Paid], word: str, context: Context) -> None:
    from simrig.diagnosis.offered import result_words

    try:
        made = hidden.order(paid, word)
    except ValueError as error:
        context.say(f"{error}.")
        return
    if made is None:
        context.say("The rules of the bench do not allow that check here.")
        return
    paid.append(made)
    words = result_words(made.result.check, made.result.result)
    context.say(wording.folded(f"{made.result.result}: {words}", "  "))
    total = sum(one.minutes for one in paid)
    context.say(f"{made.minutes:.1f} minutes with the bench; {total:.1f} in all.")


def _list(hidden: HandsOn, word: str, context: Context) -> None:
    found = [
        one
        for one in hidden.job.bench.checks
        if word.lower() in one.id or word.lower() in one.title.lower()
    ]
    for one in found[:15]:
        context.say(wording.folded(f"  {one.id} ({one.minutes:g} min): {one.title}", "     "))
    if len(found) > 15:
        context.say(f"  and {len(found) - 15} more; l WORD narrows the list")
    if not found:
        context.say(f'No check has "{word}" in its name.')


def _causes(hidden: HandsOn, paid: list[Paid], context: Context) -> None:
    isolation = hidden.job.isolation([one.result for one in paid])
    for cause in isolation.causes[:10]:
        names = " and ".join(one.name for one in cause.faults) or "nothing in the machine"
        context.say(f"  {names}")
    if len(isolation.causes) > 10:
        context.say(f"  and {len(isolation.causes) - 10} more")


def _debrief(hidden: HandsOn, paid: list[Paid], context: Context) -> None:
    fault = hidden.fault
    context.say(wording.folded(f"It was {fault.name}: {fault.kind.title}; {fault.kind.why}.", "  "))
    context.say(
        wording.folded(
            f"Repair: {fault.kind.repair}; then simrig prove --repaired {fault.name}.", "  "
        )
    )
    context.say(f"\nYours: {sum(one.minutes for one in paid):.1f} minutes.")
    for one in paid:
        context.say(f"  {one.minutes:5.1f}  {one.result}")
    best = hidden.best
    context.say(f"The plan's: {sum(one.minutes for one in best):.1f} minutes.")
    for one in best:
        context.say(f"  {one.minutes:5.1f}  {one.result}")
