"""Checks of plugs and leads: reseat one, exchange two that are alike, look at two."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import attrs

from simrig.diagnosis.bench_case import Act, Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_moves import BenchFacts
from simrig.diagnosis.bench_scene import EMPTY
from simrig.diagnosis.bench_state import needs_of
from simrig.diagnosis.measuring import MARKED, RAISED, cured, placed
from simrig.faults.candidates import Fault, neighbours
from simrig.scan.scanner import Links
from simrig.sensing.chain import Link, Part


def plug_checks(ground: Ground) -> Iterator[Check]:
    """Yield the checks that reseat a plug, exchange two that are alike, or look at two."""
    profile = ground.profile
    for plug in profile.connector:
        part = Part("connector", plug.id)
        behind = ground.through(part)
        if not behind:
            continue
        where = f" ({plug.place})" if plug.place else ""
        facts = BenchFacts.of(profile)
        dead = facts.interlock or facts.fuses
        yield cured(
            ground, f"reseat-{plug.id}",
            f"Reseat the plug {plug.id}{where}; read again"
            + (", at rest and with a sensor behind it worked" if dead else ""),
            "reseat and work" if dead else "reseat", placed(ground, plug.id), 1.0,
            _of(part), behind, by_hand=dead, caution=MARKED,
        )  # fmt: skip
    seen = set()
    for plug in profile.connector:
        for other in plug.alike or ():
            pair = frozenset((plug.id, other))
            if len(pair) == 2 and pair not in seen and profile.row("connector", other):
                seen.add(pair)
                yield from _exchanged(ground, plug.id, other)
    known: set[frozenset[str]] = set()
    for one, other in neighbours(profile):
        pair = frozenset((one, other))
        if len(pair) == 2 and pair not in known:
            known.add(pair)
            yield mixed_up(
                ground, f"leads-{one}+{other}", Part("leads", f"{one}+{other}"),
                f"Follow the leads of {one} and {other} by their colours", 2.0,
            )  # fmt: skip


def _of(part: Part) -> Callable[[Fault], bool]:
    return lambda fault: fault.component == part


def mixed_up(ground: Ground, name: str, part: Part, title: str, minutes: float) -> Check:
    """Return the check that looks whether two things are exchanged."""

    def judge(case: Case) -> frozenset[str]:
        return frozenset(("exchanged" if part in case.parts else "right",))

    return Check(
        id=name, title=title, work="plugs", needs=needs_of("plugs", **RAISED), minutes=minutes,
        results={"exchanged": "they are exchanged", "right": "each is where it belongs"},
        caution=MARKED, ground=ground, judge=judge, parts=frozenset((part,)),
    )  # fmt: skip


def _exchanged(ground: Ground, one: str, other: str) -> Iterator[Check]:
    sides = [sorted(ground.behind(Part("connector", plug))) for plug in (one, other)]
    yield mixed_up(
        ground, f"labels-{one}+{other}", Part("plugs", f"{one}+{other}"),
        f"Compare the labels of the plugs {one} and {other} with their sockets", 0.5,
    )  # fmt: skip
    if not all(sides):
        return
    act = _crossed(ground, one, other)
    if act is None:
        return

    def judge(case: Case) -> frozenset[str]:
        right, cells = case.ground.sound.cells(act), case.cells(act)
        wrong = [
            any(
                case.reads(cells, name, EMPTY) != case.ground.sound.reads(right, name, EMPTY)
                for name in side
            )
            for side in sides
        ]
        return frozenset((_SIDES[wrong[0], wrong[1]],))

    yield Check(
        id=f"exchange-{one}+{other}",
        title=f"Mark the plugs {one} and {other}, exchange them, read, and change them back",
        work="exchange", needs=needs_of("exchange", **placed(ground, one)), minutes=3.0,
        results={"first": f"only sensors of {one} read wrong", "second": f"only sensors of {other} "
                 "read wrong", "both": "both sides read wrong", "neither": "all read right"},
        caution=MARKED + " Change them back.", ground=ground, judge=judge,
        sensors=frozenset(name for side in sides for name in side),
    )  # fmt: skip


_SIDES = {
    (False, False): "neither",
    (True, False): "first",
    (False, True): "second",
    (True, True): "both",
}


def _crossed(ground: Ground, one: str, other: str) -> Act | None:
    """Return the act that exchanges two plugs: what comes to the one goes on from the other.

    Sensors meet by pin or channel; on an emitter's side, where a whole bank hangs
    on a plug, any of the other bank stands for all.
    """
    first, second = (ground.behind(Part("connector", plug)) for plug in (one, other))

    def number(name: str) -> object:
        sensor = ground.profile.row("sensor", name)
        fed = any(
            ground.profile.row("bank", sensor.bank) is not None
            and ground.profile.row("bank", sensor.bank).plug == plug
            for plug in (one, other)
        )
        return 0 if fed else sensor.channel if sensor.board is not None else sensor.pin

    at_first = {number(name): name for name in sorted(first, reverse=True)}
    at_second = {number(name): name for name in sorted(second, reverse=True)}
    partner: dict[str, str] = {}
    for name in first:
        if number(name) in at_second:
            partner[name] = at_second[number(name)]
    for name in second:
        if number(name) in at_first:
            partner[name] = at_first[number(name)]
    if not partner or None in at_first or None in at_second:
        return None

    def cut(chain: tuple[Link, ...]) -> int:
        place = [n for n, link in enumerate(chain) if link.part in (
            Part("connector", one), Part("connector", other))]  # fmt: skip
        return place[0] + 1

    def edit(table: Links) -> Links:
        chains = dict(table.chains)
        for name in first | second:
            own = table.chains[name]
            if name in partner:
                theirs = table.chains[partner[name]]
                chains[name] = (*theirs[: cut(theirs)], *own[cut(own) :])
            else:
                nothing = Link(part=Part("plug", name), action="cuts")
                chains[name] = (nothing, *own[cut(own) :])
        return attrs.evolve(table, chains=chains)

    worked = {
        name: mate
        for name, mate in partner.items()
        if any(link.facts for link in ground.table.chains[mate][: cut(ground.table.chains[mate])])
    }
    return Act(edit=edit, as_of=worked)
