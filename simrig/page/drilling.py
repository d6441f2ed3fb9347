"""A trainee's drill on the page.

Nothing is kept between two questions but what stands in the link: machine, seed,
number, how many were right.  A lost connection or a restarted server loses nothing.  With
initials each answer goes into the shop's record at once.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any, Final

from simrig.errors import SimrigError
from simrig.page.desk import Desk
from simrig.page.rendering import render
from simrig.training.asking import drawn, levels
from simrig.training.question import LETTERS, Question
from simrig.training.subject import Subject

MOST: Final = 999
QUESTIONS: Final = 10


class Drilling:
    """The drill of one desk; safe to use from several threads."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._lock = threading.Lock()
        self._subjects: dict[str, Subject] = {}

    def choose(self, seed: int) -> str:
        """Return the page on which a machine is chosen."""
        return render(
            "drill.html",
            title="simrig: drill",
            script=False,
            machines=self.desk.machines(),
            seed=seed,
            one=None,
            marked=None,
            link="",
        )

    def ask(self, machine: str, place: Mapping[str, str], answer: str | None) -> str | None:
        """Return the page of a question, marked where it was answered; None: there is none.

        ``place`` holds seed, number, right and who, as the link has them.
        """
        seed, number, right = (_whole(place.get(name)) for name in ("seed", "number", "right"))
        who = place.get("who", "").strip()[:8]
        one = self._question(machine, seed, number)
        if one is None:
            return None
        marked = None if answer is None else one.mark(answer)
        trouble = ""
        if marked is not None and marked.understood:
            right += marked.right
            trouble = self._file(one, who, right=marked.right)
        return render(
            "drill.html",
            title="simrig: drill",
            script=False,
            machines=[],
            seed=seed,
            one=one,
            number=number,
            last=number + 1 >= QUESTIONS,
            of=QUESTIONS,
            right=right,
            who=who,
            choices=list(zip(LETTERS, one.choices, strict=False)),
            marked=marked,
            trouble=trouble,
            machine=machine,
        )

    def _question(self, machine: str, seed: int, number: int) -> Question | None:
        with self._lock:
            if machine not in self._subjects:
                if not self.desk.readable(machine):
                    return None
                self._subjects[machine] = Subject(profile=self.desk.machine(machine)[0])
        subject = self._subjects[machine]
        names = list(levels([subject]))
        # With more topics than questions in a round, each seed begins at another one.
        first = number if len(names) <= QUESTIONS else number + seed
        for turn in range(len(names)):
            topic = names[(first + turn) % len(names)]
            found = drawn(subject, topic, seed * 1000 + number)
            if found is not None:
                return found
        return None

    def _file(self, one: Question, who: str, *, right: bool) -> str:
        if not who:
            return ""
        from simrig import history

        try:
            with history.open_store(self.desk.store, write=True) as store:
                history.add_answer(
                    store, trainee=who, topic=one.topic, item=one.id, right=right,
                    now=self.desk.clock(),
                )  # fmt: skip
        except SimrigError as error:
            return f"Not kept in the record: {error}"
        return ""


def _whole(text: Any) -> int:
    """Return a number of a link; what is none counts as 0."""
    if isinstance(text, str) and text.isascii() and text.isdigit() and len(text) < 10:
        return min(int(text), 10**9)
    return 0
