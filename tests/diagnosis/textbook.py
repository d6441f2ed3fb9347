"""Textbook systems for the reasoning: circuits of gates and sums with free faults.

A ``Circuit`` is a list of components in the order in which values flow.  Each
output takes one of finitely many values.  A deviation leaves its component's
output free, or replaces its function.  Consistency is decided by trying all
values of free outputs, without masks, so that it shares nothing with
``simrig.diagnosis.masks``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import product

import attrs

from simrig.diagnosis.reasoning import Allowed, Conflict, Deviation, System

Function = Callable[..., int]


@attrs.frozen(kw_only=True)
class Component:
    """A named function from lines to the line that it drives."""

    name: str
    function: Function
    inputs: tuple[str, ...]
    output: str


@attrs.frozen(kw_only=True)
class Circuit(System):
    """A circuit with inputs given and some lines read.

    ``functions[i]`` replaces the function of the component that deviation i is on;
    None leaves its output free.  ``share`` selects the likelihood: the share of the
    values of free outputs that give the readings, or, if false, 1 for any
    consistent set.
    """

    components: tuple[Component, ...]
    values: tuple[int, ...]
    given: Mapping[str, int]
    read: Mapping[str, int]
    deviations: tuple[Deviation, ...]
    functions: tuple[Function | None, ...]
    share: bool = False

    def _worlds(
        self,
        functions: Mapping[str, Function | None],
        components: tuple[Component, ...],
        lines: dict[str, int],
    ) -> Iterator[dict[str, int]]:
        """Yield the values of all lines in each world that gives the readings."""
        if not components:
            yield lines
            return
        component, *rest = components
        function = functions[component.name]
        if function is None:
            values: Iterable[int] = self.values
        else:
            values = (function(*[lines[name] for name in component.inputs]),)
        for value in values:
            if self.read.get(component.output, value) == value:
                yield from self._worlds(functions, tuple(rest), {**lines, component.output: value})

    def _possible(self, functions: Mapping[str, Function | None]) -> bool:
        """Tell whether any world gives the readings; only what leads to a reading is tried."""
        wanted, needed = set(self.read), []
        for component in reversed(self.components):
            if component.output in wanted:
                needed.append(component)
                if functions[component.name] is not None:
                    wanted.update(component.inputs)
        worlds = self._worlds(functions, tuple(reversed(needed)), dict(self.given))
        return next(worlds, None) is not None

    def _functions(self, chosen: Iterable[int]) -> dict[str, Function | None]:
        functions: dict[str, Function | None] = {one.name: one.function for one in self.components}
        for index in chosen:
            functions[str(self.deviations[index].part)] = self.functions[index]
        return functions

    def worlds(self, chosen: Iterable[int]) -> Iterator[dict[str, int]]:
        """Yield the values of all lines in each world that gives the readings."""
        return self._worlds(self._functions(chosen), self.components, dict(self.given))

    def predict(self, chosen: Iterable[int], line: str) -> int | None:
        """Return the value of a line if it is the same in all worlds, else None."""
        values = {lines[line] for lines in self.worlds(chosen)}
        return values.pop() if len(values) == 1 else None

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        functions = self._functions(chosen)
        if self._possible(functions):
            return Allowed(likelihood=self._share(functions) if self.share else 1.0)
        # Free component after component: what cannot be freed is in conflict. Last ones first,
        # so that few values of free outputs are tried in vain.
        for name, function in reversed(list(functions.items())):
            functions[name] = None
            if self._possible(functions):
                functions[name] = function
        deviating = {self.deviations[index].part for index in chosen}
        return Conflict(
            candidates=frozenset(
                index
                for index, one in enumerate(self.deviations)
                if functions[str(one.part)] is not None and one.part not in deviating
            )
        )

    def _share(self, functions: Mapping[str, Function | None]) -> float:
        agreeing = sum(1 for _ in self._worlds(functions, self.components, dict(self.given)))
        free = sum(function is None for function in functions.values())
        return agreeing / float(len(self.values) ** free)

    def names(self, chosen: Iterable[int]) -> str:
        """Return the parts of a set, sorted, in one string."""
        return " ".join(sorted(str(self.deviations[index].part) for index in chosen))


def free_faults(
    components: Iterable[Component],
    *,
    values: Iterable[int],
    given: Mapping[str, int],
    read: Mapping[str, int],
    odds: float = 0.01 / 0.99,
    share: bool = False,
) -> Circuit:
    """Return a circuit in which each component can have its output free."""
    parts = tuple(components)
    return Circuit(
        components=parts,
        values=tuple(values),
        given=given,
        read=read,
        deviations=tuple(Deviation(part=one.name, mode="free", prior=odds) for one in parts),
        functions=(None,) * len(parts),
        share=share,
    )


def _times(a: int, b: int) -> int:
    return a * b


def _plus(a: int, b: int) -> int:
    # Modulo 16, so that a sum with a free term takes each of 16 values alike.
    return (a + b) % 16


def _exclusive(a: int, b: int) -> int:
    return a ^ b


def _both(a: int, b: int) -> int:
    return a & b


def _either(a: int, b: int) -> int:
    return a | b


def _inverse(a: int) -> int:
    return 1 - a


def _same(a: int) -> int:
    return a


def nand(a: int, b: int) -> int:
    return 1 - (a & b)


def _component(name: str, function: Function, inputs: str, output: str) -> Component:
    return Component(name=name, function=function, inputs=tuple(inputs.split()), output=output)


def polybox(*, share: bool = False) -> Circuit:
    """Three products and two sums; F reads 10 where 12 is expected. Source: DKW87."""
    return free_faults(
        [
            _component("M1", _times, "A C", "X"),
            _component("M2", _times, "B D", "Y"),
            _component("M3", _times, "C E", "Z"),
            _component("A1", _plus, "X Y", "F"),
            _component("A2", _plus, "Y Z", "G"),
        ],
        values=range(16),
        given={"A": 3, "B": 2, "C": 2, "D": 3, "E": 3},
        read={"F": 10, "G": 12},
        share=share,
    )


def full_adder() -> Circuit:
    """A full adder that adds 1, 0 and 1 to sum 1, carry 0. Source: REI87."""
    return free_faults(
        [
            _component("X1", _exclusive, "a b", "x"),
            _component("X2", _exclusive, "x c", "s"),
            _component("A1", _both, "a b", "p"),
            _component("A2", _both, "x c", "q"),
            _component("O1", _either, "p q", "co"),
        ],
        values=(0, 1),
        given={"a": 1, "b": 0, "c": 1},
        read={"s": 1, "co": 0},
    )


def inverter_chain(read: Mapping[str, int]) -> Circuit:
    """Four inverters in a row, with 1 at the start. Source: DEL."""
    return free_faults(
        [
            _component("A", _inverse, "x", "a"),
            _component("B", _inverse, "a", "b"),
            _component("C", _inverse, "b", "c"),
            _component("D", _inverse, "c", "y"),
        ],
        values=(0, 1),
        given={"x": 1},
        read=read,
    )


C17_INPUTS = ("1", "2", "3", "6", "7")
C17_OUTPUTS = ("22", "23")
C17_GATES = {
    "10": ("1", "3"),
    "11": ("3", "6"),
    "16": ("2", "11"),
    "19": ("11", "7"),
    "22": ("10", "16"),
    "23": ("16", "19"),
}
C17_VECTORS = tuple("".join(bits) for bits in product("01", repeat=len(C17_INPUTS)))


def _given(vector: str) -> dict[str, int]:
    return {name: int(bit) for name, bit in zip(C17_INPUTS, vector, strict=True)}


def _outputs(reading: str) -> dict[str, int]:
    return {name: int(bit) for name, bit in zip(C17_OUTPUTS, reading, strict=True)}


def c17(vector: str, reading: str) -> Circuit:
    """The smallest ISCAS-85 circuit with its gates' outputs free. Source: C17."""
    gates = [_component(name, nand, " ".join(inputs), name) for name, inputs in C17_GATES.items()]
    given, read = _given(vector), _outputs(reading)
    return free_faults(gates, values=(0, 1), given=given, read=read)


