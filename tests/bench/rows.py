"""What the benches claim, and what they find: rows of the table and curves of growth.

A claim says what is done, against which peer, and the goal; it stands before anything
is run, so that the table in the README can be held against it.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping
from importlib.metadata import version
from math import log
from platform import python_version
from sqlite3 import sqlite_version
from typing import Any, Literal

import attrs
from attrs.validators import ge, gt, in_, max_len, optional

Measure = Literal["faster", "longer", "share", "seconds"]
"""How a figure is meant: the peer's time over ours, ours over the peer's, a share of the
cases, seconds by the clock.  A goal is a least for the first and the third, a most for
the others."""

MEASURES = ("faster", "longer", "share", "seconds")
PYTHON, SQLITE = "python", "sqlite3"
"""Stand for the interpreter, and for what comes with it, where a peer's package is named."""

DONE_WIDTH, PEER_WIDTH = 31, 22


@attrs.frozen(kw_only=True)
class Claim:
    """What is measured of one piece of work.

    ``peer`` is a general-purpose tool that does the same, or what else the figure is held
    against; ``package`` the distribution whose version is shown beside it.
    """

    done: str = attrs.field(validator=max_len(DONE_WIDTH))
    peer: str = attrs.field(validator=max_len(PEER_WIDTH))
    package: str | None = None
    measure: Measure = attrs.field(validator=in_(MEASURES))
    goal: float | None = attrs.field(default=None, validator=optional(gt(0)))

    def version(self) -> str | None:
        """Return the version of the peer that is installed here."""
        if self.package is None:
            return None
        found = {PYTHON: python_version(), SQLITE: sqlite_version}
        return found.get(self.package) or version(self.package)

    def row(self, figure: float, **details: Any) -> Row:
        """Return the row with what was found; ``details`` are for JSON alone."""
        return Row(claim=self, figure=figure, version=self.version(), details=details)


@attrs.frozen(kw_only=True)
class Row:
    """A claim with its figure.

    ``details`` keep what stands behind the figure: times, rounds, spread, sizes.
    """

    claim: Claim
    figure: float = attrs.field(validator=ge(0))
    version: str | None = None
    details: Mapping[str, Any] = attrs.field(factory=dict)

    @property
    def reached(self) -> bool | None:
        """Whether the goal is reached; None where none is set."""
        goal = self.claim.goal
        if goal is None:
            return None
        if self.claim.measure in ("faster", "share"):
            return self.figure >= goal
        return self.figure <= goal


@attrs.frozen(kw_only=True)
class Curve:
    """How the time of one piece of work grows with a size.

    ``times`` are relative to the first.
    """

    done: str = attrs.field(validator=max_len(DONE_WIDTH))
    size: str
    sizes: tuple[int, ...] = attrs.field(converter=tuple)
    times: tuple[float, ...] = attrs.field(converter=tuple)

    @times.validator
    def _one_for_each_size(self, attribute: Any, value: tuple[float, ...]) -> None:
        if len(value) != len(self.sizes) or len(value) < 2 or min(value) <= 0:
            raise ValueError(f"times: {value} found, one above 0 for each of {self.sizes} wanted")

    @property
    def exponent(self) -> float:
        """The slope of a straight line through the logarithms, by least squares."""
        return statistics.linear_regression(
            [log(one) for one in self.sizes], [log(one) for one in self.times]
        ).slope


Found = Row | Curve


@attrs.frozen(kw_only=True)
class Outcome:
    """What one bench found; ``failure`` says why it stopped early, ``quick`` that it was a
    smoke run, whose figures say nothing."""

    name: str
    title: str
    found: tuple[Found, ...] = ()
    failure: str | None = None
    quick: bool = False
    seconds: float = 0.0

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows of the table."""
        return tuple(one for one in self.found if isinstance(one, Row))

    @property
    def curves(self) -> tuple[Curve, ...]:
        """The curves of growth."""
        return tuple(one for one in self.found if isinstance(one, Curve))
