"""How the bench stands, what it takes to change it, and what must never be.

A state is power, coil voltage, door, playfield, balls and coil fuses.  Checks
state a ``Need``; ``way`` finds the cheapest row of moves that meets it.  The rules
of safety are the table ``RULES`` and what each kind of work demands is the
table ``WORK``: a state that breaks a rule cannot be made, so no way leads through
one.  What is not known counts as the worse.

Minutes and order are common practice, no source.  Local codes, the machine's own
manual and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import attrs

POWER: Final = ("on", "off", "unplugged")
"""``unplugged``: plug out, stored charge waited out and measured gone."""
COILS: Final = ("present", "unknown", "absent")
"""Coil voltage; ``absent`` is proven, and ``unknown`` counts as present."""
DOOR: Final = ("shut", "open")
PLAYFIELD: Final = ("down", "raised")
BALLS: Final = ("aboard", "some", "out")
FUSES: Final = ("in", "out", "out and tried")
"""Of the coils; ``out and tried``: taken out, and no coil fired when tried."""

DIMENSIONS: Final[Mapping[str, tuple[str, ...]]] = {
    "power": POWER,
    "coils": COILS,
    "door": DOOR,
    "playfield": PLAYFIELD,
    "balls": BALLS,
    "fuses": FUSES,
}

MOST_VOLTS: Final = 24.0
"""Volts d.c. up to which a stated emitter or logic supply may be measured."""


class UnsafeError(ValueError):
    """A bench state, or a check, that breaks a rule of safety."""


@attrs.frozen(kw_only=True)
class Rule:
    """One thing that must never be: its words, and the states that break it."""

    id: str
    words: str
    breaks: Callable[[BenchState], bool]


@attrs.frozen(kw_only=True)
class BenchState:
    """How the bench stands; raises UnsafeError when it would break a rule."""

    power: str = attrs.field(default="on", validator=attrs.validators.in_(POWER))
    coils: str = attrs.field(default="unknown", validator=attrs.validators.in_(COILS))
    door: str = attrs.field(default="shut", validator=attrs.validators.in_(DOOR))
    playfield: str = attrs.field(default="down", validator=attrs.validators.in_(PLAYFIELD))
    balls: str = attrs.field(default="aboard", validator=attrs.validators.in_(BALLS))
    fuses: str = attrs.field(default="in", validator=attrs.validators.in_(FUSES))

    def __attrs_post_init__(self) -> None:
        for rule in RULES:
            if rule.breaks(self):
                raise UnsafeError(rule.words)

    def words(self) -> str:
        """The state in words."""
        return ", ".join(
            _WORDS[name, getattr(self, name)]
            for name in ("power", "coils", "door", "playfield", "balls")
            if not (name == "coils" and self.power == "unplugged")
        )


RULES: Final[tuple[Rule, ...]] = (
    Rule(
        id="balls-before-playfield",
        words="the playfield is never raised with balls aboard: take them out first",
        breaks=lambda state: state.playfield == "raised" and state.balls != "out",
    ),
    Rule(
        id="coils-before-playfield",
        words="the playfield is never raised while coil voltage is present or not proven absent",
        breaks=lambda state: state.playfield == "raised" and state.coils != "absent",
    ),
    Rule(
        id="charge-stays",
        words="switched off is not dead: charge is gone when it was measured gone, unplugged",
        breaks=lambda state: (
            state.power == "off"
            and state.door == "shut"
            and state.fuses == "in"
            and state.coils == "absent"
        ),
    ),
    Rule(
        id="gone",
        words="unplugged stands for charge measured gone: measure it first",
        breaks=lambda state: state.power == "unplugged" and state.coils != "absent",
    ),
    Rule(
        id="coils-live",
        words="with power on, door shut and coil fuses in, coil voltage is there",
        breaks=lambda state: (
            state.power == "on"
            and state.door == "shut"
            and state.fuses == "in"
            and state.coils == "absent"
        ),
    ),
)
"""What must never be: no state that breaks one of these can be made."""


@attrs.frozen(kw_only=True)
class Need:
    """What a check asks of the bench; None: as it is."""

    power: str | None = None
    coils: str | None = None
    door: str | None = None
    playfield: str | None = None
    balls: str | None = None
    fuses: str | None = None

    def met(self, state: BenchState) -> bool:
        """Whether the state is as needed."""
        return all(wanted == getattr(state, name) for name, wanted in self.stated().items())

    def stated(self) -> dict[str, str]:
        """What is asked for, by name."""
        found = {name: getattr(self, name) for name in DIMENSIONS}
        return {name: value for name, value in found.items() if value is not None}

    def words(self) -> str:
        """The need in words."""
        stated = self.stated()
        if stated.get("power") == "unplugged":
            stated.pop("coils", None)
        return ", ".join(_WORDS[name, value] for name, value in stated.items()) or "as it stands"


Needs = tuple[Need, ...]
"""What is needed one after the other: probes clipped on unplugged, then read with power on."""

_WORDS: Final = {
    ("power", "on"): "power on",
    ("power", "off"): "power off",
    ("power", "unplugged"): "unplugged, charge measured gone",
    ("coils", "present"): "coil voltage present",
    ("coils", "unknown"): "coil voltage not proven absent: count it as present",
    ("coils", "absent"): "coils proven dead",
    ("door", "shut"): "door shut",
    ("door", "open"): "door open",
    ("playfield", "down"): "playfield down",
    ("playfield", "raised"): "playfield raised",
    ("balls", "aboard"): "balls aboard",
    ("balls", "some"): "some of the balls in",
    ("balls", "out"): "balls out",
    ("fuses", "in"): "coil fuses in",
    ("fuses", "out"): "coil fuses out",
    ("fuses", "out and tried"): "coil fuses out, tried",
}

WORK: Final[Mapping[str, tuple[Mapping[str, str], ...]]] = {
    "look": ({},),
    "read": ({"power": "on"},),
    "press": ({"power": "on"},),
    "hand": ({"coils": "absent"},),
    "reach": ({"power": "on", "coils": "absent"},),
    "ohms": ({"power": "unplugged"},),
    "plugs": ({"power": "unplugged"},),
    "iron": ({"power": "unplugged"},),
    "clip": ({"power": "unplugged"}, {"power": "on", "coils": "absent"}),
    "volts": ({"power": "unplugged"}, {"power": "on", "coils": "absent"}),
    "reseat": ({"power": "unplugged"}, {"power": "on"}),
    "reseat and work": ({"power": "unplugged"}, {"power": "on", "coils": "absent"}),
    "exchange": ({"power": "unplugged"}, {"power": "on"}, {"power": "unplugged"}),
    "coil voltage": ({"power": "on", "playfield": "down"},),
}
"""What each kind of work demands of the bench, stage by stage.

