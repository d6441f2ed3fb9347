"""Profiles made from a seed, one file each: ``python -m tests.fleet.make DIR --count 500 --seed 1``.

Each is a machine of its own (of usual size, or ``--small``), drawn by
:mod:`simrig.strategies`: the same seed gives the same files, for one version of
Hypothesis, however many are asked for.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from random import Random

import attrs
from hypothesis import HealthCheck, given, settings

from simrig import strategies
from simrig.interchange import toml_writer
from simrig.profile.machine import Profile

MOST_SWITCHES = 16
"""What a small machine has at most."""

BYTES = 8192
"""Enough to draw any machine from."""


def profile(number: int, seed: int, *, small: bool) -> Profile:
    """Return machine ``number`` of a seed."""
    made = strategies.profiles(full=not small)
    if small:
        made = made.filter(lambda one: len(one.sensor) <= MOST_SWITCHES)
    found: list[Profile] = []

    @settings(database=None, deadline=None, suppress_health_check=list(HealthCheck))
    @given(made)
    def draw(one: Profile) -> None:
        found.append(one)

    # From bytes of our own: what Hypothesis draws by itself depends on the modules loaded.
    chance = Random(f"{seed} {number}")
    while not found:
        draw.hypothesis.fuzz_one_input(chance.randbytes(BYTES))
    return attrs.evolve(found[-1], id=f"made-{seed}-{number:03}")


def write(folder: Path, count: int, seed: int, *, small: bool) -> Iterator[Path]:
    """Write so many profiles into a folder, and yield each path."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        one = profile(number, seed, small=small)
        path = folder / f"{one.id}.toml"
        path.write_text(toml_writer.written(one), encoding="utf-8")
        yield path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, metavar="DIR")
    parser.add_argument("--count", type=int, default=500, metavar="N")
    parser.add_argument("--seed", type=int, default=1, metavar="N")
    parser.add_argument("--small", action="store_true", help="up to 16 switches, for quick tests")
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}")
    written = list(write(chosen.folder, chosen.count, chosen.seed, small=chosen.small))
    print(f"{len(written)} profiles in {chosen.folder}")


if __name__ == "__main__":
    main()
