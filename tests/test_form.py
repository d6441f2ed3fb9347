"""The form of the code itself: documented, in small modules, imports without a way back."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from collections.abc import Iterator
from functools import cache, reduce
from importlib import import_module
from pathlib import Path

import networkx as nx
import pytest

ROOT = Path(__file__).parents[1]
MOST_LINES = 400
LONG = "Longer than others: "
"""Begins the line of a module's docstring that gives the reason."""


@cache
def modules() -> dict[str, tuple[Path, ast.Module]]:
    """Every module of simrig by its name."""
    found = {}
    for path in sorted((ROOT / "simrig").rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = path, ast.parse(path.read_text(encoding="utf-8"))
    return found


def imported(tree: ast.AST, known: frozenset[str]) -> Iterator[str]:
    """Yield the modules that a module imports anywhere in it, for typing or in functions too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (one.name for one in node.names if one.name in known)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            for one in node.names:
                inner = f"{node.module}.{one.name}"
                if (found := inner if inner in known else str(node.module)) in known:
                    yield found


def cycles(graph: nx.DiGraph[str]) -> list[list[tuple[str, str]]]:
    """Return one way round for each knot of imports."""
    knots = [knot for knot in nx.strongly_connected_components(graph) if len(knot) > 1]
    return [nx.find_cycle(graph.subgraph(knot)) for knot in knots]


def test_no_way_back() -> None:
    """No module imports, over whatever others, itself: not for typing, not within a function."""
    graph: nx.DiGraph[str] = nx.DiGraph()
    for name, (_, tree) in modules().items():
        for other in imported(tree, frozenset(modules())):
            if other != name:
                graph.add_edge(name, other)
    assert graph.number_of_edges() > len(modules()), "imports are seen"
    assert cycles(graph) == []


@pytest.mark.parametrize(
    "back",
    [
        "from kit.first import A",
        "import kit.first",
        "from kit import first",
        "def work():\n    from kit import first",
        "if TYPE_CHECKING:\n    from kit.first import A",
    ],
)
def test_a_way_back_is_seen(back: str) -> None:
    """Whatever the form of the import that closes a circle, the circle is found."""
    known = frozenset(("kit", "kit.first", "kit.second"))
    graph: nx.DiGraph[str] = nx.DiGraph()
    texts = {"kit.first": "from kit.second import B", "kit.second": back}
    for name, text in texts.items():
        graph.add_edges_from((name, other) for other in imported(ast.parse(text), known))
    (found,) = cycles(graph)
    assert {name for pair in found for name in pair} == {"kit.first", "kit.second"}


def test_modules_are_small() -> None:
    """A module has at most 400 lines, or says at its head why it has more."""
    wrong = {}
    for name, (path, tree) in modules().items():
        lines = len(path.read_text(encoding="utf-8").splitlines())
        if (lines > MOST_LINES) != (LONG in (ast.get_docstring(tree) or "")):
            wrong[name] = lines
    assert wrong == {}


def _undocumented(tree: ast.Module) -> Iterator[str]:
    """The public functions, classes and methods without a docstring, and an empty module's own."""
    pages = _with_a_page(tree)

    def within(body: list[ast.stmt], before: str) -> Iterator[str]:
        for node in body:
            if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
                if node.name.startswith("_") or node.name in pages:
                    continue
                if not (ast.get_docstring(node) or "").strip(" ."):
                    yield before + node.name
                if isinstance(node, ast.ClassDef):
                    yield from within(node.body, f"{before}{node.name}.")

    if not (ast.get_docstring(tree) or "").strip(" ."):
        yield "the module itself"
    yield from within(tree.body, "")


def _inherited(module: str, name: str) -> bool:
    """Whether a method does what the one that it overrides says."""
    if "." not in name:
        return False
    return bool(inspect.getdoc(reduce(getattr, name.split("."), import_module(module))))


def _with_a_page(tree: ast.Module) -> set[str]:
    """The functions that a vetting rule looks with: the rule's page says what, why and limits."""
    return {
        word.value.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Rule"
        for word in node.keywords
        if word.arg == "look" and isinstance(word.value, ast.Name)
    }


def test_everything_public_is_documented() -> None:
    """Every module, public class, function and method of simrig has a docstring that says
    something, its own or that of the method that it overrides; the functions of vetting rules
    have their rule's page."""
    missing = [
        f"{name}: {one}"
        for name, (_, tree) in modules().items()
        for one in _undocumented(tree)
        if not _inherited(name, one)
    ]
    assert missing == []


@pytest.mark.parametrize(
    "text",
    [
        '""""""',
        '"""."""',
        '"""Does."""\ndef work(): ...',
        '"""Does."""\nclass Kit:\n  "A kit."\n  def of(self): ...',
    ],
)
def test_what_lacks_words_is_seen(text: str) -> None:
    """A docstring that is missing or says nothing counts as none."""
    assert len(list(_undocumented(ast.parse(text)))) == 1


def test_the_layers_hold() -> None:
    """The contracts of import-linter are kept, where it is installed (the extra ``dev``)."""
    program = Path(sys.executable).with_name("lint-imports")
    if not program.exists():
        pytest.skip("import-linter is not installed")
    ended = subprocess.run([program], cwd=ROOT, capture_output=True, text=True)
    assert ended.returncode == 0, ended.stdout