``press``: a button, from outside; ``hand`` and ``reach``: near mechanisms, without and
with power; ``ohms``, ``plugs`` and ``iron`` are for a machine without any charge; ``clip``
and ``volts`` put something on unplugged, then look with power on; ``reseat`` pulls and
pushes a plug, then reads; ``exchange`` changes two plugs over, reads, and changes them back.
"""

ELEVATED: Final = frozenset(("coil voltage",))
"""Work that is offered only where no other check parts what is left."""

EASY: Final = frozenset(("look", "read", "press", "hand", "reach"))
"""Work without a tool."""


def needs_of(work: str, **where: str) -> Needs:
    """Return what a kind of work needs at a place; raises UnsafeError when they contradict.

    ``where`` is the rest of the bench (playfield, balls, door).  Where work has
    stages, the playfield concerns those in which hands are at the parts.
    """
    stages = []
    for demanded in WORK[work]:
        asked = dict(where)
        if len(WORK[work]) > 1 and demanded.get("power") == "on":
            asked.pop("playfield", None)
        for name, value in asked.items():
            if demanded.get(name, value) != value:
                raise UnsafeError(f"{work} demands {name} {demanded[name]}, not {value}")
        stages.append(Need(**{**asked, **demanded}))
    return tuple(stages)


def as_found(*, balls: str = "aboard", door: str = "shut") -> BenchState:
    """Return the bench as a technician finds it: power on, nothing proven, playfield down."""
    return BenchState(power="on", coils="unknown", door=door, balls=balls)
