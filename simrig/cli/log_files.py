"""Opens a recorded log and reads it piece by piece, with progress."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, BinaryIO

from simrig.cli.context import Context
from simrig.errors import InputError, Problem

if TYPE_CHECKING:
    from simrig.profile.machine import Profile
    from simrig.scan.events import Event

_PIECE = 1 << 16
_TOLD_EVERY = 1 << 22


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    group = parser.add_argument_group("how the log is written")
    group.add_argument(
        "--time-unit", choices=("us", "ms", "s"), help="unit of its times (ms, or as it says)"
    )
    group.add_argument(
        "--one-is", choices=("closed", "open"), help="what 1 means, where a log has 1 and 0"
    )


def events(
    profile: Profile, path: str, arguments: argparse.Namespace, context: Context
) -> Iterator[Event]:
    """Yield the events of a log file, ``-`` for stdin; raises InputError where it cannot be read."""
    from simrig.interchange.logs import read_log

    name = "stdin" if path == "-" else path
    return read_log(
        _pieces(path, context),
        file=name,
        time_unit=arguments.time_unit,
        coils=[coil.id for coil in profile.coil],
        one_is=arguments.one_is,
    )


def _pieces(path: str, context: Context) -> Iterator[bytes]:
    if path == "-":
        yield from _read(sys.stdin.buffer, "stdin", 0, context)
        return
    try:
        file = open(path, "rb")  # noqa: SIM115
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from None
    with file:
        yield from _read(file, path, os.fstat(file.fileno()).st_size, context)


def _read(file: BinaryIO, path: str, size: int, context: Context) -> Iterator[bytes]:
    done = told = 0
    shows = not context.quiet and sys.stderr.isatty()
    try:
        while piece := file.read(_PIECE):
            yield piece
            done += len(piece)
            if shows and done - told >= _TOLD_EVERY:
                told = done
                share = f"{100 * done // size} %" if size else f"{done >> 20} MiB"
                print(f"\rreading {path}: {share}", end="", file=sys.stderr, flush=True)
    except OSError as error:
        raise _unreadable(path, error) from None
    if told:
        print("\r" + " " * (len(path) + 24) + "\r", end="", file=sys.stderr, flush=True)


def _unreadable(path: str, error: Exception) -> InputError:
    reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    message = f"it cannot be read ({reason}); name another file"
    return InputError([Problem(file=path, where="LOG", message=message)])
