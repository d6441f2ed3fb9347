"""One bench check: what it asks of the bench, what it can show, what it says about a case."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import Any, Final

import attrs

from simrig.diagnosis.bench_case import MOVES, Case, Ground
from simrig.diagnosis.bench_state import EASY, ELEVATED, MOST_VOLTS, WORK, Needs, UnsafeError
from simrig.diagnosis.suspects import Mistake
from simrig.faults.candidates import Fault
from simrig.sensing.chain import Part

_MOST_KNOWN: Final = 1024

RIGHT: Final = "right"

Judge = Callable[[Case], frozenset[str]]


def _no_parts(values: Iterable[Part]) -> frozenset[Part]:
    return frozenset(values)


def _no_names(values: Iterable[str]) -> frozenset[str]:
    return frozenset(values)


@attrs.frozen(kw_only=True, eq=False)
class Check:
    """One check of the catalogue.

    ``work`` is the kind of work, ``needs`` what it asks of the bench stage by stage;
    ``results`` names each result with its words.  A ``listing`` check takes ``right``,
    or the sensors that read wrong joined by ``+``.  ``judge`` tells which results a
    case can give; cases that touch none of ``sensors`` and ``parts``, and are none of what it ``asks``
    for (kinds of mistake; MOVES, balls that lie otherwise; FICKLE, what comes
    and goes), give the sound ones.
    ``volts`` is what a voltage check meets; ``may_stay`` a result that a fault which comes
    and goes can give although it is there; ``heals`` tells what doing the check puts right,
    ``corrects`` what the reader no longer has wrong after it.

    Raises UnsafeError when the needs are less than the work demands, or for volts
    that nobody stated or that are too many.
    """

    id: str
    title: str
    work: str = attrs.field(validator=attrs.validators.in_(WORK))
    needs: Needs = attrs.field()
    minutes: float = attrs.field(validator=attrs.validators.gt(0))
    results: Mapping[str, str]
    caution: str
    ground: Ground = attrs.field(repr=False)
    judge: Judge = attrs.field(repr=False)
    sensors: frozenset[str] = attrs.field(default=frozenset(), converter=_no_names, repr=False)
    parts: frozenset[Part] = attrs.field(default=frozenset(), converter=_no_parts, repr=False)
    asks: frozenset[str] = attrs.field(default=frozenset(), converter=_no_names, repr=False)
    listing: bool = False
    may_stay: str = ""
    volts: float | None = attrs.field(default=None)
    heals: Callable[[Fault], bool] | None = attrs.field(default=None, repr=False)
    corrects: Callable[[Mistake], bool] | None = attrs.field(default=None, repr=False)
    _sound: list[frozenset[str]] = attrs.field(factory=list, repr=False)
    _speaks: dict[Fault, bool] = attrs.field(factory=dict, repr=False)
    _known: dict[Hashable, frozenset[str]] = attrs.field(factory=dict, repr=False)

    @needs.validator
    def _enough(self, attribute: attrs.Attribute[Any], value: Needs) -> None:
        demanded = WORK[self.work]
        if len(value) != len(demanded) or any(
            need.stated().get(name) != wanted
            for need, stage in zip(value, demanded, strict=True)
            for name, wanted in stage.items()
        ):
            raise UnsafeError(f"{self.id}: {self.work} demands {demanded}, the check asks {value}")

    @volts.validator
    def _low(self, attribute: attrs.Attribute[Any], value: float | None) -> None:
        if self.work == "volts" and (value is None or not 0 < value <= MOST_VOLTS):
            raise UnsafeError(
                f"{self.id}: {value} V found; only stated supplies of at most {MOST_VOLTS:g} V "
                "d.c. are measured"
            )

    @property
    def tier(self) -> int:
        """1 for work at coil voltage: offered only where nothing else parts what is left."""
        return int(self.work in ELEVATED)

    @property
    def easy(self) -> bool:
        """Whether it needs no tool and leaves the playfield down."""
        return self.work in EASY and all(need.playfield != "raised" for need in self.needs)

    def outcomes(self, case: Case) -> frozenset[str]:
        """Return the results that a case can give; empty where that cannot be told."""
        if not (self.sensors & case.touched or self.parts & case.parts or self.asks & case.of):
            return self.sound
        # Cases that differ only by what the check does not speak of show the same, unless
        # something carries what that does to its sensors.
        spoken_of = [fault for fault in case.faults if self.speaks_of(fault)]
        carried = case.mistakes or any(self.ground.carries(fault) for fault in spoken_of)
        key = (
            frozenset(case.faults if carried else spoken_of),
            frozenset([fault for fault in case.hidden if self.speaks_of(fault)]),
            bool(case.hidden),
            case.of,
            case.mistakes,
        )
        found = self._known.get(key)
        if found is None:
            if len(self._known) >= _MOST_KNOWN:
                self._known.clear()
            found = self._known[key] = self.judge(case)
        return found

    def after(self, case: Case) -> Case:
        """Return a case as the check leaves it: what it puts right stays right."""
        faults, mistakes = self.puts_right((*case.faults, *case.hidden), case.mistakes)
        return case.cured(faults, mistakes) if faults or mistakes else case

    @property
    def changes(self) -> bool:
        """Whether what is seen after it can be of another machine, or seen with other eyes."""
        return self.heals is not None or self.corrects is not None

    def puts_right(
        self, faults: Iterable[Fault], mistakes: Iterable[Mistake]
    ) -> tuple[tuple[Fault, ...], tuple[Mistake, ...]]:
        """Return those of some faults and mistakes that are gone once the check is done."""
        heals, corrects = self.heals, self.corrects
        return (
            () if heals is None else tuple([one for one in faults if heals(one)]),
            () if corrects is None else tuple([one for one in mistakes if corrects(one)]),
        )

    def speaks_of(self, fault: Fault) -> bool:
        """Tell whether a fault can change what the check shows, alone or beside others."""
        found = self._speaks.get(fault)
        if found is None:
            found = self._speaks[fault] = (
                fault.kind.effect == MOVES
                or Part(*fault.component) in self.parts
                or bool(self.sensors and self.ground.touched(fault) & self.sensors)
            )
        return found

    @property
    def sound(self) -> frozenset[str]:
        """The results that a sound machine can give."""
        if not self._sound:
            self._sound.append(self.judge(self.ground.sound))
        return self._sound[0]
