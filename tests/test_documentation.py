"""What the documents show is what the tool says."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from simrig.cli.main import main

ROOT = Path(__file__).parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def _shown() -> Iterator[tuple[str, str, str]]:
    """Each command that a document shows with its output."""
    for name in DOCUMENTS:
        for block in BLOCK.findall((ROOT / name).read_text(encoding="utf-8")):
            for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
                command, _, output = part.partition("\n")
                yield name, command, output


@pytest.mark.parametrize(("document", "command", "output"), list(_shown()))
def test_shown_output_is_real(
    document: str,
    command: str,
    output: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """A block that shows a command shows all that it prints."""
    monkeypatch.chdir(ROOT)
    # Chances stand on the shop's record where there is one: here there is none.
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    program, *words = shlex.split(command)
    assert program == "simrig"
    main(words)
    printed = capsys.readouterr().out
    assert [line.rstrip() for line in printed.strip().splitlines()] == [
        line.rstrip() for line in output.strip().splitlines()
    ]
