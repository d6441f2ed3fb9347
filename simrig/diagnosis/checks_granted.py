"""Checks of what was taken for granted: where the balls lie, symbols, numbering, the profile's facts.

They cost no tool and no change of the bench: eyes, the sheet, the machine's own manual.
Whoever has found out how symbols or positions are meant reads them so from then on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from simrig.diagnosis.bench_case import MOVES, Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_state import needs_of
from simrig.diagnosis.suspects import Mistake
from simrig.diagnosis.wrong_facts import assumed_facts
from simrig.expectation.comparison import boards, wrong_end
from simrig.expectation.facts import in_words
from simrig.world.balls import Fact

LYING = ("phase", "count", "passing")
"""Mistakes under which the balls of the last sheet lie otherwise than assumed."""


def granted_checks(ground: Ground, start_balls: str) -> Iterator[Check]:
    """Yield the checks of what the reader, or the profile, takes for granted."""
    profile = ground.profile
    if not ground.balls_seen and profile.phase:
        yield _lying(ground, start_balls)
    each = ", board by board" if boards(profile) else ""
    yield _asked(
        ground, "symbols",
        "Make sure, by the machine's own manual or at a switch whose state you can see, which "
        f"symbol means closed and which open{each}",
        "symbols", ("as-noted", "other-way"), 0.3,
        ("you took them as they are",
         "you took them the other way round: take them as they are from now on"),
        lambda one: True,
    )  # fmt: skip
    for place in wrong_end(profile):
        title = profile.row("place", place).title
        yield _asked(
            ground, f"end-{place}",
            f"Look at which end of the {title} position 1 is, and from which end you counted",
            "numbering", ("as-counted", "other-end"), 0.3,
            ("you counted from the right end",
             "you counted from the other end: count from the right one from now on"),
            _about(place),
        )  # fmt: skip
    for fact in assumed_facts(profile):
        name = "-".join(filter(None, ("fact", fact.row or fact.table, fact.key.replace("_", "-"))))
        yield _asked(
            ground, name,
            f"Look up in the machine's own manual {in_words(profile, fact)}: the profile only "
            "assumes it",
            "profile", ("as-profile", "other-way"), 1.5,
            ("as the profile assumes", "the other way: put it right in the profile"),
            _about(fact),
        )  # fmt: skip


def _about(what: str | Fact) -> Callable[[Mistake], bool]:
    return lambda one: what in (one.value, one.fact)


def _asked(
    ground: Ground,
    name: str,
    title: str,
    kind: str,
    results: tuple[str, str],
    minutes: float,
    words: tuple[str, str],
    meant: Callable[[Mistake], bool],
) -> Check:
    right, wrong = results
    # A fact is put right in the profile, and then the work begins anew.
    learnt = None if kind == "profile" else lambda one: one.kind == kind and meant(one)

    def judge(case: Case) -> frozenset[str]:
        mistaken = any(one.kind == kind and meant(one) for one in case.mistakes)
        return frozenset((wrong if mistaken else right,))

    return Check(
        id=name, title=title, work="look", needs=needs_of("look"), minutes=minutes,
        results=dict(zip(results, words, strict=True)), caution="", ground=ground, judge=judge,
        asks=frozenset((kind,)), corrects=learnt,
    )  # fmt: skip


def _lying(ground: Ground, start_balls: str) -> Check:
    def judge(case: Case) -> frozenset[str]:
        otherwise = MOVES in case.of or any(
            one.kind in LYING and one.sheet == ground.sheet for one in case.mistakes
        )
        return frozenset(("otherwise" if otherwise else "as-assumed",))

    return Check(
        id="look-balls",
        title="Look with a torch where the balls lie: in each place as many, and in those "
        "positions, as you took for granted?",
        work="look", needs=needs_of("look", balls=start_balls, playfield="down"), minutes=0.5,
        results={"as-assumed": "they lie so, none more and none less",
                 "otherwise": "they lie otherwise, or one is not to be seen"},
        caution="", ground=ground, judge=judge, asks=frozenset((MOVES, *LYING)),
    )  # fmt: skip
