"""Finished work kept in a file as it comes, so that a run that is killed goes on where it stopped.

The file is lines of JSON.  The first says whose work it is: what was asked for, and each
machine with the digest of its profile.  Every other is one piece of work, on the disk before
the next is waited for.  A line ends with a check sum; what a killed run, or a computer
without power, left of the last line is cut off and done again.  A file that is anything
else is refused as it is.
"""

from __future__ import annotations

import errno
import json
import os
import stat
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Final
from zlib import crc32

from simrig.errors import InputError, Problem

try:
    import fcntl
except ImportError:  # pragma: no cover - not on every system
    fcntl = None  # type: ignore[assignment]

FORMAT: Final = 1


class Keeping:
    """The file in which a run keeps its finished work.

    ``asked`` is what is done with every machine, in plain values; ``machines`` are the files
    with the digests of their profiles.  Raises InputError, and leaves the file as it is,
    where it keeps other work, is damaged, is in use, or cannot be written.
    """

    def __init__(self, path: Path, asked: Mapping[str, Any], machines: Mapping[str, str]) -> None:
        self.path = path
        self._kept: dict[tuple[str, str], dict[str, Any]] = {}
        head = {"format": FORMAT, "asked": dict(asked), "machines": dict(machines)}
        try:
            self._file = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
        except (OSError, ValueError) as error:
            raise self._unwritable(error) from None
        try:
            if not stat.S_ISREG(os.fstat(self._file).st_mode):
                raise OSError(errno.EINVAL, "it is no plain file")
            self._alone()
            self._begin(head)
        except OSError as error:
            os.close(self._file)
            raise self._unwritable(error) from None
        except InputError:
            os.close(self._file)
            raise

    def __enter__(self) -> Keeping:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        os.close(self._file)

    def __len__(self) -> int:
        return len(self._kept)

    def result(self, machine: str, piece: str) -> dict[str, Any] | None:
        """Return what came of a piece of work on a machine's file; None where it is not kept."""
        return self._kept.get((machine, piece))

    def add(self, machine: str, piece: str, result: Mapping[str, Any]) -> None:
        """Keep what came of a piece of work; on return it is on the disk.

        Raises InputError where it cannot be written.
        """
        line = _line({"machine": machine, "piece": piece, "result": result})
        try:
            self._write(line)
        except OSError as error:
            raise self._unwritable(error) from None

    def _alone(self) -> None:
        """Hold the file for this process; where a file system cannot, it must do without."""
        if fcntl is None:
            return
        try:
            fcntl.lockf(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):
            raise self._refused(
                None, "file", "another run is keeping its work here; wait, or name another file"
            ) from None
        except OSError:
            return

    def _begin(self, head: Mapping[str, Any]) -> None:
        first = _line(head)
        with open(self._file, "rb", closefd=False) as file:
            content = file.read()
        if first.startswith(content):
            # New, or killed while the first line was written.
            os.ftruncate(self._file, 0)
            os.lseek(self._file, 0, os.SEEK_SET)
            self._write(first)
            self._settle_name()
            return
        *lines, torn = content.split(b"\n")
        self._check_first(lines[0] if lines else torn, head)
        for number, line in enumerate(lines[1:], 2):
            found = _read(line)
            if found is None or not found.keys() >= {"machine", "piece", "result"}:
                raise self._refused(
                    number, "line", "found a damaged line; wanted one as simrig wrote it. Take the "
                    "line out: its work is done again",
                )  # fmt: skip
            self._kept[found["machine"], found["piece"]] = found["result"]
        os.ftruncate(self._file, len(content) - len(torn))
        os.lseek(self._file, 0, os.SEEK_END)

    def _check_first(self, line: bytes, head: Mapping[str, Any]) -> None:
        found = _read(line)
        if found is None or found.keys() != head.keys() or found["format"] != FORMAT:
            raise self._refused(
                1, "file", "found something else than kept work; name a file that is not there yet"
            )
        for name, differs in (("asked", _options), ("machines", _files)):
            if found[name] != head[name]:
                words = "; ".join(differs(found[name], head[name]))
                raise self._refused(
                    1, name, f"{words}; name another file, or take this one away to begin anew"
                )

    def _write(self, line: bytes) -> None:
        done = 0
        while done < len(line):
            done += os.write(self._file, line[done:])
        os.fsync(self._file)

    def _settle_name(self) -> None:
        """Have the name of a new file on the disk too, where a folder can be opened."""
        with suppress(OSError):
            folder = os.open(self.path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)

    def _refused(self, line: int | None, where: str, message: str) -> InputError:
        return InputError([Problem(file=str(self.path), line=line, where=where, message=message)])

    def _unwritable(self, error: Exception) -> InputError:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        message = (
            f"it cannot be written ({reason}); what is in it stays; make room, or name another"
        )
        return self._refused(None, "file", message)


def _line(document: Mapping[str, Any]) -> bytes:
    text = json.dumps(document)
    return b'%s, "sum": %d}\n' % (text[:-1].encode("ascii"), crc32(text.encode("ascii")))


def _read(line: bytes) -> dict[str, Any] | None:
    """Return what a line says; None where it is not as it was written."""
    try:
        found = {name: value for name, value in json.loads(line).items() if name != "sum"}
        if _line(found) == line + b"\n":
            return found
    except (ValueError, TypeError, AttributeError, RecursionError):
        pass
    return None


def _options(kept: Mapping[str, Any], asked: Mapping[str, Any]) -> list[str]:
    return [
        f"{name}: {_word(kept.get(name))} there, {_word(asked.get(name))} here"
        for name in {**asked, **kept}
        if kept.get(name) != asked.get(name)
    ]


def _word(value: Any) -> str:
    return "not stated" if value is None else str(value)


def _files(kept: Mapping[str, Any], asked: Mapping[str, Any]) -> list[str]:
    """Tell of three machines at most: all of another shop would be told otherwise."""
    found = [
        f"{name} {'is not asked for now' if name not in asked else 'is new'}"
        if name not in asked or name not in kept
        else f"{name} has changed since"
        for name in {**asked, **kept}
        if kept.get(name) != asked.get(name)
    ]
    return found if len(found) <= 3 else [*found[:3], f"and {len(found) - 3} more"]
