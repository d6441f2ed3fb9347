"""Questions out, answers in: what ``simrig begin`` asks with."""

from __future__ import annotations

import sys
from collections.abc import Callable

from simrig.cli.context import Context


class Talk:
    """Questions out, answers in: at a terminal, or line by line from a pipe.

    ``stopped`` when no more answers come; ``refused`` when the last answer that
    came could not be taken.
    """

    def __init__(self, context: Context) -> None:
        self._out = sys.stderr if context.json else context.out
        # With --json at a terminal nobody waits for questions.
        self.stopped = context.json and sys.stdin.isatty()
        self.refused = False
        if hasattr(sys.stdin, "reconfigure"):
            sys.stdin.reconfigure(errors="replace")

    def say(self, text: str) -> None:
        """Write lines for the person who answers."""
        print(text, file=self._out, flush=True)

    def ask(self, prompt: str, take: Callable[[str], None]) -> bool:
        """Ask until an answer is taken; False when none comes any more.

        ``take`` raises ValueError, in words, for an answer that cannot be.
        """
        while not self.stopped:
            print(prompt, end="", file=self._out, flush=True)
            line = sys.stdin.readline()
            words = " ".join(line.split())
            if not line or words.lower() in ("stop", "quit", "exit", "later"):
                print(file=self._out, flush=True)
                self.stopped = True
                break
            if not words:
                self.say('  Say something, "don\'t know", or "stop" to go on later.')
                continue
            try:
                take(words)
            except ValueError as error:
                self.refused = True
                self.say(f"  Not taken: {error}.")
                continue
            self.refused = False
            return True
        return False
