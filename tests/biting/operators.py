"""Mutants of code: one small mistake each, as another syntax tree of the same module.

What changes no behaviour that a test should hold is left alone: texts of messages,
docstrings, annotations, the arguments of decorators, ``repr=`` and ``init=`` of an attribute, ``strict=``
of a zip; None is not returned where false is.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import attrs

COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitAnd,
}
OPPOSITES = {"min": "max", "max": "min", "any": "all", "all": "any"}
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)

Step = tuple[str, int | None]
Change = tuple[str, ast.AST]


@attrs.frozen(kw_only=True)
class Mutant:
    """One change of one module.

    ``function`` is the outermost function or method that holds it and the line where
    that begins, None for what runs when the module is imported.  ``lines`` are those of
    the statement changed.
    """

    file: str
    where: str
    text: str
    change: str
    function: tuple[str, int] | None
    line: int
    lines: tuple[int, int]
    path: tuple[Step, ...] = attrs.field(repr=False)
    made: ast.AST = attrs.field(repr=False)

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What tells it from all others, whatever lines are added elsewhere."""
        return self.file, self.where, self.text, self.change

    def tree(self, source: str) -> ast.Module:
        """Return the module with the change made."""
        root = ast.parse(source)
        holder: ast.AST = root
        for name, index in self.path[:-1]:
            child = getattr(holder, name)
            holder = child if index is None else child[index]
        name, index = self.path[-1]
        if index is None:
            setattr(holder, name, self.made)
        else:
            getattr(holder, name)[index] = self.made
        return ast.fix_missing_locations(root)


def mutants(file: str, source: str | None = None) -> list[Mutant]:
    """Return every mutant of a module, in the order of its lines."""
    source = Path(file).read_text(encoding="utf-8") if source is None else source
    walk = _Walk(file, source)
    walk.visit(ast.parse(source))
    met: Counter[tuple[str, str, str, str]] = Counter()
    found = []
    for one in walk.found:
        met[one.key] += 1
        if (turn := met[one.key]) > 1:
            one = attrs.evolve(one, change=f"{one.change} (again, {turn})")
        found.append(one)
    return found


class _Walk:
    """Visits a tree from the top, with the way down to each node."""

    def __init__(self, file: str, source: str) -> None:
        self.file = file
        self.lines = source.splitlines()
        self.found: list[Mutant] = []
        self.above: list[ast.AST] = []
        self.path: list[Step] = []

    def visit(self, node: ast.AST) -> None:
        if self._left_alone(node):
            return
        for before, made in changes(node, self.above):
            self._keep(node, before, made)
        self.above.append(node)
        for name, value in ast.iter_fields(node):
            if name in ("annotation", "returns", "decorator_list", "type_params"):
                continue
            for index, child in enumerate(value) if isinstance(value, list) else [(None, value)]:
                if isinstance(child, ast.AST):
                    self.path.append((name, index))
                    self.visit(child)
                    self.path.pop()
        self.above.pop()

    def _left_alone(self, node: ast.AST) -> bool:
        parent = self.above[-1] if self.above else None
        if isinstance(node, ast.keyword):
            return node.arg in ("repr", "init", "strict")
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            return node.value.value is not ...
        if isinstance(node, ast.JoinedStr | ast.Import | ast.ImportFrom | ast.MatchValue):
            return True
        if isinstance(parent, ast.Assign) and isinstance(parent.targets[0], ast.Name):
            return parent.targets[0].id == "__all__"
        return isinstance(node, ast.Constant) and any(
            isinstance(one, ast.Raise) for one in self.above
        )

    def _keep(self, node: ast.AST, before: str, made: ast.AST) -> None:
        holders = [one for one in self.above if isinstance(one, (*FUNCTIONS, ast.ClassDef))]
        functions = [one for one in holders if isinstance(one, FUNCTIONS)]
        names = [getattr(one, "name", "<lambda>") for one in holders]
        outermost = functions[0] if functions else None
        function = None
        if outermost is not None and self._in_body(outermost, node):
            upto = holders[: holders.index(outermost) + 1]
            first = min(
                [outermost.lineno, *(d.lineno for d in getattr(outermost, "decorator_list", ()))]
            )
            function = (".".join(getattr(one, "name", "<lambda>") for one in upto), first)
        line = getattr(node, "lineno", 0)
        self.found.append(
            Mutant(
                file=self.file,
                where=".".join(names),
                text=self.lines[line - 1].strip(),
                change=f"{before} -> {ast.unparse(made)}",
                function=function,
                line=line,
                lines=self._lines_run(node),
                path=tuple(self.path),
                made=ast.copy_location(made, node),
            )
        )

    def _in_body(self, outermost: ast.AST, node: ast.AST) -> bool:
        """Whether a node runs with a function, not where the function is defined."""
        below = [*self.above, node]
        after = below[below.index(outermost) + 1]
        body = outermost.body  # type: ignore[attr-defined]
        return after is body or (isinstance(body, list) and after in body)

    def _lines_run(self, node: ast.AST) -> tuple[int, int]:
        """The lines of the statement that a node belongs to, of a compound one its head."""
        chain = [*self.above, node]
        statement = next(one for one in reversed(chain) if isinstance(one, ast.stmt))
        last = statement.end_lineno or statement.lineno
        body = getattr(statement, "body", None)
        if isinstance(body, list) and body:
            last = max(statement.lineno, body[0].lineno - 1)
            if node is not statement:
                last = min(last, max(getattr(chain[-1], "end_lineno", last) or last, node.lineno))  # type: ignore[attr-defined]
        return statement.lineno, last


