"""The machine on the bench with something wrong: what it would read while somebody works on it.

A case is a machine with certain faults, and a reader with certain mistakes.  An act
is what a check does to the machine while somebody looks: a beam blocked by hand,
a lit emitter held to a receiver, a contact bridged, two plugs exchanged.  Both are
edits of the one table of links, so that what a check shows follows from the links
as every reading does.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from functools import cached_property
from typing import Final, NamedTuple

import attrs

from simrig.diagnosis.bench_scene import Scene, made_scene
from simrig.diagnosis.suspects import Mistake
from simrig.diagnosis.wrong_facts import with_fact_wrong, wrong_fact
from simrig.expectation.comparison import ALL, boards, wrong_end
from simrig.faults.candidates import Fault, lines_through
from simrig.faults.injection import inject, plug_pairs
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.scan.circuit import on_lines
from simrig.scan.scanner import Links, links, scan
from simrig.sensing.chain import Link, Part, contact
from simrig.signals import CLOSED, OPEN
from simrig.world.worlds import Value

MOST_CASES: Final = 4096

MOVES: Final = "moves balls"
FICKLE: Final = "comes and goes"
"""What a check can ask of a case besides the reader's mistakes."""

_ON_LINES: Final = ("opens line", "cuts line", "bridges lines", "exchanges lines")
_CARRY: Final = (
    "exchanges leads", "exchanges plugs", "exchanges lines", "bridges lines",
    "shorts diode", "reverses diode",
)  # fmt: skip
_ON_CHAINS: Final = ("breaks", "opens", "forces", "inverts")


@attrs.frozen(kw_only=True, eq=False)
class Act:
    """What is done to the machine while its readings are looked at.

    ``edit`` changes the table of links; the sensors ``by_hand`` are worked by
    hand; ``as_of`` names, where plugs are exchanged, whose ball works a chain.
    """

    edit: Callable[[Links], Links] | None = None
    by_hand: frozenset[str] = frozenset()
    as_of: Mapping[str, str] = attrs.field(factory=dict)


NOTHING: Final = Act()


class Readings(NamedTuple):
    """What is read at each sensor's address, over all positions of the balls, or over those
    with one sensor worked by hand."""

    cells: Mapping[str, Value]
    worked: str | None = None


