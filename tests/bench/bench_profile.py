"""Reading a profile strictly, with the line of every key, against tomllib alone.

tomllib gives the values and nothing else; simrig also checks every key, every
contradiction, and knows each key's line.  Cold is from the bytes; kept is what every run of
a command after the first does: the file as it was read and found sound, from the cache.
"""

from __future__ import annotations

import os
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import simrig
from simrig.host import kept
from simrig.profile.components import SENSOR_KINDS
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from tests.bench.measuring import Effort, alternating, equal
from tests.bench.program import alone
from tests.bench.rows import PYTHON, Claim, Found

TITLE = "A demo profile: read, checked, every key with its line"
_against = partial(Claim, peer="tomllib, Python", package=PYTHON, measure="longer")
COLD = _against(done="read from the file", goal=5)
KEPT = _against(done="as kept from the run before", goal=1)
CLAIMS = (COLD, KEPT)


def run(effort: Effort) -> Iterator[Found]:
    """Compare, then measure in turn."""
    file = simrig.load("basalt-freight").origin.file
    data = Path(file).read_bytes()
    text = data.decode()

    def cold() -> Profile:
        return read(data, file)

    def by_tomllib() -> object:
        return tomllib.loads(text)

    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_CACHE_HOME"] = folder

        def as_kept() -> Profile:
            return kept.profile(file, data, SENSOR_KINDS)

        first = as_kept()
        located = first.origin.located
        assert located is not None
        equal("values of the file", located().data, by_tomllib())
        equal("profile", as_kept(), first, cold())
        equal("kept files", len(list(Path(folder).rglob("profile-*.json"))), 1)
        for claim, ours in ((COLD, cold), (KEPT, as_kept)):
            timed = alternating(ours, by_tomllib, rounds=effort.of(21, 1))
            yield claim.row(timed.longer, **timed.details, bytes=len(data))


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
