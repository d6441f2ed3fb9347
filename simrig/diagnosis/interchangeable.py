"""Which suspects no reading can part, whatever else is wrong: searched once, told apart later.

On a chain, two cuts do the same to the signal as long as nothing between them
can force or invert it: an emitter without current, a dead LED and a beam out
of line all leave the receiver dark.  Behind the receiver, which can also be
flooded, a cut is another matter.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping

from simrig.diagnosis.suspects import Suspect
from simrig.faults.candidates import Fault
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links
from simrig.sensing.chain import Link

_CUTTING = ("breaks", "opens")


def interchangeable(
    profile: Profile, table: Links, suspects: tuple[Suspect, ...]
) -> Iterator[Hashable]:
    """Yield a key for each suspect; equal keys may be exchanged in any set of suspects."""
    restless: set[tuple[str, str]] = set()
    for one in suspects:
        if one.fault is not None and one.fault.kind.effect in ("forces", "inverts"):
            restless.add(one.fault.component)
    wrong = {
        one.mistake.fact
        for one in suspects
        if one.mistake is not None and one.mistake.fact is not None
    }
    stretches: dict[str, tuple[int, ...]] = {}
    for name, chain in table.chains.items():
        stretches[name] = tuple(
            _stretches(
                [
                    link.part in restless
                    or link.action in ("inverts", "forces", "unsure")
                    or link.broken not in ("cuts",)
                    or any(fact in wrong for fact in link.facts)
                    for link in chain
                ]
            )
        )
    by_part: dict[tuple[str, str], list[tuple[str, int, Link]]] = {}
    for name, chain in table.chains.items():
        for place, link in enumerate(chain):
            by_part.setdefault(link.part, []).append((name, stretches[name][place], link))
    for index, one in enumerate(suspects):
        key = _key(one.fault, by_part) if one.fault is not None else None
        yield index if key is None else key


def _key(
    fault: Fault, by_part: Mapping[tuple[str, str], list[tuple[str, int, Link]]]
) -> Hashable | None:
    kind = fault.kind
    if kind.effect in _CUTTING:
        reached = by_part.get(fault.component, [])
        does = [
            (name, stretch, "cuts" if kind.effect == "opens" else link.broken)
            for name, stretch, link in reached
        ]
        return (tuple(does), kind.intermittent)
    if kind.effect == "opens line":
        return (kind.part, fault.part, kind.effect)
    return None


def _stretches(bounds: list[bool]) -> Iterator[int]:
    stretch = 0
    for bound in bounds:
        if bound:
            stretch += 1
            yield stretch
            stretch += 1
        else:
            yield stretch
