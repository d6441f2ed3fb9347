"""The same question put to a constraint solver, as a peer: OR-tools CP-SAT.

It gets the clauses of :class:`tests.diagnosis.sat_peer.Formula` once, the placements as a
table; for each sheet a copy with what was read, all of whose solutions are enumerated.
As it comes it has its usual parameters, and asks for the value of each suspect, as its
own examples do.  Tuned it presolves nothing and reads each solution as a whole: the fastest
of what was tried.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import islice

from ortools.sat.python import cp_model

from tests.diagnosis.sat_peer import Formula


class _Collect(cp_model.CpSolverSolutionCallback):
    """Keeps the suspects of each solution: the first variables."""

    def __init__(self, suspects: list[cp_model.IntVar], tuned: bool) -> None:
        super().__init__()
        self._suspects = suspects
        self._tuned = tuned
        self.found: set[tuple[int, ...]] = set()

    def on_solution_callback(self) -> None:
        values: Iterable[int]
        if self._tuned:
            values = islice(self.response_proto.solution, len(self._suspects))
        else:
            values = [self.Value(one) for one in self._suspects]
        self.found.add(tuple([index for index, value in enumerate(values) if value]))


class CpSatPeer:
    """The clauses as a model, made once; asked for sheet after sheet."""

    def __init__(self, formula: Formula, limit: int, *, tuned: bool) -> None:
        self._formula = formula
        self._tuned = tuned
        self._model = model = cp_model.CpModel()
        variables = [model.NewBoolVar("") for _ in range(formula.variables)]

        def literal(number: int) -> cp_model.IntVar:
            one = variables[abs(number) - 1]
            return one if number > 0 else one.Not()

        placing = {id(clause) for clause in formula.placing}
        for clause in formula.clauses:
            if id(clause) not in placing:
                model.AddBoolOr([literal(number) for number in clause])
        self._suspects = variables[: len(formula.suspects)]
        model.Add(sum(self._suspects) <= limit)
        columns = [literal(number) for number in formula.columns]
        model.AddAllowedAssignments(columns, formula.rows)
        for number in formula.placed:
            model.Add(literal(number) == 0)

    def sets(self, readings: Mapping[str, int | None]) -> set[tuple[int, ...]]:
        """Return all sets of suspects, up to the limit, that can give what was read."""
        model = self._model.Clone()
        for name, value in readings.items():
            if value is not None:
                number = self._formula.noted[name] * (1 if value else -1)
                one = model.get_bool_var_from_proto_index(abs(number) - 1)
                model.AddBoolOr([one if number > 0 else one.Not()])
        solver = cp_model.CpSolver()
        solver.parameters.enumerate_all_solutions = True
        solver.parameters.num_workers = 1
        solver.parameters.cp_model_presolve = not self._tuned
        collect = _Collect(self._suspects, self._tuned)
        solver.Solve(model, collect)
        return collect.found
