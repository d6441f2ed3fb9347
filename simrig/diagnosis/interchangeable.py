"""Which suspects no reading can part, whatever else is wrong: searched once, told apart later.

On a chain, two cuts do the same to the signal as long as nothing between them
can force or invert it: an emitter without current, a dead LED, a beam out of line
and a dead receiver all leave the receiver's side dark.  Behind the receiver, which
can also be flooded, a cut is another matter.  A part that can be forced may be the
last or the first of such a stretch, as it fails in one way at a time.
"""

from __future__ import annotations

from collections.abc import Container, Hashable, Iterator, Mapping

from simrig.diagnosis.suspects import Suspect
from simrig.faults.candidates import Fault
from simrig.faults.injection import lines_of
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links
from simrig.sensing.chain import Chain, Link
from simrig.world.balls import Fact

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
    stretches = {
        name: tuple(_stretches(chain, restless, wrong)) for name, chain in table.chains.items()
    }
    by_part: dict[tuple[str, str], list[tuple[str, int, Link]]] = {}
    for name, chain in table.chains.items():
        for place, link in enumerate(chain):
            by_part.setdefault(link.part, []).append((name, stretches[name][place], link))
    for index, one in enumerate(suspects):
        fault = one.fault
        alone = fault is None or lines_of(profile, fault)
        key = None if fault is None or alone else _key(fault, by_part)
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
    if kind.effect == "shorts diode":
        return (fault.part, kind.effect, kind.intermittent)
    return None


def _stretches(
    chain: Chain, restless: Container[tuple[str, str]], wrong: Container[Fact]
) -> Iterator[int]:
    """Number the stretches of a chain within which it does not matter where it is cut."""
    stretch = 0
    closed = False
    for place, link in enumerate(chain):
        carries_on = link.action in ("passes", "makes", "breaks")
        if place and (closed or not carries_on or any(fact in wrong for fact in link.facts)):
            stretch += 1
            closed = False
        elif place:
            closed = link.part in restless or link.broken != "cuts"
        yield stretch
