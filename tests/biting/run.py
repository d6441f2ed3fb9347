"""Mutants of the code, each tried against the tests that run its lines.

    python -m tests.biting.run [--sample COUNT] [--seed N] [--group NAME ...] [--jobs N]

Prints for each group of modules how many mutants the tests kill, and the survivors
that nobody has judged to behave as the code does (``equivalent.toml``).
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import json
import math
import os
import sys
import time
import tomllib
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import attrs
import pytest

from tests.biting import sessions
from tests.biting.operators import Mutant, mutants
from tests.biting.sessions import KILLED, SURVIVED, TIMED_OUT

GROUPS: dict[str, tuple[str, ...]] = {
    "world": ("simrig/world/*.py",),
    "sensing": ("simrig/sensing/*.py",),
    "scan": ("simrig/scan/*.py",),
    "reasoning": tuple(
        f"simrig/diagnosis/{name}.py"
        for name in (
            *("deviation", "families", "folding", "hitting", "masks", "pieces"),
            *("probing", "readings", "reasoning", "system"),
        )
    ),
    "mending": tuple(
        f"simrig/diagnosis/{name}.py"
        for name in ("check_results", "offered", "repairs", "until_mended")
    ),
}
FLOORS = ("tests/world", "tests/sensing", "tests/scan")
TESTS: dict[str, tuple[str, ...]] = {
    "world": FLOORS,
    "sensing": FLOORS,
    "scan": FLOORS,
    "reasoning": tuple(
        f"tests/diagnosis/test_{name}.py"
        for name in (
            "enlarging",
            "families",
            "hitting",
            "masks",
            "pieces",
            "probing",
            "reasoning",
            "textbook",
        )
    ),
    "mending": tuple(
        f"tests/diagnosis/test_{name}.py"
        for name in (
            "check_results",
            "repair_of_a_part",
            "until_mended",
            "offered",
        )
    ),
}
"""The tests that hold each group; others that happen to run its lines do not count."""

MOST_S = {"world": 4.0, "sensing": 4.0, "scan": 4.0, "reasoning": 60.0, "mending": 4.0}
"""Tests are run against a mutant, those of its own floor first, then the quickest, until
together they take so many seconds of the processor without it."""

EQUIVALENT = Path(__file__).with_name("equivalent.toml")


@attrs.define
class Result:
    """What became of one mutant, and the last test that was run."""

    mutant: Mutant
    verdict: str
    test: str = ""


def files_of(group: str) -> list[str]:
    """The modules of a group."""
    return [str(path) for glob in GROUPS[group] for path in sorted(Path().glob(glob))]


def judged() -> dict[tuple[str, str, str, str], str]:
    """Mutants judged to behave as the code does, and why."""
    rows = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")).get("mutant", [])
    return {(row["file"], row["in"], row["line"], row["change"]): row["why"] for row in rows}


def tests_in(name: str) -> list[Path]:
    """The files of tests in a folder, or the one named."""
    paths = [Path(name)] if name.endswith(".py") else sorted(Path(name).rglob("*"))
    return [one for one in paths if one.match("test_*.py") or one.match("*.scenario.toml")]


def watched(groups: Iterable[str], kept: Path) -> dict[str, Any]:
    """What each test runs and takes, worked out again for the tests that have changed."""
    kept.mkdir(parents=True, exist_ok=True)
    names = dict.fromkeys(name for group in groups for name in TESTS[group])
    tests = list(dict.fromkeys(path for name in names for path in tests_in(name)))
    helpers = [path for path in Path("tests").rglob("*.py") if not path.match("test_*.py")]
    rest = sorted([*Path("simrig").rglob("*.py"), *Path("plugins").rglob("*.toml"), *helpers])
    rest = [path for path in rest if path.parts[:2] != ("tests", "biting")]
    common = hashlib.sha256(b"".join(path.read_bytes() for path in rest))
    wanted: dict[Path, Path] = {}
    for path in tests:
        digest = common.copy()
        digest.update(str(path).encode() + path.read_bytes())
        wanted[path] = kept / f"{digest.hexdigest()[:32]}.json"
    for path, file in wanted.items():
        if not file.exists():
            say(f"watching {path}")
            folders = sorted({str(Path(one).parent) for group in GROUPS for one in files_of(group)})

            def work(path: Path = path, file: Path = file, folders: list[str] = folders) -> None:
                pytest.main(
                    [*sessions.QUIET, str(path)], plugins=[sessions.Watching(folders, file)]
                )

            sessions.forked(work)
    found: dict[str, Any] = {"seconds": {}, "lines": {}, "left_out": []}
    for file in wanted.values():
        one = json.loads(file.read_text(encoding="utf-8"))
        found["seconds"] |= one["seconds"]
        found["left_out"] += one["left_out"]
        for name, lines in one["lines"].items():
            into = found["lines"].setdefault(name, {})
            for line, names in lines.items():
                into.setdefault(int(line), []).extend(names)
    return found


def tests_of(group: str, mutant: Mutant, map_: dict[str, Any]) -> list[str]:
    """The tests that run a mutant's lines."""
    seconds, lines = map_["seconds"], map_["lines"].get(mutant.file, {})
    if mutant.function is None:
        # A test can use what stands in a module without running a line of its functions.
        files = {name.partition("::")[0] for some in lines.values() for name in some}
        names = {name for name in seconds if name.partition("::")[0] in files}
    else:
        first, last = mutant.lines
        names = {name for line in range(first, last + 1) for name in lines.get(line, ())}
    own = TESTS[group][:2] if TESTS[group] is not FLOORS else (f"tests/{group}/",)
    chosen, total = [], 0.0
    for name in sorted(
        (name for name in names if name in seconds),
        key=lambda name: (not name.startswith(own), seconds[name], name),
    ):
        total += seconds[name]
        if total > MOST_S[group]:
            break
        chosen.append(name)
    return chosen


