"""Writes what a command makes to the file that somebody named."""

from __future__ import annotations

from pathlib import Path

from simrig.cli.context import Context
from simrig.errors import InputError, Problem


def write(file: str, text: str, context: Context) -> None:
    """Write a text to a file, or to stdout for ``-``; raises InputError where it cannot be written."""
    if file == "-":
        context.out.write(text)
        return
    try:
        Path(file).write_text(text, encoding="utf-8")
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        message = f"it cannot be written ({reason}); name a file in a folder where you may write"
        raise InputError([Problem(file=file, where="file", message=message)]) from None
    if context.json:
        context.answer({"written": file})
    elif not context.quiet:
        context.say(f"Written: {file}")
