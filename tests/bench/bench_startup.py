"""Start-up of an installed copy: whole processes, by the clock, in turn.

The copy is installed with pip into a virtual environment of its own, made for the run
(the package index is asked for what it depends on), unless ``--installed`` names a
command.  A command's first run fills the caches and is not measured.  ``pytest`` starts
without the plug-ins of others.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from tests.bench.measuring import Effort, FailedError, alternating, equal, tell
from tests.bench.program import alone
from tests.bench.rows import PYTHON, Claim, Found

TITLE = "Start-up: whole processes of an installed copy"
_bare = partial(Claim, peer="bare Python", package=PYTHON, measure="longer")
VERSION = _bare(done="simrig --version", goal=1.25)
MACHINES = _bare(done="simrig machines", goal=10)
EXPECT = Claim(
    done="simrig expect MACHINE", peer="pytest --version", package="pytest",
    measure="longer", goal=0.9,
)  # fmt: skip
CLAIMS = (VERSION, MACHINES, EXPECT)

ROOT = Path(__file__).resolve().parents[2]
SOURCES = ("simrig", "plugins", "pyproject.toml", "README.md", "LICENSE")


def _pip(python: Path, *words: str) -> None:
    ended = subprocess.run([python, "-m", "pip", *words], capture_output=True, text=True)
    if ended.returncode:
        why = (ended.stderr.strip() or "pip says nothing").splitlines()[-1]
        raise FailedError(
            f"no copy could be installed ({why}); name an installed one: --installed PATH"
        )


@contextmanager
def installed(effort: Effort) -> Iterator[Path]:
    """The folder with the command and its interpreter."""
    if effort.installed is not None:
        yield effort.installed.parent
        return
    with tempfile.TemporaryDirectory() as folder:
        tell("  installing a copy into a virtual environment")
        copied = Path(folder) / "copied"
        copied.mkdir()
        for name in SOURCES:
            if (ROOT / name).is_dir():
                unwanted = shutil.ignore_patterns("__pycache__", "*.egg-info", "build")
                shutil.copytree(ROOT / name, copied / name, ignore=unwanted)
            else:
                shutil.copy(ROOT / name, copied)
        made = Path(folder) / "made"
        subprocess.run([sys.executable, "-m", "venv", made], check=True)
        _pip(made / "bin/python", "install", "--quiet", f"{copied}[test]", f"{copied / 'plugins'}")
        yield made / "bin"


def run(effort: Effort) -> Iterator[Found]:
    """Start each and its peer in turn."""
    with installed(effort) as where, tempfile.TemporaryDirectory() as cache:
        environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
        environment |= {"XDG_CACHE_HOME": cache, "XDG_DATA_HOME": cache}
        environment["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"

        def start(*words: str) -> bytes:
            command = [str(where / words[0]), *words[1:]]
            return subprocess.run(
                command, check=True, stdout=subprocess.PIPE, env=environment, cwd=cache
            ).stdout

        for claim, words, peer in (
            (VERSION, ["--version"], ["python", "-c", "pass"]),
            (MACHINES, ["machines"], ["python", "-c", "pass"]),
            (EXPECT, ["expect", "tidal-clockwork"], ["python", "-m", "pytest", "--version"]),
        ):
            # The same from the sources says that it is this version that was installed.
            here = subprocess.run(
                [sys.executable, "-m", "simrig", *words],
                check=True,
                stdout=subprocess.PIPE,
                env={**environment, "PYTHONPATH": os.pathsep.join((str(ROOT), f"{ROOT}/plugins"))},
            ).stdout
            equal(claim.done, start("simrig", *words), here)
            timed = alternating(
                partial(start, "simrig", *words),
                partial(start, *peer),
                rounds=effort.of(31, 1),
                clock=time.perf_counter,
            )
            yield claim.row(timed.longer, **timed.details)


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
