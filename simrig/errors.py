"""What went wrong, and who must act.

One root, one class for each person who must act.  Every error carries all of
its problems: a reader collects them, then raises once.
"""

from __future__ import annotations

from collections.abc import Iterable

import attrs


@attrs.frozen(kw_only=True)
class Problem:
    """One thing that must be mended, and where.

    ``file`` is a path or a word such as ``command line``; ``line`` counts from
    1, or is None where a line makes no sense; ``where`` names the table, key or
    option; ``message`` says what was found, what is wanted, what to do next.
    ``rule`` names the vetting rule that it breaks, where there is one.
    """

    file: str
    line: int | None = None
    where: str
    message: str
    rule: str = ""

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return f"{place}: {_printable(self.where)}: {_printable(self.message)}"


_LONGEST = 800


def _printable(text: str) -> str:
    """Text on one line, with signs that cannot be printed spelt out, cut where it is very long.

    What was found in a file may hold anything, control signs of the screen included.
    """
    if len(text) > _LONGEST:
        text = f"{text[:_LONGEST]} ..."
    if text.isprintable():
        return text
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode("ascii")
        for sign in text
    )


class SimrigError(Exception):
    """The root of everything that simrig raises on purpose."""

    exit_code = 2

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        if not self.problems:
            raise ValueError("an error without a problem tells nobody what to do")
        super().__init__("\n".join(str(problem) for problem in self.problems))


class ProfileError(SimrigError):
    """The author of a machine profile must act."""


class InputError(SimrigError):
    """The person at the machine must act: an option, a sheet, a log, a scenario."""


class PluginError(SimrigError):
    """The author of a plug-in must act."""

    exit_code = 3