def digest(mutant: Mutant, test: str) -> str:
    """Tells whether a module, and the test that killed a mutant of it, are as they were."""
    whole = Path(mutant.file).read_bytes() + source_of(test)
    return hashlib.sha256(whole).hexdigest()[:16]


def source_of(test: str) -> bytes:
    """The function of a test, as it stands in its file."""
    file, _, name = test.partition("::")
    return functions_of(file).get(name.partition("[")[0], b"")


@cache
def functions_of(file: str) -> dict[str, bytes]:
    """The functions of a file of tests."""
    text = Path(file).read_text(encoding="utf-8")
    lines = text.splitlines()
    return {
        node.name: "\n".join(
            lines[
                min([node.lineno, *(d.lineno for d in node.decorator_list)]) - 1 : node.end_lineno
            ]
        ).encode()
        for node in ast.parse(text).body
        if isinstance(node, ast.FunctionDef)
    }


def killed_before(kept: Path) -> dict[str, list[str]]:
    """Mutants that were killed in earlier runs: the verdict, the test, its digest."""
    file = kept / "killed.jsonl"
    lines = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
    return {json.dumps(key): rest for key, *rest in map(json.loads, lines)}


def tried(
    pool: Sequence[tuple[str, Mutant]],
    map_: dict[str, Any],
    jobs: int,
    kept: Path,
    again_judged: bool,
) -> list[Result]:
    """Try mutants in place, or, where they run on import, with all imported anew.

    What was killed before is taken over while its module and the test that did it are the same.
    """
    seconds = map_["seconds"]
    chosen = [mutant for _, mutant in pool]
    tests = [tests_of(group, mutant, map_) for group, mutant in pool]
    results = [Result(mutant, SURVIVED) for mutant in chosen]
    before = killed_before(kept)
    for number, mutant in enumerate(chosen):
        verdict, test, same = before.get(json.dumps(mutant.key), ("", "", ""))
        if test in seconds and digest(mutant, test) == same:
            results[number] = Result(mutant, verdict, test)
    known = {} if again_judged else judged()
    left = [
        number
        for number, one in enumerate(results)
        if one.verdict == SURVIVED and one.mutant.key not in known
    ]
    say(f"{len(chosen) - len(left)} of {len(chosen)} were killed before, or judged equivalent")
    again = {number for number in left if chosen[number].function is None}
    in_place = [
        (number, chosen[number], tests[number])
        for number in left
        if number not in again and tests[number]
    ]

    def settle(number: int, verdict: str, test: str) -> None:
        mutant = chosen[number]
        results[number] = Result(mutant, verdict, test)
        if verdict != SURVIVED and test:
            with (kept / "killed.jsonl").open("a", encoding="utf-8") as file:
                row = (mutant.key, verdict, test, digest(mutant, test))
                file.write(json.dumps(row, ensure_ascii=False) + "\n")

    done = 0
    reader, writer = os.pipe()

    def told(number: int, verdict: str, test: str) -> None:
        os.write(writer, json.dumps([number, verdict, test]).encode() + b"\n")

    def work() -> None:
        os.close(reader)
        files = sorted({test.partition("::")[0] for _, _, some in in_place for test in some})
        trying = sessions.Trying(in_place, seconds, jobs, told)
        pytest.main([*sessions.QUIET, *files], plugins=[trying])

    if in_place:
        process = os.fork()
        if not process:
            sessions.forked(work)
            os._exit(0)
        os.close(writer)
        began = time.monotonic()
        with os.fdopen(reader, encoding="utf-8") as pipe:
            for line in pipe:
                number, verdict, test = json.loads(line)
                done += 1
                if verdict:
                    settle(number, verdict, test)
                else:
                    again.add(number)
                if done % 20 == 0:
                    say(f"{done} of {len(in_place)} in {time.monotonic() - began:.0f} s")
        os.waitpid(process, 0)
        if done < len(in_place):
            raise SystemExit(f"{done} of {len(in_place)} mutants were tried; the session ended")
    for turn, number in enumerate(sorted(again), start=1):
        mutant = chosen[number]
        own = f"/test_{Path(mutant.file).stem}.py::"
        for some in ([test for test in tests[number] if own in test], tests[number]):
            if some and results[number].verdict == SURVIVED:
                verdict, test = sessions.tried_afresh(mutant, some, seconds)
                settle(number, verdict, test)
        if turn % 20 == 0:
            say(f"{turn} of {len(again)} with all imported anew")
    return results


