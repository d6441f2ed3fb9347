"""What no sound profile can say: contradictions between its tables.

Each check yields the path of the fact, a message, and the name of the rule.  It
is handed what is in doubt already, and adds to it, so that one fault is told once.
Where many facts contradict one, the one is named.  What is only unwise is left to
vetting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from simrig.profile import keys
from simrig.profile.checking_addresses import addresses_used, lines
from simrig.profile.checking_names import references
from simrig.profile.doubt import Doubt, Path
from simrig.profile.keys import attribute_of
from simrig.profile.layout import REST, Phase, span
from simrig.profile.machine import NAMED_TABLES, Profile
from simrig.profile.naming import counted, listed, near, words

Finding = tuple[Path, str, str]

_SUM: Final = "the row places"

MOST_WAYS: Final = 20_000
"""In more ways than these the phases of a machine must not let the balls lie."""


def contradictions(profile: Profile, doubt: Doubt | None = None) -> Iterator[Finding]:
    """Yield every contradiction, in the order of the checks.

    ``doubt`` holds what was found wrong before; nothing that rests on it is told.
    """
    doubt = Doubt() if doubt is None else doubt
    for check in CHECKS:
        for path, message, rule in check(profile, doubt):
            if not doubt.about(path):
                yield path, message, rule
                doubt.add(path)


def _named_twice(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    for table in NAMED_TABLES:
        seen: set[str] = set()
        for index, row in enumerate(getattr(profile, attribute_of(table))):
            if row.id in seen:
                yield (
                    (table, index, "id"),
                    f'the {words(table)} "{row.id}" is there twice; give one another name',
                    "named-twice",
                )
                doubt.add((table, index))
            seen.add(row.id)
    shared = {place.id for place in profile.place} & {route.id for route in profile.route}
    for index, route in enumerate(profile.route):
        if route.id in shared:
            yield (
                ("route", index, "id"),
                f'"{route.id}" is also the name of a place; give the route another name',
                "named-twice",
            )


def _kinds(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    known = [kind.id for kind in profile.kinds]
    for index, sensor in enumerate(profile.sensor):
        if sensor.kind is not None and sensor.kind not in known:
            close = near(sensor.kind, known)
            hint = f'did you mean "{close}"?' if close else "known: " + ", ".join(known)
            yield (
                ("sensor", index, "kind"),
                f'the kind "{sensor.kind}" is not known; {hint}',
                "unknown-kind",
            )


def _diodes(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    general = profile.matrix.diodes if profile.matrix else None
    against: list[tuple[int, str]] = []
    for index, sensor in enumerate(profile.sensor):
        path = ("sensor", index, "diode")
        if sensor.diode is None or doubt.about(("sensor", index, "address")):
            continue
        address = profile.address_of.get(sensor.id)
        if address is not None and not address.in_matrix and sensor.diode != keys.NONE:
            yield path, f"{address} is not in the matrix; leave the diode out", "diode-contradicts"
        elif general in ("all", keys.NONE) and (general == "all") != (sensor.diode != keys.NONE):
            against.append((index, sensor.id))
    if len(against) == 1:
        yield (
            ("sensor", against[0][0], "diode"),
            f'the matrix says diodes = "{general}"; write "some" there, or mend this',
            "diode-contradicts",
        )
    elif against:
        yield (
            ("matrix", "diodes"),
            f'found "{general}"; {listed([name for _, name in against])} say otherwise; write '
            '"some" here, or mend them',
            "diode-contradicts",
        )


def _phases(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    if doubt.about(("balls", "installed")):
        return
    unsure = {
        place.id
        for index, place in enumerate(profile.place)
        if doubt.about(("place", index, "seats"))
    }
    found: list[tuple[Path, str]] = []
    for index, phase in enumerate(profile.phase):
        for number, row in enumerate(phase.placements):
            path: Path = ("phase", index, "placements", number)
            if doubt.about(path):
                continue
            found.extend(
                (path, message)
                for message in row_faults(profile, phase, row)
                if not unsure & set(row) or message.startswith(_SUM)
            )
    totals = {fixed_total(row) for phase in profile.phase for row in phase.placements} - {None}
    sums = [message for _, message in found if message.startswith(_SUM)]
    if len(totals) == 1 and len(sums) > 1 and len(sums) == len(found):
        yield (
            ("balls", "installed"),
            f"found {profile.balls.installed}; every row of the phases places {totals.pop()}; mend "
            "this or the rows",
            "balls-do-not-add-up",
        )
        return
    for path, message in found:
        yield path, message, "balls-do-not-add-up"
    wrong = {path for path, _ in found}
    ways = 0
    for index, phase in enumerate(profile.phase):
        for number, row in enumerate(phase.placements):
            path = ("phase", index, "placements", number)
            known = all(profile.row("place", name) is not None for name in row)
            if not known or path in wrong or doubt.about(path) or unsure & set(row):
                continue
            here = row_ways(profile, row)
            ways += here
            if ways > MOST_WAYS:
                words = f"the row allows {here} ways for the balls to lie; " if here > 1 else ""
                yield (
                    path,
                    f"{words}the phases may allow {MOST_WAYS} in all; narrow the ranges",
                    "past-bound",
                )
                return


def row_ways(profile: Profile, row: Mapping[str, Any]) -> int:
    """Return in how many ways a sound row shares out all balls: a convolution of its ranges."""
    installed = profile.balls.installed
    ways = [1] + [0] * installed
    for name, balls in row.items():
        low, high = (0, profile.row("place", name).capacity) if balls == REST else span(balls)
        ways = [
            sum(ways[total - taken] for taken in range(low, min(high, total) + 1))
            for total in range(installed + 1)
        ]
    return ways[installed]


def fixed_total(row: Mapping[str, Any]) -> int | None:
    """Return how many balls a row places; None where it leaves that open."""
    total = 0
    for balls in row.values():
        if not isinstance(balls, int):
            return None
        total += balls
    return total


def row_faults(profile: Profile, phase: Phase, row: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is wrong with one row of a phase: capacities, sums, more than one rest."""
    if any(profile.row("place", name) is None for name in row):
        return  # named as an unknown reference already
    least = most = 0
    resting = [name for name, balls in row.items() if balls == REST]
    if len(resting) > 1:
        yield "more than one place is given the rest; give the others a number"
        return
    for name, balls in row.items():
        if balls == REST:
            continue
        place = profile.row("place", name)
        low, high = span(balls)
        if low > high:
            yield f'"{balls}" at {name} runs backwards; write the smaller number first'
            return
        if high > place.capacity:
            yield f"{name} holds {place.capacity}; found {balls}; mend one of the two"
            return
        least, most = least + low, most + high
    installed = profile.balls.installed
    if resting:
        place = profile.row("place", resting[0])
        if least > installed:
            yield f"{least} balls are placed; the machine carries {installed}; place fewer"
        elif installed - most > place.capacity:
            yield (
                f"{counted(installed - most, 'ball')} would be left for {resting[0]}, which holds "
                f"{place.capacity}; place more elsewhere"
            )
    elif not least <= installed <= most:
        found = counted(least, "ball") if least == most else f"{least} to {most} balls"
        yield f"{_SUM} {found}; the machine carries {installed}; mend the row, or balls.installed"


def _captive(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    captive = {place.id for place in profile.place if place.captive}
    for index, place in enumerate(profile.place):
        if (place.captive or 0) > place.capacity:
            yield (
                ("place", index, "captive"),
                f"{place.captive} captive balls do not fit into "
                f"{counted(place.capacity, 'position')}; mend one of the two",
                "captive-does-not-fit",
            )
    for index, phase in enumerate(profile.phase):
        for number, row in enumerate(phase.placements):
            for name in sorted(captive & set(row)):
                yield (
                    ("phase", index, "placements", number, name),
                    f"the captive ball of {name} never counts; take {name} out of the row",
                    "captive-counted",
                )
    for index, route in enumerate(profile.route):
        ends = [("from", route.from_), *(("to", name) for name in route.to)]
        for key, name in ends:
            if name in captive:
                yield (
                    ("route", index, key),
                    f"the captive ball of {name} never leaves, and no other comes; take the route out",
                    "captive-counted",
                )
                break


CHECKS: Final[tuple[Callable[[Profile, Doubt], Iterator[Finding]], ...]] = (
    _named_twice,
    references,
    _kinds,
    addresses_used,
    _diodes,
    lines,
    _phases,
    _captive,
)
