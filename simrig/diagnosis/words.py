"""Parts, faults and mistakes in words that a technician uses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from simrig.diagnosis.suspects import Mistake
from simrig.expectation.comparison import ALL
from simrig.expectation.facts import in_words
from simrig.faults.candidates import Fault
from simrig.profile.machine import Profile

_TABLES = {
    "supply": "supply",
    "board": "board",
    "bank return": "bank",
    "connector": "connector",
    "common return": "return",
    "input board": "inputs",
    "coil": "coil",
    "driver": "coil",
    "coil supply": "coil_bank",
    "way": "route",
    "stack": "place",
    "row of balls": "place",
    "dent": "place",
}
"""The table whose row a kind of part stands for."""

_SHARED = {
    "supply": "supply",
    "fuse": "fuse",
    "connector": "plug",
    "bank return": "return of the bank",
    "board": "board",
    "common return": "common return",
    "input board": "input board",
    "column": "column",
    "row": "row",
}
"""What people call the parts that several sensors share."""


def listed(names: Iterable[str], most: int = 4) -> str:
    """Return names as a list in words, at most so many of them."""
    every = list(names)
    if len(every) > most:
        return ", ".join(every[:most]) + f" and {len(every) - most} more"
    return " and ".join([", ".join(every[:-1]), every[-1]]) if len(every) > 1 else "".join(every)


def counted(number: int, thing: str) -> str:
    """Return a number of things in words: ``1 ball``, ``2 balls``."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def balls_at(profile: Profile, at: Mapping[str, int]) -> str:
    """Say how many balls are where."""
    words = []
    for name, number in at.items():
        row = profile.row("place", name) or profile.row("route", name)
        word = "on" if profile.row("place", name) is None else "in"
        words.append(f"{counted(number, 'ball')} {word} the {row.title if row else name}")
    return listed(words, 8) if words else "no ball at any place"


def shared_part(kind: str, part: str) -> str:
    """Return a part that several sensors share, in words."""
    return f"{_SHARED.get(kind, kind)} {part}"


def where(profile: Profile, fault: Fault) -> str:
    """Say where a fault is; empty where its title says it all."""
    kind, part = fault.kind.part, fault.part
    if fault.sensor is not None:
        return part
    if kind in _TABLES:
        row = profile.row(_TABLES[kind], part)
        name = getattr(row, "title", None) or getattr(row, "name", None)
        return str(name) if name and name.replace(" ", "-") != part else part
    if kind in ("column", "row"):
        return f"{kind} {part}"
    if kind in ("columns", "rows"):
        return f"{kind} {' and '.join(part.split('+'))}"
    if kind in ("column piece", "row piece"):
        return _behind(profile, kind.partition(" ")[0], part)
    if kind in ("leads", "plugs"):
        return " and ".join(part.split("+"))
    return "" if kind in ("balls", "interlock") else part


def fault_words(profile: Profile, fault: Fault) -> str:
    """Return a fault in words: what, and where."""
    place = where(profile, fault)
    if not place:
        return fault.kind.title
    return f"{fault.kind.title}{' at ' if fault.sensor is not None else ': '}{place}"


def faults_words(profile: Profile, faults: Iterable[Fault]) -> list[str]:
    """Return faults in words, those of one kind in one breath."""
    kinds: dict[str, list[Fault]] = {}
    for fault in faults:
        kinds.setdefault(fault.kind.id, []).append(fault)
    found = []
    for alike in kinds.values():
        places = [where(profile, fault) for fault in alike]
        if len(alike) == 1 or not all(places):
            found += [fault_words(profile, fault) for fault in alike]
            continue
        joint = " at " if alike[0].sensor is not None else ": "
        found.append(f"{alike[0].kind.title}{joint}{listed(places)}")
    return found


def _behind(profile: Profile, axis: str, part: str) -> str:
    number, _, place = part.partition("@")
    line = next(one for one in getattr(profile.matrix, axis) if one.number == int(number))
    order = line.order or ()
    before, after = order[int(place) - 1], order[int(place)]
    return f"{axis} {number} between {before} and {after}"


def mistake_words(profile: Profile, mistake: Mistake) -> str:
    """Return what the reader, or the profile, has wrong, in words."""
    nth = "" if not mistake.sheet else f" on sheet {mistake.sheet + 1}"
    if mistake.kind == "symbols":
        whose = "all symbols" if mistake.value == ALL else f"the symbols of {mistake.value}"
        return f"{whose} taken the wrong way round"
    if mistake.kind == "misread":
        return f"{mistake.value} read or noted wrong{nth}"
    if mistake.kind == "phase":
        return f"it was {profile.row('phase', mistake.value).title}{nth}"
    if mistake.kind == "count":
        was = "was" if mistake.value == "1" else "were"
        return f"{counted(int(mistake.value), 'ball')} {was} in the machine{nth}"
    if mistake.kind == "numbering":
        place = profile.row("place", mistake.value).title
        return f"the positions of the {place} counted from the wrong end"
    if mistake.kind == "passing":
        return f"a ball was passing{nth}"
    fact = mistake.fact
    return f"the profile may be wrong: {in_words(profile, fact) if fact else mistake.value}"
