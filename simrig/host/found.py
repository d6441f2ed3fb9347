"""What the installed plug-ins bring, as values."""

from __future__ import annotations

from typing import NamedTuple

from simrig.errors import Problem
from simrig.host.entries import Entry
from simrig.host.stamps import Stamp


class Machine(NamedTuple):
    """A machine profile at hand, and where it comes from."""

    id: str
    title: str
    balls: int
    path: str
    source: str
    plugin: str


class Kind(NamedTuple):
    """A kind of sensor that a plug-in brings."""

    id: str
    title: str
    technology: str
    lugs: bool


class Index(NamedTuple):
    """What the installed plug-ins bring, and what is wrong with those left out.

    ``accepted`` are the plug-ins that may be loaded; ``refused`` those that may
    not.  ``problems`` belong to both.  ``hooks`` are those that accepted plug-ins fill
    with more than profiles and kinds of sensor: for these they must be loaded.
    """

    machines: tuple[Machine, ...] = ()
    kinds: tuple[Kind, ...] = ()
    accepted: tuple[Entry, ...] = ()
    refused: tuple[Entry, ...] = ()
    problems: tuple[Problem, ...] = ()
    hooks: tuple[str, ...] = ()


class Made(NamedTuple):
    """A fresh index, what it rests on, and whether it may be kept for good."""

    found: Index
    rests_on: tuple[Stamp, ...]
    timed_out: bool