@attrs.frozen(kw_only=True, eq=False)
class Ground:
    """What is worked out once for a machine on the bench.

    ``assumed`` is the number of balls that the reader takes for granted, ``sheet`` the
    number of the last sheet, ``balls_seen`` whether the balls of that sheet were seen.
    """

    profile: Profile
    table: Links = attrs.field(repr=False)
    assumed: int
    sheet: int = 0
    balls_seen: bool = False
    _cases: dict[Hashable, Case] = attrs.field(factory=dict, repr=False)
    _scenes: dict[frozenset[Fault], Scene] = attrs.field(factory=dict, repr=False)
    _behind: dict[Part, frozenset[str]] = attrs.field(factory=dict, repr=False)
    _through: dict[Part, frozenset[str]] = attrs.field(factory=dict, repr=False)

    @classmethod
    def of(
        cls,
        profile: Profile,
        *,
        assumed: int | None = None,
        sheet: int = 0,
        balls_seen: bool = False,
    ) -> Ground:
        """Work out the sound machine once."""
        table = links(profile)
        behind: dict[Part, set[str]] = {}
        for name, chain in table.chains.items():
            for link in chain:
                behind.setdefault(link.part, set()).add(name)
        through: dict[Part, frozenset[str]] = {}
        for plug in profile.connector:
            lines = lines_through(profile, plug.id)
            if lines:
                through[Part("connector", plug.id)] = frozenset(
                    [one.sensor for one in table.circuit.crossings if on_lines(one, lines)]
                )
        return cls(
            profile=profile,
            table=table,
            assumed=profile.balls.installed if assumed is None else assumed,
            sheet=sheet,
            balls_seen=balls_seen,
            behind={part: frozenset(names) for part, names in behind.items()},
            through=through,
        )

    @cached_property
    def store(self) -> Place | None:
        """The place into which balls are put by hand, one after the other."""
        stated: Place | None = self.profile.row("place", self.profile.balls.store)
        if stated is not None:
            return None if stated.open_area else stated
        return next((place for place in self.profile.place if place.kind == "trough"), None)

    @cached_property
    def sneaking(self) -> bool:
        """Whether a closed switch of the matrix can make phantoms."""
        matrix = self.profile.matrix
        return matrix is not None and (
            any(one.backward is not None for one in self.table.circuit.crossings)
            or matrix.diodes != "all"
        )

    @cached_property
    def crossings(self) -> frozenset[str]:
        """The sensors of the matrix."""
        return frozenset(one.sensor for one in self.table.circuit.crossings)

    @cached_property
    def sound(self) -> Case:
        """Nothing is wrong."""
        return Case(ground=self)

    def case(
        self,
        faults: tuple[Fault, ...],
        hidden: tuple[Fault, ...] = (),
        mistakes: tuple[Mistake, ...] = (),
    ) -> Case:
        """Return a case, made once; raises ValueError when one part is given two modes."""
        key = frozenset(faults), frozenset(hidden), mistakes
        found = self._cases.get(key)
        if found is None:
            if len(self._cases) >= MOST_CASES:
                self._cases.clear()
            found = Case(ground=self, faults=faults, hidden=hidden, mistakes=mistakes)
            self._cases[key] = found
        return found

    def behind(self, part: Part) -> frozenset[str]:
        """The sensors in whose chains a part stands."""
        return self._behind.get(part, frozenset())

    def through(self, part: Part) -> frozenset[str]:
        """The sensors whose signals go through a part: in their chains, or on their lines."""
        return self.behind(part) | self._through.get(part, frozenset())

    def touched(self, fault: Fault) -> frozenset[str]:
        """The sensors whose readings a fault can change, alone or beside others."""
        effect = fault.kind.effect
        if effect in _ON_CHAINS:
            found = self.through(Part(*fault.component))
        elif effect == "exchanges leads":
            found = frozenset(fault.part.split("+"))
        elif effect == "exchanges plugs":
            pairs = plug_pairs(self.profile, *fault.part.split("+"))
            found = frozenset(name for pair in pairs for name in pair)
        elif effect == "opens diode":
            found = frozenset((fault.part,))
        elif effect in ("kicks nothing", MOVES):
            return frozenset()
        elif effect in _ON_LINES or (effect == "holds line" and fault.kind.part == "row"):
            found = self._on_lines(fault)
        else:
            return self.crossings
        return found | self.crossings if self.sneaking and found & self.crossings else found

    def carries(self, fault: Fault) -> bool:
        """Tell whether a fault can bring what another one does to sensors that this does not touch."""
        effect = fault.kind.effect
        return effect in _CARRY or (effect == "holds line" and fault.kind.part == "column")

    def _on_lines(self, fault: Fault) -> frozenset[str]:
        axis = "row" if fault.kind.part.startswith("row") else "column"
        numbers = {int(word) for word in fault.part.partition("@")[0].split("+")}
        return frozenset(
            one.sensor for one in self.table.circuit.crossings if getattr(one, axis)[0] in numbers
        )

    def scene(self, faults: frozenset[Fault]) -> Scene:
        """Return the positions of the balls on the bench under ball faults."""
        found = self._scenes.get(faults)
        if found is None:
            found = self._scenes[faults] = made_scene(self.profile, self.table, self.store, faults)
        return found


