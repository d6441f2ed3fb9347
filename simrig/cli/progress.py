"""How far a long command is, on stderr: a line that changes at a terminal, few lines in a pipe."""

from __future__ import annotations

import sys
from typing import Final

LINES: Final = 10
"""About so many lines go into a pipe."""


class Progress:
    """Tells how much is done; nothing when the command is to be quiet."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet
        self._changing = sys.stderr.isatty()
        self._width = 0
        self._tenth = 0

    def tell(self, words: str, done: float) -> None:
        """Tell how far it is; ``done`` is the share, 1 at the end."""
        if self._quiet:
            return
        if self._changing:
            print(f"\r{words:{self._width}}", end="", file=sys.stderr, flush=True)
            self._width = len(words)
        elif int(done * LINES) > self._tenth:
            self._tenth = int(done * LINES)
            print(words, file=sys.stderr, flush=True)

    def end(self) -> None:
        """Leave the line that changes, so that what follows stands on its own."""
        if self._width:
            print(file=sys.stderr)
            self._width = 0
