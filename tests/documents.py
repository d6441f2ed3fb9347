"""The documents of the project, block by block.

``python -m tests.documents`` writes the output that README.md and DEVELOPERS.md show
anew, from the tool as it is.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import attrs

ROOT: Final = Path(__file__).parents[1]
DOCUMENTS: Final = ("README.md", "DEVELOPERS.md")
_FENCED = re.compile(r"^```(?P<mark>[^\n`]*)\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL)
_NEW = re.compile(r"# new: (?P<path>\S+)")
_PART = re.compile(r"# (?P<path>\S+), (?:at the (?P<end>end)|(?P<side>after|before): (?P<line>.+))")


def document(name: str) -> str:
    """Return the text of a document."""
    return (ROOT / name).read_text(encoding="utf-8")


@attrs.frozen(kw_only=True)
class Block:
    """A fenced block: the words behind its fence, the heading above it, where it stands."""

    document: str
    line: int
    mark: str
    heading: str
    text: str

    @property
    def language(self) -> str:
        """The first word behind the fence."""
        return self.mark.partition(" ")[0]

    @property
    def is_recipe(self) -> bool:
        """Whether its first line says into which file it goes, and where."""
        first = self.text.partition("\n")[0]
        return bool(_NEW.fullmatch(first) or _PART.fullmatch(first))

    def __str__(self) -> str:
        return f"{self.document}:{self.line}"


def blocks() -> list[Block]:
    """Return every fenced block of the documents, in order."""
    found = []
    for name in DOCUMENTS:
        text = document(name)
        for match in _FENCED.finditer(text):
            before = text[: match.start()]
            headings = re.findall(r"^#+ (.*)$", _FENCED.sub("", before), re.MULTILINE)
            found.append(
                Block(
                    document=name,
                    line=before.count("\n") + 1,
                    mark=match["mark"].strip(),
                    heading=headings[-1],
                    text=match["text"],
                )
            )
    return found


def section(name: str, heading: str) -> str:
    """Return what stands under a heading of a document, to the next of its rank."""
    text = document(name)
    start = re.search(rf"^(#+) {re.escape(heading)}$", text, re.MULTILINE)
    assert start is not None, f"{name} has no heading {heading!r}"
    rest = text[start.end() :]
    end = re.search(rf"^#{{1,{len(start[1])}}} ", _without_blocks(rest), re.MULTILINE)
    return rest[: end.start()] if end else rest


def _without_blocks(text: str) -> str:
    """Blank out the blocks, each character by one: a comment there is no heading."""
    return _FENCED.sub(lambda match: re.sub(r"[^\n]", " ", match[0]), text)


def apply(block: Block, folder: Path) -> str:
    """Put a block where its first line says, below a folder; return the path of the file."""
    first, _, text = block.text.partition("\n")
    if new := _NEW.fullmatch(first):
        path = folder / new["path"]
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
        return new["path"]
    part = _PART.fullmatch(first)
    assert part is not None, f"{block}: its first line names no file"
    path = folder / part["path"]
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    if part["end"]:
        place = len(lines)
    else:
        places = [i for i, line in enumerate(lines) if line.strip() == part["line"].strip()]
        assert len(places) == 1, f"{block}: {part['line']!r} stands {len(places)} times in {path}"
        place = places[0] + (part["side"] == "after")
    lines[place:place] = [text]
    path.write_text("".join(lines), encoding="utf-8")
    return part["path"]


def shown() -> Iterator[tuple[Block, str, str]]:
    """Yield each command that a document shows, with its output."""
    for block in blocks():
        if block.language == "console":
            for part in re.split(r"^\$ ", block.text, flags=re.MULTILINE)[1:]:
                command, _, output = part.partition("\n")
                yield block, command, output


def printed(command: str) -> str:
    """Return what a command prints that a document shows, without blanks at the ends of lines."""
    from simrig.cli.main import main

    program, *words = shlex.split(command)
    assert program == "simrig"
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.chdir(ROOT):
        main(words)
    return "\n".join(line.rstrip() for line in out.getvalue().strip("\n").splitlines()) + "\n"


def refreshed(name: str) -> str:
    """Return a document with the output of every command that it shows as it is now."""

    def anew(match: re.Match[str]) -> str:
        if match["mark"] != "console":
            return match[0]
        commands = re.findall(r"^\$ (.*)$", match["text"], re.MULTILINE)
        shown = "\n".join(f"$ {command}\n{printed(command)}" for command in commands)
        return f"```console\n{shown}```"

    return _FENCED.sub(anew, document(name))


def main() -> None:
    """Write the documents anew."""
    for name in DOCUMENTS:
        text = refreshed(name)
        if text != document(name):
            (ROOT / name).write_text(text, encoding="utf-8")
            print(f"{name} is written anew")


if __name__ == "__main__":
    # Chances stand on the shop's record where there is one: here there is none.
    with tempfile.TemporaryDirectory() as nothing:
        os.environ["XDG_DATA_HOME"] = nothing
        main()
