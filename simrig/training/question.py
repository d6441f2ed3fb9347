"""A question: its words, every right answer, and why."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

import attrs

FORMS: Final = ("number", "names", "choice")
LETTERS: Final = "abcdefgh"
NONE: Final = "none"


@attrs.frozen(kw_only=True)
class Marked:
    """What became of an answer; ``understood`` is False for what is no answer to the question."""

    right: bool
    understood: bool
    words: str


def _words(question: Question, attribute: attrs.Attribute[Any], value: object) -> None:
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"its {attribute.name} is {value!r}; wanted words")


@attrs.frozen(kw_only=True)
class Question:
    """One question about one machine.

    ``form`` is number, names (of sensors, with commas; none) or choice (a letter).
    ``right`` holds every right answer as :func:`plain` writes it.  ``costs`` gives for
    each choice the minutes that it costs over the best, where that is what counts.
    ``level`` is 1 to 3.  ``why`` is a clause without its full stop.  The same ``id`` is
    always the same question.

    Raises ValueError for a question that cannot be asked or answered.
    """

    id: str = attrs.field(validator=_words)
    topic: str = attrs.field(validator=_words)
    level: int = attrs.field(validator=attrs.validators.in_((1, 2, 3)))
    form: str = attrs.field(validator=attrs.validators.in_(FORMS))
    text: str = attrs.field(validator=_words)
    choices: tuple[str, ...] = attrs.field(default=())
    right: frozenset[str] = attrs.field()
    why: str = attrs.field(validator=_words)
    costs: Mapping[str, float] = attrs.field(factory=dict)

    @choices.validator
    def _as_many_as_letters(self, _: object, value: object) -> None:
        sound = isinstance(value, tuple) and all(isinstance(one, str) and one for one in value)
        many = range(2, len(LETTERS) + 1) if self.form == "choice" else range(1)
        if not sound or len(value) not in many:  # type: ignore[arg-type]
            wanted = f"2 to {len(LETTERS)} texts" if self.form == "choice" else "none for its form"
            raise ValueError(f"{self.id}: its choices are {value!r}; wanted a tuple, {wanted}")

    @right.validator
    def _can_be_answered(self, _: object, value: object) -> None:
        if not isinstance(value, frozenset) or not value:
            raise ValueError(f"{self.id}: no answer is right; wanted a frozenset of texts")
        strange = [one for one in value if not isinstance(one, str) or plain(self.form, one) != one]
        if strange:
            raise ValueError(f"{self.id}: {strange[0]!r} is no {self.form} as answers are compared")
        if self.choices and not value < set(LETTERS[: len(self.choices)]):
            raise ValueError(f"{self.id}: every choice is right, or one that is not there")

    @property
    def answer(self) -> str:
        """A right answer in words."""
        one = sorted(self.right)
        if self.form == "choice":
            return " or ".join(self.choices[LETTERS.index(letter)] for letter in one)
        return " or ".join(one) if self.form == "number" else one[0]

    def mark(self, answer: str) -> Marked:
        """Mark an answer as a person writes it."""
        given = plain(self.form, answer)
        if given is None or (self.choices and given not in LETTERS[: len(self.choices)]):
            wanted = {
                "number": "a number",
                "names": "names of sensors with commas between, or none",
                "choice": f"a letter from a to {LETTERS[max(len(self.choices) - 1, 0)]}",
            }[self.form]
            return Marked(right=False, understood=False, words=f"wanted {wanted}")
        right = given in self.right
        words = "Right." if right else f"Not right: {self.answer}."
        over = self.costs.get(given)
        if over is not None:
            words += f" It costs {over:.1f} minutes over the best on average."
        return Marked(right=right, understood=True, words=words)


def plain(form: str, answer: str) -> str | None:
    """Return an answer in the one way in which it is compared; None where it is none."""
    text = answer.strip().lower()
    if form == "number":
        return str(int(text)) if re.fullmatch(r"[0-9]{1,3}", text) else None
    if form == "choice":
        return text if re.fullmatch(r"[a-h]", text) else None
    if text == NONE:
        return NONE
    names = {word for word in re.split(r"[,;\s]+", text) if word}
    return ",".join(sorted(names)) or None


def names(chosen: object) -> str:
    """Return names as a right answer."""
    return ",".join(sorted(str(one) for one in chosen)) or NONE  # type: ignore[attr-defined]
