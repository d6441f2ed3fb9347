"""All benches: python -m tests.bench [--only NAME] [--quick] [--json FILE] [--readme].

Each runs in a process of its own, one after the other, so that none pays for what
another has loaded.  Prints the table of all rows; 1 where a bench failed: answers that
differ, a peer that is not installed, an error.  A goal that is missed is shown, and is no
failure of the bench.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Sequence
from pathlib import Path

from tests.bench import registry, report
from tests.bench.documents import document, outcomes
from tests.bench.measuring import tell
from tests.bench.program import options
from tests.bench.rows import Outcome

ROOT = Path(__file__).resolve().parents[2]


def _in_its_own_process(name: str, words: Sequence[str], folder: Path) -> Outcome:
    file = folder / f"{name}.json"
    paths = [str(ROOT), os.environ.get("PYTHONPATH", "")]
    ended = subprocess.run(
        [sys.executable, "-m", f"tests.bench.bench_{name}", "--json", str(file), *words],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
        stdout=subprocess.DEVNULL,
    )
    if not file.exists():
        why = f"it ended with exit code {ended.returncode}; the error stands above"
        return Outcome(name=name, title=name, failure=why)
    (outcome,) = outcomes(json.loads(file.read_text(encoding="utf-8")))
    return outcome


def run_all(names: Iterable[str], words: Sequence[str]) -> list[Outcome]:
    """Run the benches one after the other; progress goes to stderr."""
    names = list(names)
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for number, name in enumerate(names, 1):
            tell(f"{number} of {len(names)}: {name}")
            found.append(_in_its_own_process(name, words, Path(folder)))
    return found


def _kept(files: Iterable[Path]) -> tuple[list[Outcome], str]:
    """Return what files have kept, in the order of the registry, and where it was found."""
    by_name: dict[str, Outcome] = {}
    here: dict[str, None] = {}
    for file in files:
        read = json.loads(file.read_text(encoding="utf-8"))
        by_name |= {one.name: one for one in outcomes(read)}
        here[read["here"]] = None
    found = sorted(by_name.values(), key=lambda one: registry.BENCHES.index(one.name))
    return found, "\n".join(here)


def _here(load: float, seconds: float) -> str:
    return (
        f"{os.cpu_count()} cores, load {load:.1f} at the start,"
        f" Python {platform.python_version()}; {seconds / 60:.0f} minutes."
    )


def main(words: list[str] | None = None) -> int:
    """Run what was asked for, print the table; 1 where a bench failed."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    options(parser)
    parser.add_argument("--only", action="append", choices=registry.BENCHES, metavar="NAME",
                        help=f"only this one, repeatable: {', '.join(registry.BENCHES)}")  # fmt: skip
    parser.add_argument("--readme", action="store_true",
                        help="print the block that stands in the README")  # fmt: skip
    parser.add_argument("--from", dest="kept", action="append", type=Path, metavar="FILE",
                        help="run nothing: show what --json FILE has kept; repeatable,"
                        " for a bench in several the last counts")  # fmt: skip
    chosen = parser.parse_args(words)
    load, start = os.getloadavg()[0], time.monotonic()
    if chosen.kept is not None:
        found, here = _kept(chosen.kept)
    else:
        passed = ["--quick"] if chosen.quick else []
        if chosen.installed is not None:
            passed += ["--installed", str(chosen.installed.absolute())]
        names = [name for name in registry.BENCHES if name in (chosen.only or registry.BENCHES)]
        found = run_all(names, passed)
        here = _here(load, time.monotonic() - start)
    text = f"{report.text(found)}\n\n{here}"
    print(f"```text\n{text}\n```" if chosen.readme else text)
    if chosen.json is not None:
        whole = {**document(found), "here": here}
        chosen.json.write_text(json.dumps(whole, indent=1), encoding="utf-8")
    return 1 if any(one.failure for one in found) else 0


if __name__ == "__main__":
    sys.exit(main())
