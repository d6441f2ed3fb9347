"""Files made wrong by the thousand: taken, or refused with file and line; never anything else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from random import Random

import attrs
import pytest

from simrig.profile.reader import examine
from tests.mutations import run
from tests.mutations.formats import FORMATS, ROOT, VCD_LOG, judged
from tests.mutations.mutators import mutant
from tests.mutations.run import HangError, limited
from tests.published import published

FULL = bool(os.environ.get("SIMRIG_FULL"))
MUTANTS = 3_000
PROCESSES = 75 if FULL else 5


@pytest.mark.parametrize("name", FORMATS)
def test_samples_are_taken(name: str) -> None:
    """What mutants are made from is sound."""
    for data in FORMATS[name].samples():
        assert judged(FORMATS[name], data, "sample") == ()


@pytest.mark.parametrize("name", FORMATS)
def test_mutants_are_taken_or_refused(name: str) -> None:
    """Each is taken, or refused with file and line in words, within two seconds of work."""
    kind = FORMATS[name]
    samples = kind.samples()
    chance = Random(20)
    taken = sum(
        limited(kind, mutant(chance.choice(samples), chance, samples, kind.rows), "mutant")
        for _ in range(MUTANTS)
    )
    assert MUTANTS // 50 < taken < MUTANTS * 4 // 5


def test_a_hang_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Work without end on one file is stopped and told from a refusal."""
    monkeypatch.setattr(run, "SECONDS", 0.05)

    def endless(data: bytes, file: str) -> tuple[()]:
        while True:
            pass

    kind = attrs.evolve(FORMATS["logs"], take=endless)
    with pytest.raises(HangError):
        limited(kind, b"", "endless")


def test_mutants_are_many_and_the_same_every_time() -> None:
    """The same seed gives the same mutants; most differ from their sample and from each other."""
    samples = FORMATS["profiles"].samples()
    made = [
        [mutant(samples[0], chance, samples, FORMATS["profiles"].rows) for _ in range(200)]
        for chance in (Random(1), Random(1))
    ]
    assert made[0] == made[1]
    assert len(set(made[0])) > 190
    assert samples[0] not in made[0][:100] or made[0].count(samples[0]) < 10


def test_a_timescale_beyond_all_numbers() -> None:
    """A timescale of four hundred digits is refused at its line, and makes no time overflow."""
    data = VCD_LOG.replace(b"1 ms", b"1" + b"9" * 400 + b" ms")
    (problem,) = judged(FORMATS["logs"], data, "long.vcd")
    assert (problem.line, problem.where) == (1, "$timescale")


COMMANDS = {
    "profiles": (["vet", "--fail-on", "note"], (0, 1)),
    "sheets": (["compare", "orchard-signal", "--sheet"], (0, 1, 2)),
    "scenarios": (["run"], (0, 1, 2)),
    "logs": (["replay", "tidal-clockwork"], (0, 1, 2)),
}


@pytest.mark.parametrize("name", COMMANDS)
def test_through_the_real_process(name: str, tmp_path: Path) -> None:
    """The command ends with 0, 1 or 2, and each problem on stderr starts with the file."""
    words, codes = COMMANDS[name]
    kind = FORMATS[name]
    samples = kind.samples()
    chance = Random(4)
    for number in range(PROCESSES):
        data = mutant(chance.choice(samples), chance, samples, kind.rows)
        path = tmp_path / f"m{number}{kind.suffix}"
        path.write_bytes(data)
        ended = subprocess.run(
            [sys.executable, "-m", "simrig", *words, str(path)],
            capture_output=True,
            check=False,
            env={**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'plugins'}"},
            timeout=60,
        )
        told = ended.stderr.decode()
        assert ended.returncode in codes, told
        assert "Traceback" not in told
        if ended.returncode == 2:
            assert all(line.startswith(f"{path}:") for line in told.splitlines()), told
        path.unlink()


def test_public_toml_files_are_profiles_or_refused() -> None:
    """Every file of the public TOML suite, valid or not, is refused as a profile, located."""
    suite = published("toml")
    valid = sorted((suite / "valid").rglob("*.toml"))
    invalid = sorted((suite / "invalid").rglob("*.toml"))
    assert len(valid) > 150
    assert len(invalid) > 300
    listed = set((suite / "files-toml-1.0.0").read_text().split())
    for path in (*valid, *invalid):
        name = path.relative_to(suite).as_posix()
        if name not in listed:
            continue
        profile, problems = examine(path.read_bytes(), name)
        assert profile is None
        assert problems
        rules = {one.rule for one in problems}
        if name.startswith("invalid"):
            assert rules == {"not-toml"}, name
        else:
            assert "not-toml" not in rules, name
