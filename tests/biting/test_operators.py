"""The mutants themselves, by hand on a few lines."""

from __future__ import annotations

import ast

import pytest

from tests.biting.operators import mutants

HEAD = '''"""Not this text."""

LIMIT = 3

class Part:
    """Nor this."""

    @property
    def sound(self) -> bool:
        return self.count > 0 and not self.broken

    def checked(self, name: "str") -> list[int]:
        """Nor this."""
        if self.count < LIMIT:
            raise ValueError(f"{name} is 7; wanted more than 8")
        return [one for one in sorted(self.all) if one]
'''


def _changes(source: str) -> list[str]:
    return [one.change for one in mutants("made.py", source)]


def test_mutants_of_a_few_lines():
    """Every one in the order of its line; no text of a message, annotation or docstring."""
    assert _changes(HEAD) == [
        "3 -> 4",
        "3 -> 2",
        "return self.count > 0 and (not self.broken) -> return None",
        "self.count > 0 and (not self.broken) -> self.count > 0 or not self.broken",
        "self.count > 0 and (not self.broken) -> not self.broken",
        "self.count > 0 and (not self.broken) -> self.count > 0",
        "self.count > 0 -> self.count >= 0",
        "self.count > 0 -> self.count <= 0",
        "0 -> 1",
        "0 -> -1",
        "not self.broken -> self.broken",
        "self.count < LIMIT -> self.count <= LIMIT",
        "self.count < LIMIT -> self.count >= LIMIT",
        "raise ValueError(f'{name} is 7; wanted more than 8') -> pass",
        "return [one for one in sorted(self.all) if one] -> return None",
        "sorted(self.all) -> list(self.all)",
        "one -> not one",
        "one -> True",
    ]


@pytest.mark.parametrize(
    ("source", "changes"),
    [
        ("x = a + 1.5", ["a + 1.5 -> a - 1.5", "1.5 -> 2.5", "1.5 -> 0.75"]),
        ("x = 'a' + b", ["'a' -> 'not a'"]),
        ("x |= a << b", ["x |= a << b -> x &= a << b", "x |= a << b -> pass", "a << b -> a >> b"]),
        ("x.y = min(a)", ["x.y = min(a) -> pass", "min(a) -> max(a)"]),
        ("x = a in b", ["a in b -> a not in b"]),
        ("x = a is None", ["a is None -> a is not None"]),
        ("x = a < b <= c", ["a < b <= c -> a <= b <= c", "a < b <= c -> a >= b <= c",
                            "a < b <= c -> a < b < c", "a < b <= c -> a < b > c"]),
        ("while True:\n    continue", ["True -> False", "continue -> break", "continue -> pass"]),
        ("x = f(repr=False)", []),
        ("x = -a, ~b", ["-a -> a", "~b -> b"]),
    ],
)  # fmt: skip
def test_mistakes_of_each_kind(source, changes):
    """What stood there, and what stands there instead."""
    assert _changes(source) == changes


def test_each_mutant_is_the_module_with_one_change():
    """The tree of a mutant is that of the module but for its change."""
    whole = ast.dump(ast.parse(HEAD))
    trees = [ast.dump(one.tree(HEAD)) for one in mutants("made.py", HEAD)]
    assert whole not in trees
    assert len(set(trees)) == len(trees)


def test_where_a_mutant_stands():
    """The function that is changed, with the line of its decorator, or none on import."""
    found = mutants("made.py", HEAD)
    assert (found[0].function, found[0].where, found[0].line) == (None, "", 3)
    assert {(one.function, one.where) for one in found[2:11]} == {(("Part.sound", 8), "Part.sound")}
    assert found[-1].function == ("Part.checked", 12)
    assert found[-1].lines == (16, 16)


def test_a_mutant_keeps_its_name_when_lines_are_added():
    """Two changes that look alike are told apart, and no line number is in their key."""
    alike = "def f(a):\n    return a[1:1]\n"
    keys = [one.key for one in mutants("made.py", alike)]
    assert len(set(keys)) == len(keys)
    assert keys == [one.key for one in mutants("made.py", "\n\n" + alike)]