def say(words: str) -> None:
    """Tell how far it is."""
    print(words, file=sys.stderr, flush=True)


def share(part: int, whole: int) -> str:
    """A share in per cent."""
    return f"{100 * part / whole:.1f}" if whole else "-"


def between(part: int, whole: int) -> str:
    """Wilson's interval at 95 per cent for a share of a sample."""
    if not whole:
        return "-"
    z, p = 1.96, part / whole
    middle = (p + z * z / (2 * whole)) / (1 + z * z / whole)
    half = z * math.sqrt(p * (1 - p) / whole + z * z / (4 * whole**2)) / (1 + z * z / whole)
    return f"{100 * (middle - half):.1f} to {100 * (middle + half):.1f}"


def table(rows: Iterable[tuple[str, int, list[Result]]], known: set[Any]) -> str:
    """The figures as a table: a row a group, and one for all."""
    lines = [
        "| modules | mutants | tried | killed | timed out | equivalent | survived | per cent |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    rows = list(rows)
    every = [one for _, _, results in rows for one in results]
    for name, number, results in [*rows, ("all", sum(n for _, n, _ in rows), every)]:
        counts = {word: sum(one.verdict == word for one in results) for word in (KILLED, TIMED_OUT)}
        alive = [one for one in results if one.verdict == SURVIVED]
        same = sum(one.mutant.key in known for one in alive)
        killed = sum(counts.values())
        text = share(killed, len(results) - same)
        if len(results) < number:
            text += f" ({between(killed, len(results) - same)})"
        figures = (number, len(results), *counts.values(), same, len(alive) - same, text)
        lines.append(f"| {name} | " + " | ".join(str(one) for one in figures) + " |")
    return "\n".join(lines)


def main(words: Sequence[str]) -> int:
    """Try mutants, print the figures and the survivors."""
    parser = argparse.ArgumentParser(prog="python -m tests.biting.run", description=__doc__)
    parser.add_argument("--sample", type=int, help="so many mutants, not all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--group", action="append", choices=GROUPS)
    parser.add_argument("--file", action="append", help="modules whose path holds this")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--judged", action="store_true", help="try those judged equivalent too")
    parser.add_argument("--kept", type=Path, default=Path("build/biting"), help="where maps are")
    parser.add_argument("--survivors", type=Path, help="write them here, as TOML to be judged")
    parser.add_argument("--only", type=Path, help="those of such a file alone")
    options = parser.parse_args(words)
    if os.environ.get("PYTHONHASHSEED") != "0":
        # Sets are walked in the same order each time.
        os.execve(
            sys.executable,
            [sys.executable, "-m", "tests.biting.run", *words],
            {**os.environ, "PYTHONHASHSEED": "0"},
        )
    map_ = watched(options.group or GROUPS, options.kept)
    every = {
        group: [
            mutant
            for file in files_of(group)
            if any(part in file for part in options.file or ("",))
            for mutant in mutants(file)
        ]
        for group in options.group or GROUPS
    }
    pool = [(group, mutant) for group, some in every.items() for mutant in some]
    if options.only:
        rows = tomllib.loads(options.only.read_text(encoding="utf-8")).get("mutant", [])
        keys = {(row["file"], row["in"], row["line"], row["change"]) for row in rows}
        pool = [(group, mutant) for group, mutant in pool if mutant.key in keys]
    if options.sample and options.sample < len(pool):
        numbers = Random(options.seed).sample(range(len(pool)), options.sample)
        pool = [pool[number] for number in sorted(numbers)]
    known = set(judged())
    print(f"seed {options.seed}; {len(pool)} of {sum(map(len, every.values()))} mutants")
    print(f"{len(map_['seconds'])} tests")
    for name in map_["left_out"]:
        print(f"not run: {name} fails or is skipped without a mutant")
    results = tried(pool, map_, options.jobs, options.kept, options.judged)
    by_group = [
        (
            group,
            len(some),
            [one for (name, _), one in zip(pool, results, strict=True) if name == group],
        )
        for group, some in every.items()
    ]
    alive = [one.mutant for one in results if one.verdict == SURVIVED]
    for one in alive:
        if one.key not in known:
            print(f"{one.file}:{one.line} in {one.where}: {one.change}", flush=True)
    if not (options.group or options.file):
        for key in known - {mutant.key for some in every.values() for mutant in some}:
            print(f"judged equivalent, but no mutant any more: {key}")
    for one in results:
        if one.verdict != SURVIVED and one.mutant.key in known:
            print(f"judged equivalent, yet {one.test} tells it: {one.mutant.key}")
    print(table(by_group, known))
    if options.survivors:
        options.survivors.write_text(
            "\n".join(_row(one) for one in alive if one.key not in known), encoding="utf-8"
        )
    return 0


def _row(mutant: Mutant) -> str:
    words = {
        "file": mutant.file,
        "in": mutant.where,
        "line": mutant.text,
        "change": mutant.change,
        "why": "",
    }
    return "[[mutant]]\n" + "".join(
        f"{name} = {json.dumps(word, ensure_ascii=False)}\n" for name, word in words.items()
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