def changes(node: ast.AST, above: list[ast.AST]) -> Iterator[Change]:
    """Yield each mistake at a node: what stood there, and what stands there instead."""
    before = ast.unparse(node) if isinstance(node, ast.expr | ast.stmt) else ""
    parent = above[-1] if above else None
    for made in _instead(node, parent):
        yield before, made


def _instead(node: ast.AST, parent: ast.AST | None) -> Iterator[ast.AST]:
    match node:
        case ast.Compare(ops=[operator]):
            for other in COMPARISONS[type(operator)]:
                yield ast.Compare(node.left, [other()], node.comparators)
        case ast.Compare():
            for index, operator in enumerate(node.ops):
                for other in COMPARISONS[type(operator)]:
                    ops = [*node.ops[:index], other(), *node.ops[index + 1 :]]
                    yield ast.Compare(node.left, ops, node.comparators)
        case ast.BinOp() if type(node.op) in OPERATORS and not _joins(node):
            yield ast.BinOp(node.left, OPERATORS[type(node.op)](), node.right)
        case ast.AugAssign():
            if type(node.op) in OPERATORS:
                yield ast.AugAssign(node.target, OPERATORS[type(node.op)](), node.value)
            yield ast.Pass()
        case ast.BoolOp():
            other_op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            yield ast.BoolOp(other_op, node.values)
            for index in range(len(node.values)):
                rest = [*node.values[:index], *node.values[index + 1 :]]
                yield rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)
        case ast.UnaryOp(op=ast.Not() | ast.USub() | ast.Invert()):
            if not isinstance(node.operand, ast.Constant):
                yield node.operand
        case ast.Constant():
            yield from _constants(node)
        case ast.Call(func=ast.Name(id=name)) if name in OPPOSITES:
            yield ast.Call(ast.Name(OPPOSITES[name], ast.Load()), node.args, node.keywords)
        case ast.Call(func=ast.Name(id="sorted")):
            yield ast.Call(ast.Name("list", ast.Load()), node.args, [])
        case ast.Return(value=ast.expr()) if not _is_false(node.value):
            yield ast.Return(ast.Constant(None))
        case ast.Expr() | ast.Raise() | ast.Delete():
            yield ast.Pass()
        case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]):
            yield ast.Pass()
        case ast.Continue():
            yield ast.Break()
            yield ast.Pass()
        case ast.Break():
            yield ast.Pass()
    if isinstance(node, ast.expr) and _is_condition(node, parent):
        yield ast.UnaryOp(ast.Not(), node)
    if isinstance(node, ast.comprehension):
        return
    if isinstance(parent, ast.comprehension) and node in parent.ifs:
        yield ast.Constant(True)


def _is_condition(node: ast.expr, parent: ast.AST | None) -> bool:
    """Whether a condition is one that no other change turns round."""
    if isinstance(node, ast.Constant) or (isinstance(node, ast.Compare) and len(node.ops) == 1):
        return False
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return False
    if isinstance(parent, ast.If | ast.While | ast.IfExp):
        return node is parent.test
    return isinstance(parent, ast.comprehension) and node in parent.ifs


def _joins(node: ast.BinOp) -> bool:
    """Whether an addition joins texts or tuples."""
    return any(
        isinstance(side, ast.JoinedStr | ast.Tuple | ast.List)
        or (isinstance(side, ast.Constant) and isinstance(side.value, str))
        for side in (node.left, node.right)
    )


def _constants(node: ast.Constant) -> Iterator[ast.AST]:
    value = node.value
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int):
        yield ast.Constant(value + 1)
        yield ast.Constant(value - 1)
    elif isinstance(value, float):
        yield ast.Constant(value + 1)
        if value:
            yield ast.Constant(value / 2)
    elif isinstance(value, str) and value:
        yield ast.Constant(f"not {value}")


def _is_false(node: ast.expr | None) -> bool:
    return isinstance(node, ast.Constant) and node.value in (None, False)
