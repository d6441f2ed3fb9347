"""The same question put to a solver for satisfiability, as a peer: python-sat.

A machine is written down once as clauses: a variable for each suspect and for each
placement of the balls, the signal along each sensor's chain, the matrix.  What was
read is assumed, and the sets of suspects are enumerated by size.  Only kinds that stay
on one address are put down; where the machine's own crossings pass a signal back, each
column's signal is followed there and back as often as there are such rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import count

from pysat.card import ITotalizer
from pysat.solvers import Solver

from simrig.diagnosis.suspects import Suspect
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links
from simrig.sensing.chain import Chain
from simrig.world.balls import Placement
from simrig.world.worlds import worlds

ON_CHAINS = ("breaks", "opens", "forces", "inverts")
ON_LINES = ("opens line", "cuts line", "holds line")
"""Only on machines with diodes everywhere, and a held line only as a row."""


class Formula:
    """Clauses for a machine; suspect number i is variable i + 1.

    ``allowed`` gives the placements' numbers without any suspect, and with each
    suspect that selects others.
    """

    def __init__(
        self,
        profile: Profile,
        table: Links,
        suspects: Sequence[Suspect],
        placements: Sequence[Placement],
        allowed: Mapping[int | None, int] | None = None,
    ) -> None:
        self.profile, self.table, self.suspects = profile, table, suspects
        self.clauses: list[list[int]] = []
        self._fresh = count(len(suspects) + 1)
        self.true = next(self._fresh)
        self.clauses.append([self.true])
        self._at_part: dict[tuple[str, str], list[int]] = {}
        self.misread: dict[str, int] = {}
        self._shows: dict[int, int] = {}
        by_part: dict[object, list[int]] = {}
        for index, one in enumerate(suspects):
            by_part.setdefault(one.deviation.part, []).append(index + 1)
            if one.fault is not None:
                self._at_part.setdefault(one.fault.component, []).append(index)
                self._shows[index] = index + 1
                if one.fault.kind.intermittent:
                    self._shows[index] = self._both(index + 1, next(self._fresh))
            elif one.mistake is not None and one.mistake.kind == "misread":
                self.misread[one.mistake.value] = index + 1
        for modes in by_part.values():
            for place, one_mode in enumerate(modes):
                self.clauses += [[-one_mode, -other] for other in modes[:place]]
        self._place(placements, allowed)
        contacts = {
            name: self._signal(chain, self._worked[name]) for name, chain in table.chains.items()
        }
        self.noted = {
            name: self._different(reads, self.misread.get(name, -self.true))
            for name, reads in self._matrix(contacts).items()
        }
        # Once: a variable that no clause speaks of would double the solutions.
        self.variables = next(self._fresh) - 1

    def _place(
        self, placements: Sequence[Placement], allowed: Mapping[int | None, int] | None
    ) -> None:
        """A variable for each placement, one of which holds; those that look alike are one."""
        many = worlds(self.profile, placements)
        works = {sensor.id: many.works(sensor) for sensor in self.profile.sensor}
        kinds: dict[tuple[object, ...], int] = {}
        for number in range(len(placements)):
            looks = [(one.surely >> number & 1, one.maybe >> number & 1) for one in works.values()]
            may = [mask >> number & 1 for mask in (allowed or {}).values()]
            kinds.setdefault((*looks, *may), number)
        start = len(self.clauses)
        self.placed = [next(self._fresh) for _ in kinds]
        self.clauses.append(self.placed)
        selecting = [index + 1 for index in allowed or {} if index is not None]
        for number, place in zip(kinds.values(), self.placed, strict=True):
            for index, mask in (allowed or {}).items():
                if not mask >> number & 1:
                    self.clauses.append([-place, *(selecting if index is None else [-index - 1])])
        self._worked: dict[str, int] = {}
        for name, value in works.items():
            worked = self._worked[name] = next(self._fresh)
            for number, place in zip(kinds.values(), self.placed, strict=True):
                if value.surely >> number & 1:
                    self.clauses.append([-place, worked])
                elif not value.maybe >> number & 1:
                    self.clauses.append([-place, -worked])
        self.placing = self.clauses[start:]
        # The same as a table: what works each switch, and the suspects that select placements.
        self.columns = [*self._worked.values(), *selecting]
        self.rows = [
            (*[one.surely >> number & 1 for one in works.values()], *selected)
            for number in kinds.values()
            for index, mask in (allowed or {None: -1}).items()
            if mask >> number & 1
            for selected in [[int(index is not None and one == index + 1) for one in selecting]]
        ]

    def _signal(self, chain: Chain, worked: int) -> int:
        signal = self.true
        for link in chain:
            usual = self._acted(link.action, signal, worked)
            for index in self._at_part.get(link.part, ()):
                fault = self.suspects[index].fault
                assert fault is not None
                action = {
                    "breaks": link.broken,
                    "opens": "cuts",
                    "forces": "forces",
                    "inverts": {"makes": "breaks", "breaks": "makes"}.get(link.action, link.action),
                }[fault.kind.effect]
                usual = self._if(self._shows[index], self._acted(action, signal, worked), usual)
            signal = usual
        return signal

    def _acted(self, action: str, signal: int, worked: int) -> int:
        return {
            "passes": lambda: signal,
            "cuts": lambda: -self.true,
            "forces": lambda: self.true,
            "inverts": lambda: -signal,
            "makes": lambda: self._both(signal, worked),
            "breaks": lambda: self._both(signal, -worked),
            "unsure": lambda: next(self._fresh),
        }[action]()

    def _matrix(self, contacts: dict[str, int]) -> dict[str, int]:
        """What is read at each address."""
        read = dict(contacts)
        crossings = self.table.circuit.crossings
        ahead = {}
        for one in crossings:
            closed = contacts[one.sensor]
            for index in self._at_part.get(("diode", one.sensor), ()):
                closed = self._both(closed, -(index + 1))
            for axis, line in (("column", one.column[0]), ("row", one.row[0])):
                for place, index in self._pieces(axis, line):
                    order = next(
                        wire.order
                        for wire in getattr(self.profile.matrix, axis)
                        if wire.number == line
                    )
                    if one.sensor in (order or ())[place:]:
                        closed = self._both(closed, -(index + 1))
            ahead[one.sensor] = closed
        back_rows = {one.row for one in crossings if one.backward is not None}
        for number in self.table.circuit.strobes:
            rows: dict[object, list[int]] = {}
            for one in crossings:
                if one.column[0] == number:
                    rows.setdefault(one.row, []).append(ahead[one.sensor])
            for _ in back_rows:
                reached = {row: self._any(ways) for row, ways in rows.items()}
                for through in crossings:
                    if through.backward is None or through.row not in reached:
                        continue
                    live = self._both(reached[through.row], contacts[through.sensor])
                    for one in crossings:
                        if one.column == through.column:
                            way = self._both(live, ahead[one.sensor])
                            rows.setdefault(one.row, []).append(way)
            for one in crossings:
                if one.column[0] == number:
                    reads = self._any(rows[one.row])
                    for axis, line in (("column", number), ("row", one.row[0])):
                        for open_ in (
                            *self._line(axis, line, "opens line"),
                            *self._plug_of(axis, line),
                        ):
                            reads = self._both(reads, -open_)
                    for held in self._line("row", one.row[0], "holds line"):
                        reads = -self._both(-reads, -held)
                    read[one.sensor] = reads
        return read

    def _line(self, axis: str, number: int, effect: str) -> Iterator[int]:
        for index in self._at_part.get((axis, str(number)), ()):
            fault = self.suspects[index].fault
            if fault is not None and fault.kind.effect == effect:
                yield index + 1

    def _plug_of(self, axis: str, number: int) -> Iterator[int]:
        """Yield when the plug of a line does not make."""
        for line in getattr(self.profile.matrix, axis):
            if line.number == number:
                for index in self._at_part.get(("connector", str(line.connector)), ()):
                    yield self._shows[index]

    def _pieces(self, axis: str, line: int) -> Iterator[tuple[int, int]]:
        for (kind, part), indices in self._at_part.items():
            number, _, place = part.partition("@")
            if kind == f"{axis} piece" and int(number) == line:
                yield from ((int(place), index) for index in indices)

    def _both(self, one: int, other: int) -> int:
        if one == self.true or one == other:
            return other
        if other == self.true:
            return one
        if -self.true in (one, other) or one == -other:
            return -self.true
        made = next(self._fresh)
        self.clauses += [[-made, one], [-made, other], [made, -one, -other]]
        return made

    def _any(self, ways: Iterable[int]) -> int:
        found = [way for way in dict.fromkeys(ways) if way != -self.true]
        if self.true in found:
            return self.true
        if len(found) < 2:
            return found[0] if found else -self.true
        made = next(self._fresh)
        self.clauses.append([-made, *found])
        self.clauses += [[made, -way] for way in found]
        return made

    def _if(self, test: int, yes: int, no: int) -> int:
        return -self._both(-self._both(test, yes), -self._both(-test, no))

    def _different(self, one: int, other: int) -> int:
        return self._if(other, -one, one)


class SatPeer:
    """The clauses in a solver, loaded once; asked for sheet after sheet."""

    def __init__(self, formula: Formula, limit: int, name: str = "cadical195") -> None:
        self._formula = formula
        self._limit = limit
        self._faults = list(range(1, len(formula.suspects) + 1))
        totalizer = ITotalizer(lits=self._faults, ubound=limit, top_id=formula.variables)
        self._bounds = totalizer.rhs
        self._top = totalizer.top_id
        self._least = self._at_least()
        clauses = [*formula.clauses, *totalizer.cnf.clauses, *self._counted]
        self._solver = Solver(name=name, bootstrap_with=clauses)

    def _at_least(self) -> list[int]:
        """Return for each k a variable that can only hold if at least k suspects are present."""
        self._counted: list[list[int]] = []
        before: list[int | None] = [None] * self._limit
        for fault in self._faults:
            now: list[int | None] = []
            for k in range(self._limit):
                self._top += 1
                now.append(self._top)
                earlier = [] if before[k] is None else [before[k]]
                self._counted.append([-self._top, fault, *earlier])
                if k:
                    fewer = [] if before[k - 1] is None else [before[k - 1]]
                    self._counted.append([-self._top, *fewer, *earlier])
            before = now
        return [one for one in before if one is not None]

    def sets(self, readings: Mapping[str, int | None]) -> set[tuple[int, ...]]:
        """Return all sets of suspects, up to the limit, that can give what was read."""
        noted = self._formula.noted
        seen = []
        for name, value in readings.items():
            if value is not None:
                seen.append(noted[name] if value else -noted[name])
            elif name in self._formula.misread:
                # What was not looked at is not misread either.
                seen.append(-self._formula.misread[name])
        found: set[tuple[int, ...]] = set()
        for size in range(self._limit + 1):
            self._top += 1
            asking = self._top
            assumed = [*seen, asking]
            if size < len(self._bounds):
                assumed.append(-self._bounds[size])
            if size:
                assumed.append(self._least[size - 1])
            while self._solver.solve(assumptions=assumed):
                model = self._solver.get_model()
                chosen = tuple([fault - 1 for fault in self._faults if model[fault - 1] > 0])
                found.add(chosen)
                self._solver.add_clause([-asking, *[-(one + 1) for one in chosen]])
                if not chosen:
                    break
        return found