def c17_lines(vector: str, reading: Mapping[str, int]) -> Circuit:
    """The same circuit by its lines, each of which can be stuck at 0 or at 1.

    A line that drives several gates is a stem with one branch for each of them,
    named ``stem>gate``.
    """
    stems = [*C17_INPUTS, *C17_GATES]
    fans = {stem: [gate for gate, ins in C17_GATES.items() if stem in ins] for stem in stems}
    components = []
    for stem in stems:
        if stem in C17_GATES:
            ins = [f"{one}>{stem}" if len(fans[one]) > 1 else one for one in C17_GATES[stem]]
            components.append(_component(stem, nand, " ".join(ins), stem))
        else:
            components.append(_component(stem, _same, f"input {stem}".replace(" ", "-"), stem))
        if len(fans[stem]) > 1:
            components += [
                _component(f"{stem}>{gate}", _same, stem, f"{stem}>{gate}") for gate in fans[stem]
            ]
    return Circuit(
        components=tuple(components),
        values=(0, 1),
        given={f"input-{name}": bit for name, bit in _given(vector).items()},
        read=reading,
        deviations=tuple(
            Deviation(part=one.name, mode=f"stuck at {level}", prior=0.01)
            for one in components
            for level in (0, 1)
        ),
        functions=tuple(stuck for _ in components for stuck in (lambda *_: 0, lambda *_: 1)),
    )