@attrs.frozen(kw_only=True, eq=False)
class Case:
    """One thing, or several, that can be wrong: ``faults`` that show, ``mistakes`` of the reader.

    ``hidden`` are faults that come and go, and do not show at the moment.
    Raises ValueError when one part is given two modes.
    """

    ground: Ground = attrs.field(repr=False)
    faults: tuple[Fault, ...] = ()
    hidden: tuple[Fault, ...] = ()
    mistakes: tuple[Mistake, ...] = ()
    _known: dict[Act, dict[str, Value]] = attrs.field(factory=dict, repr=False)

    @cached_property
    def table(self) -> Links:
        """The table of links with everything in it that is wrong with the machine."""
        table = inject(self.ground.profile, self.ground.table, self.faults)
        for mistake in self.mistakes:
            if mistake.fact is not None:
                table = with_fact_wrong(self.ground.profile, table, mistake.fact)
        return table

    @cached_property
    def touched(self) -> frozenset[str]:
        """The sensors whose readings can differ from those of a sound machine."""
        found: set[str] = set()
        for fault in self.faults:
            found |= self.ground.touched(fault)
        if any(mistake.kind in ("symbols", "numbering", "profile") for mistake in self.mistakes):
            found.update(sensor.id for sensor in self.ground.profile.sensor)
        return frozenset(found)

    @cached_property
    def of(self) -> frozenset[str]:
        """The kinds of mistake in it, whether balls lie otherwise, or something comes and goes."""
        found = {mistake.kind for mistake in self.mistakes}
        if any(fault.kind.effect == MOVES for fault in self.faults):
            found.add(MOVES)
        if self.hidden or any(fault.kind.intermittent for fault in self.faults):
            found.add(FICKLE)
        return frozenset(found)

    @cached_property
    def parts(self) -> frozenset[Part]:
        """The parts that are faulty, whether it shows or not."""
        return frozenset(Part(*fault.component) for fault in (*self.faults, *self.hidden))

    @cached_property
    def scene(self) -> Scene:
        """Where the balls lie on the bench."""
        moved = [fault for fault in self.faults if fault.kind.effect == MOVES]
        return self.ground.scene(frozenset(moved))

    @cached_property
    def _at_rest(self) -> dict[str, Value]:
        effects = self.scene.effects
        if effects is None:
            return self._cells(NOTHING)
        changes = [effects.change(fault) for fault in self.faults]
        for mistake in self.mistakes:
            if mistake.fact is not None:
                changes.append(effects.rewired(wrong_fact(self.ground.profile, mistake.fact)))
        return self._as_noted({**self.scene.cells, **effects.changed_by(changes)})

    def cells(self, act: Act = NOTHING) -> Readings:
        """Return what is read while something is done to the machine."""
        if act.edit is None and not act.as_of:
            if not act.by_hand:
                return Readings(self._at_rest)
            if len(act.by_hand) == 1 and self.scene.effects is not None:
                return Readings(self._at_rest, *act.by_hand)
        # Checks ask the same of a machine over and over, the sound one for every case.
        if act not in self._known:
            self._known[act] = self._cells(act)
        return Readings(self._known[act])

    def cured(self, faults: Iterable[Fault], mistakes: Iterable[Mistake] = ()) -> Case:
        """Return the case without some faults and mistakes, itself if none."""
        gone, known = tuple(faults), tuple(mistakes)
        if not gone and not known:
            return self
        left = tuple(fault for fault in self.faults if fault not in gone)
        hidden = tuple(fault for fault in self.hidden if fault not in gone)
        still = tuple(mistake for mistake in self.mistakes if mistake not in known)
        return self.ground.case(left, hidden, still)

    def _cells(self, act: Act) -> dict[str, Value]:
        scene, table = self.scene, self.table
        if act.edit is not None:
            table = act.edit(table)
        held = Value(scene.everything, scene.everything)
        sound = self.ground.table
        contacts, changed = dict(scene.contacts), set()
        for name, chain in table.chains.items():
            if chain is sound.chains[name] and name not in act.by_hand and name not in act.as_of:
                continue
            worked = held if name in act.by_hand else scene.worked[act.as_of.get(name, name)]
            contacts[name] = contact(chain, worked, scene.everything)
            changed.add(name)
        if table.circuit is not sound.circuit or self.ground.sneaking:
            found = scan(self.ground.profile, table, contacts, scene.everything).cells
            return self._as_noted(dict(found))
        # With a diode everywhere a contact changes its own reading and no other.
        cells = dict(scene.cells)
        for name in self.ground.table.chains:
            source = table.leads.get(name, name)
            if source in changed or source != name:
                cells[name] = contacts[source]
        return self._as_noted(cells)

    def _as_noted(self, cells: dict[str, Value]) -> dict[str, Value]:
        profile = self.ground.profile
        for mistake in self.mistakes:
            if mistake.kind == "numbering":
                pairs = wrong_end(profile)[mistake.value]
                cells = {name: cells[pairs.get(name, name)] for name in cells}
        for mistake in self.mistakes:
            if mistake.kind == "symbols":
                swapped = set(cells if mistake.value == ALL else boards(profile)[mistake.value])
                everything = self.scene.everything
                for name in swapped:
                    value = cells[name]
                    cells[name] = Value(everything & ~value.maybe, everything & ~value.surely)
        return cells

    def reads(self, readings: Readings, sensor: str, balls: int | str) -> frozenset[str]:
        """Return the readings that a sensor can give with so many balls in; empty: no such way."""
        worked = readings.worked
        among = self.scene.masks.get(balls if worked is None else (worked, balls), 0)
        value = readings.cells[sensor]
        found = set()
        if among & value.maybe:
            found.add(CLOSED)
        if among & ~value.surely:
            found.add(OPEN)
        return frozenset(found)

    def failed(self, kind: str, name: str) -> Fault | None:
        """Return the fault of a part that shows; None where there is none."""
        for fault in self.faults:
            if fault.component == (kind, name):
                return fault
        return None


def with_chain(name: str, change: Callable[[tuple[Link, ...]], tuple[Link, ...]]) -> Act:
    """Return the act that changes one sensor's chain."""

    def edit(table: Links) -> Links:
        return attrs.evolve(table, chains={**table.chains, name: change(table.chains[name])})

    return Act(edit=edit)
