"""Finished work kept: nothing of it is lost, and nothing else is taken for it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from simrig.errors import InputError
from simrig.fleet.keeping import Keeping

ASKED = {"singles": 3, "seed": 0, "examples": None}
MACHINES = {"a.toml": "11", "b.toml": "22"}
WORK = {("a.toml", "trials 0"): {"minutes": 0.1}, ("b.toml", "trials 0"): {"words": "é\n"}}


def keep(path: Path) -> Keeping:
    """The file of the work above."""
    return Keeping(path, ASKED, MACHINES)


def fill(path: Path) -> bytes:
    """Keep the work above, and return the file."""
    with keep(path) as keeping:
        for (machine, piece), result in WORK.items():
            keeping.add(machine, piece, result)
    return path.read_bytes()


def found(path: Path) -> dict[tuple[str, str], object]:
    """What of the work above is kept."""
    with keep(path) as keeping:
        return {key: result for key in WORK if (result := keeping.result(*key)) is not None}


def refusal(path: Path, *, asked: object = ASKED, machines: object = MACHINES) -> str:
    """Why a file is refused; it is left as it was."""
    before = path.read_bytes() if path.is_file() else None
    with pytest.raises(InputError) as refused:
        Keeping(path, asked, machines)  # type: ignore[arg-type]
    assert before is None or path.read_bytes() == before
    return str(refused.value)


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    """Results come back as they were, and more can be added."""
    fill(tmp_path / "kept")
    assert found(tmp_path / "kept") == WORK
    with keep(tmp_path / "kept") as keeping:
        keeping.add("a.toml", "trials 1", {})
        assert len(keeping) == 2
    with keep(tmp_path / "kept") as keeping:
        assert len(keeping) == 3


def test_a_torn_line_is_done_again_wherever_it_is_torn(tmp_path: Path) -> None:
    """Cut at every byte, each whole line stays, and what is added after the cut is whole too."""
    path = tmp_path / "kept"
    content = fill(path)
    for length in range(len(content) + 1):
        path.write_bytes(content[:length])
        whole = max(0, content[:length].count(b"\n") - 1)
        assert list(found(path)) == list(WORK)[:whole], length
        if length % 20 == 0:
            assert fill(path).endswith(content.splitlines(keepends=True)[-1])
            assert found(path) == WORK


def test_a_tail_of_zeros_is_a_torn_line(tmp_path: Path) -> None:
    """What a computer without power leaves of a line is cut off."""
    content = fill(tmp_path / "kept")
    (tmp_path / "kept").write_bytes(content + bytes(500))
    assert found(tmp_path / "kept") == WORK
    assert (tmp_path / "kept").read_bytes() == content


def test_a_damaged_line_is_refused_with_its_number(tmp_path: Path) -> None:
    """One digit changed anywhere in a whole line is found, and told at that line."""
    path = tmp_path / "kept"
    content = fill(path)
    place = content.index(b"0.1")
    path.write_bytes(content[:place] + b"0.2" + content[place + 3 :])
    assert f"{path}:2: line: found a damaged line" in refusal(path)


@pytest.mark.parametrize(
    ("asked", "machines", "words"),
    [
        ({**ASKED, "singles": 4}, MACHINES, ":1: asked: singles: 3 there, 4 here;"),
        ({**ASKED, "examples": 9}, MACHINES, ":1: asked: examples: not stated there, 9 here;"),
        (ASKED, {**MACHINES, "b.toml": "23"}, ":1: machines: b.toml has changed since;"),
        (ASKED, {"a.toml": "11"}, ":1: machines: b.toml is not asked for now;"),
        (ASKED, {**MACHINES, "c.toml": "33"}, ":1: machines: c.toml is new;"),
    ],
)
def test_the_work_of_another_run_is_refused(
    tmp_path: Path, asked: object, machines: object, words: str
) -> None:
    """Other options, changed profiles, other machines: told with file and line, nothing lost."""
    fill(tmp_path / "kept")
    told = refusal(tmp_path / "kept", asked=asked, machines=machines)
    assert f"{tmp_path / 'kept'}{words}" in told
    assert "name another file" in told


@pytest.mark.parametrize("content", [b"title\n", b"{}\n", b"{}", b"[1]\n{}\n", b"\xff\n", b"x"])
def test_a_file_of_something_else_is_refused(tmp_path: Path, content: bytes) -> None:
    """It stays as it is, with or without a whole line."""
    (tmp_path / "kept").write_bytes(content)
    assert "found something else than kept work" in refusal(tmp_path / "kept")


def test_a_file_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A folder, a folder that is not there, and what is no plain file."""
    for path in (tmp_path, tmp_path / "no" / "kept", Path(os.devnull)):
        assert "it cannot be written" in refusal(path)


def test_two_runs_never_keep_in_one_file(tmp_path: Path) -> None:
    """While one process keeps its work in a file another is refused; then it is free."""
    code = (
        "import sys; from pathlib import Path; from simrig.fleet.keeping import Keeping\n"
        f"Keeping(Path(sys.argv[1]), {ASKED!r}, {MACHINES!r}); print(flush=True); sys.stdin.read()"
    )
    path = tmp_path / "kept"
    root = str(Path(__file__).parents[2])
    other = subprocess.Popen(
        [sys.executable, "-c", code, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join((root, os.environ.get("PYTHONPATH", "")))},
    )  # fmt: skip
    assert other.stdout is not None
    other.stdout.readline()
    assert "another run is keeping its work here" in refusal(path)
    other.communicate()
    assert found(path) == {}
