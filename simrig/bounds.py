"""Bounds of a number, with one way of saying what is wrong with it.

A :class:`Bounds` checks an argument (``POSITIVE.check("pulse_ms", pulse_ms)``) and
serves as the validator of an attrs attribute.
"""

from __future__ import annotations

import math
from typing import Any, Final

import attrs


@attrs.frozen(kw_only=True)
class Bounds:
    """What a number must be: within the bounds given, and finite unless ``infinite``."""

    above: float | None = None
    least: float | None = None
    below: float | None = None
    most: float | None = None
    infinite: bool = False
    whole: bool = False

    @property
    def wanted(self) -> str:
        """What is wanted, in words."""
        words = ["a whole number" if self.whole else "a number"]
        if self.above is not None:
            words.append(f"above {self.above:g}")
        if self.least is not None:
            words.append(f"of {self.least:g} or more")
        if self.below is not None:
            words.append(f"below {self.below:g}")
        if self.most is not None:
            words.append(f"of at most {self.most:g}")
        return " ".join(words[:2]) + "".join(f" and {word}" for word in words[2:])

    def holds(self, value: Any) -> bool:
        """Whether a value is such a number."""
        if isinstance(value, bool) or not isinstance(value, int if self.whole else (int, float)):
            return False
        if isinstance(value, float) and not math.isfinite(value):
            return self.infinite and value > 0
        return not (
            (self.above is not None and value <= self.above)
            or (self.least is not None and value < self.least)
            or (self.below is not None and value >= self.below)
            or (self.most is not None and value > self.most)
        )

    def check(self, name: str, value: Any) -> None:
        """Raise ValueError, saying what was found and what is wanted, unless it holds."""
        if not self.holds(value):
            shown = f"{value:g}" if isinstance(value, float) else repr(value)
            raise ValueError(f"{name} is {shown}; wanted {self.wanted}")

    def __call__(self, _: object, attribute: attrs.Attribute[Any], value: Any) -> None:
        """Check an attribute of an attrs class."""
        self.check(attribute.name, value)


POSITIVE: Final = Bounds(above=0)
NOT_NEGATIVE: Final = Bounds(least=0)
COUNT: Final = Bounds(least=1, whole=True)
FACTOR: Final = Bounds(above=0, most=1)
SHARE: Final = Bounds(least=0, below=1)
