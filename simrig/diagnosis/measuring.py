"""What looking, measuring and mending one part tells: shared by the checks of all kinds of part."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Final

from simrig.diagnosis.bench_case import NOTHING, Act, Case, Ground, with_chain
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_scene import EMPTY
from simrig.diagnosis.bench_state import needs_of
from simrig.faults.candidates import Fault
from simrig.profile.keys import NONE
from simrig.sensing.chain import Link, Part

OHMS: Final = "Ohms only unplugged and without charge; meter jacks and range right."
CLIPPED: Final = "Clip on unplugged, fingers out, then power on; leave it until unplugged again."
MARKED: Final = "Mark a plug before you pull it; pull it straight, never under power."

SHORTED: Final = frozenset(
    ("emitter-shorted", "diode-shorted", "column-shorted", "row-shorted", "input-shorted")
)
"""Kinds of fault that a meter shows as a short; what else fails by itself is open."""
LOOSE: Final = frozenset(("emitter-joint-loose", "plug-loose"))
"""Kinds of fault that a tap makes show."""


def placed(ground: Ground, connector: str | None) -> dict[str, str]:
    """Return how the bench stands when hands come to a plug; where nobody knows, it is below."""
    row = ground.profile.row("connector", connector)
    place = (row.place or "").lower() if row is not None else ""
    outside = ("cabinet", "controller", "door", "back box", "head")
    if "underside" not in place and any(word in place for word in outside):
        return {"door": "open", "balls": "out"}
    return {"door": "open", "playfield": "raised", "balls": "out"}


RAISED: Final[Mapping[str, str]] = {"door": "open", "playfield": "raised", "balls": "out"}


OPEN_DOOR: Final[Mapping[str, str]] = {"door": "open"}


def condition(fault: Fault | None) -> str:
    """Return what a meter shows at a part: sound, open or short."""
    if fault is None:
        return "sound"
    return "short" if fault.kind.id in SHORTED else "open"


def measured(
    ground: Ground,
    name: str,
    title: str,
    parts: Collection[Part],
    where: Mapping[str, str],
    minutes: float,
    *,
    sound: tuple[str, str] = ("through", "it conducts"),
    words: Mapping[str, str] | None = None,
) -> Check:
    """Return the check of a meter across parts in a row, the machine without any charge.

    Open wherever one of the parts is; ``sound`` is the result, with its words, when
    none is, ``words`` the other results.
    """
    found = words or {"open": "it does not conduct"}

    def judge(case: Case) -> frozenset[str]:
        shown = {condition(case.failed(*part)) for part in parts} - {"sound"}
        for word in ("open", "short"):
            if word in shown and word in found:
                return frozenset((word,))
        return frozenset((sound[0],))

    return Check(
        id=name, title=title, work="ohms", needs=needs_of("ohms", **where), minutes=minutes,
        results={sound[0]: sound[1], **found}, caution=OHMS, ground=ground, judge=judge,
        parts=frozenset(parts),
    )  # fmt: skip


def cured(
    ground: Ground,
    name: str,
    title: str,
    work: str,
    where: Mapping[str, str],
    minutes: float,
    heals: Callable[[Fault], bool],
    sensors: Iterable[str],
    *,
    by_hand: bool = True,
    caution: str = "",
) -> Check:
    """Return the check that puts something right and looks whether the readings follow.

    Balls out, at rest and, ``by_hand``, with the sensors worked.

    ``cured``: what was wrong is right now; ``partly``: some of it is, more is wrong;
    ``no-change``: all still wrong; ``was-right``: there was nothing wrong to see.
    """
    watched = tuple(sensors)
    acts = (NOTHING, Act(by_hand=frozenset(watched))) if by_hand else (NOTHING,)

    def wrong(case: Case) -> set[tuple[bool, str]]:
        sound = case.ground.sound
        return {
            (act is NOTHING, one)
            for act in acts
            for read, right in ((case.cells(act), sound.cells(act)),)
            for one in watched
            if case.reads(read, one, EMPTY) != sound.reads(right, one, EMPTY)
        }

    def judge(case: Case) -> frozenset[str]:
        before = wrong(case)
        if not before:
            return frozenset(("was-right",))
        mended = case.cured(fault for fault in case.faults if heals(fault))
        after = before if mended is case else wrong(mended)
        if not after:
            return frozenset(("cured",))
        return frozenset(("partly" if before - after else "no-change",))

    return Check(
        id=name, title=title, work=work, needs=needs_of(work, **where), minutes=minutes,
        results={"cured": "it read wrong and reads right now",
                 "partly": "some that read wrong read right now, others do not",
                 "no-change": "it still reads wrong", "was-right": "it read right all the time"},
        caution=caution, ground=ground, judge=judge, sensors=frozenset(watched), heals=heals,
    )  # fmt: skip


def replaced(name: str, keep: Callable[[tuple[Link, ...]], int], action: str) -> Act:
    """Return the act by which the head of a chain, up to ``keep(chain)``, does one thing."""

    def edit_chain(chain: tuple[Link, ...]) -> tuple[Link, ...]:
        return (Link(part=Part("bridge", name), action=action), *chain[keep(chain) :])

    return with_chain(name, edit_chain)


def position(chain: tuple[Link, ...], kinds: Collection[str], *, last: bool = False) -> int | None:
    """Return where a link of one of these kinds stands in a chain; None where there is none."""
    found = [number for number, link in enumerate(chain) if link.part.kind in kinds]
    return None if not found else found[-1 if last else 0]


def stated(value: str | None) -> bool:
    """Whether a reference of the profile names something."""
    return value is not None and value != NONE
