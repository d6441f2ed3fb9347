"""``simrig drill``: questions made from the machines at hand, marked at once and explained."""

from __future__ import annotations

import argparse
import datetime
import random
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simrig.cli.context import Context, wrong
from simrig.reports import wording

if TYPE_CHECKING:
    from simrig.training.question import Question
    from simrig.training.subject import Subject

HANDS_ON = "hands-on"
COUNT = 10
MOST = 2000
RISE = 4
"""So many right answers in a row, and questions of the next level are asked too."""
FALL = 3
HELP = "  ? help   s skip   u take the last answer back   q leave"


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "machine", metavar="MACHINE", nargs="?", help="id or file; all at hand when left out"
    )
    parser.add_argument(
        "--topic", action="append", default=[], metavar="TOPIC",
        help="only this topic (repeatable); --topic help lists them",
    )  # fmt: skip
    parser.add_argument("--count", default=None, metavar="N", help=f"so many questions ({COUNT})")
    parser.add_argument(
        "--seed", default=None, metavar="N", help="the same seed, the same questions"
    )
    parser.add_argument("--print", action="store_true", help="a sheet, its answers on another page")
    parser.add_argument(
        "--who", default="", metavar="INITIALS", help="keep boxes and level in the shop's record"
    )
    parser.add_argument("--store", metavar="FILE", help="the record, if not the usual one")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Ask, or print; 0 when all was answered rightly, 1 otherwise."""
    from simrig.training.asking import levels, questions
    from simrig.training.subject import Subject

    names = (
        [arguments.machine]
        if arguments.machine
        else sorted({one.id for one in context.catalogue.machines()})
    )
    subjects = [Subject(profile=context.profile(name)) for name in names]
    known = levels(subjects)
    if "help" in arguments.topic:
        for name, level in known.items():
            context.say(f"  {name:16} level {level}")
        context.say(f"  {HANDS_ON:16} a hidden fault on a simulated machine")
        return 0
    strange = [name for name in arguments.topic if name not in known and name != HANDS_ON]
    if strange:
        raise wrong(
            "--topic", f'no topic is called "{strange[0]}"; known: {", ".join(known)}, {HANDS_ON}'
        )
    count = _number("--count", arguments.count, COUNT, MOST)
    seed = _number("--seed", arguments.seed, random.SystemRandom().randrange(1_000_000), 10**9)
    if not subjects:
        raise wrong("MACHINE", "no machine is at hand; name a profile file")
    if HANDS_ON in arguments.topic:
        from simrig.cli.drill_hands_on import session as hands_on

        return hands_on(subjects[0].profile, seed, context)
    topics = arguments.topic or None
    if context.json or arguments.print:
        drawn = list(islice(questions(subjects, seed, topics=topics), count))
        if context.json:
            context.answer({"seed": seed, "questions": [_document(one) for one in drawn]})
        else:
            _print(drawn, seed, context)
        return 0
    return _Session(subjects, topics, seed, count, arguments, context).run()


def _number(option: str, text: str | None, usual: int, most: int) -> int:
    if text is None:
        return usual
    if text.isascii() and text.isdigit() and len(text) < 10 and int(text) <= most:
        return int(text)
    raise wrong(option, f'found "{text}"; wanted a whole number from 0 to {most}')


def _document(one: Question) -> dict[str, Any]:
    return {
        "id": one.id,
        "topic": one.topic,
        "level": one.level,
        "text": one.text,
        "choices": list(one.choices),
        "answer": one.answer,
        "right": sorted(one.right),
        "why": one.why,
    }


def _lines(one: Question) -> list[str]:
    from simrig.training.question import LETTERS

    found = [wording.folded(one.text)]
    for letter, choice in zip(LETTERS, one.choices, strict=False):
        found.append(wording.folded(f"  {letter}  {choice}", "     "))
    return found


def _print(drawn: list[Question], seed: int, context: Context) -> None:
    context.say(f"Questions (seed {seed})\n")
    for number, one in enumerate(drawn, 1):
        context.say(f"{number}.")
        for line in _lines(one):
            context.say(line)
        context.say("   Answer: ______________________\n")
    context.say(f"\fAnswers (seed {seed})\n")
    for number, one in enumerate(drawn, 1):
        context.say(wording.folded(f"{number}. {one.answer}: {one.why}.", "   "))


class _Session:
    """One trainee at the questions; every answer is kept as soon as it is given."""

    def __init__(
        self,
        subjects: list[Subject],
        topics: list[str] | None,
        seed: int,
        count: int,
        arguments: argparse.Namespace,
        context: Context,
    ) -> None:
        self.subjects = {one.profile.id: one for one in subjects}
        self.topics = topics
        self.context = context
        self.who: str = arguments.who
        self.path = None if arguments.store is None else Path(arguments.store)
        self.progress: dict[str, Any] = {
            "seed": seed, "count": count, "topics": topics, "level": 1, "given": [],
        }  # fmt: skip

    def run(self) -> int:
        kept = self._kept()
        if kept is not None:
            self.progress = kept
            done = len(self.progress["given"])
            self.context.say(f"Going on at question {done + 1} of {self.progress['count']}.")
        self.context.say(f"Seed {self.progress['seed']}.")
        while len(self.progress["given"]) < self.progress["count"]:
            one = self._next()
            if one is None:
                self.context.say("These machines give no more questions on that.")
                break
            if not self._ask(one):
                self._save()
                if self.who:
                    self.context.say("Left; the same command goes on from here.")
                break
        else:
            self._end()
        self._summary()
        given = self.progress["given"]
        return 0 if given and all(one["right"] for one in given) else 1

    def _next(self) -> Question | None:
        from simrig.training.asking import again, questions

        asked = {one["id"] for one in self.progress["given"]}
        for card in self._due():
            if card not in asked and (found := again(self.subjects, card)) is not None:
                return found
        drawn = questions(
            list(self.subjects.values()),
            self.progress["seed"],
            topics=self.progress["topics"],
            level=self.progress["level"],
        )
        return next((one for one in islice(drawn, MOST) if one.id not in asked), None)

    def _ask(self, one: Question) -> bool:
        """Ask until it is answered or skipped; False when the person leaves."""
        number = len(self.progress["given"]) + 1
        self.context.say("")
        self.context.say(
            f"Question {number} of {self.progress['count']}: {one.topic}, level {one.level}"
        )
        for line in _lines(one):
            self.context.say(line)
        self.context.say(HELP)
        while True:
            word = self._read()
            if word is None or word in ("q", "leave"):
                return False
            if word in ("?", "help"):
                self._help(one)
            elif word in ("s", "skip"):
                self._take(one, right=False)
                self.context.say(wording.folded(f"{one.answer}: {one.why}.", "  "))
                return True
            elif word == "u":
                return self._undo()
            else:
                marked = one.mark(word)
                if not marked.understood:
                    self.context.say(f'"{word}" is no answer here; {marked.words}.')
                    continue
                self.context.say(wording.folded(f"{marked.words} Why: {one.why}.", "  "))
                self._take(one, right=marked.right)
                return True

    def _help(self, one: Question) -> None:
        words = {
            "number": "Answer with a number.",
            "names": "Answer with the sensors' names, commas between them, or none.",
            "choice": "Answer with the letter in front.",
        }[one.form]
        machine = one.id.split(":")[1]
        self.context.say(f"{words} simrig show {machine} lists its positions and sensors.")

    def _read(self) -> str | None:
        try:
            return input("> ").strip().lower()
        except (EOFError, KeyboardInterrupt):
            self.context.say("")
            return None

    def _take(self, one: Question, *, right: bool) -> None:
        self.progress["given"].append({"id": one.id, "topic": one.topic, "right": right})
        self.progress["level"] = _level([entry["right"] for entry in self.progress["given"]])
        if self.who:
            from simrig import history

            with history.open_store(self.path, write=True) as store:
                history.add_answer(
                    store, trainee=self.who, topic=one.topic, item=one.id, right=right, now=_now()
                )
        self._save()

    def _undo(self) -> bool:
        given = self.progress["given"]
        if not given:
            self.context.say("There is nothing to take back.")
            return True
        last = given.pop()
        self.progress["level"] = _level([entry["right"] for entry in given])
        if self.who:
            from simrig import history

            with history.open_store(self.path, write=True) as store:
                history.undo_answer(store, self.who)
        self.context.say(f"Taken back: the answer on {last['topic']}. It is asked again.")
        self._save()
        return True

    def _save(self) -> None:
        if self.who:
            from simrig import history

            with history.open_store(self.path, write=True) as store:
                history.save_training(store, self.who, self.progress, now=_now())

    def _end(self) -> None:
        if self.who:
            from simrig import history

            with history.open_store(self.path, write=True) as store:
                history.end_training(store, self.who)

    def _kept(self) -> dict[str, Any] | None:
        from simrig import history

        path = history.default_store() if self.path is None else self.path
        if not self.who or not path.exists():
            return None
        with history.open_store(path) as store:
            found = history.training(store, self.who)
        if found is None:
            return None
        progress = dict(found.progress)
        topics = progress.get("topics")
        topics = None if topics is None else list(topics)
        if topics != self.topics:
            return None
        given = [dict(one) for one in progress.get("given", [])]
        return progress | {"given": given, "topics": topics}

    def _due(self) -> list[str]:
        from simrig import history

        path = history.default_store() if self.path is None else self.path
        if not self.who or not path.exists():
            return []
        with history.open_store(path) as store:
            given = history.answers(store, self.who)
        waiting = history.due_cards(history.cards(given), _now())
        return [card.item for card in waiting if self.topics is None or card.topic in self.topics]

    def _summary(self) -> None:
        tally: dict[str, list[bool]] = {}
        for one in self.progress["given"]:
            tally.setdefault(one["topic"], []).append(one["right"])
        if not tally:
            return
        self.context.say("\nBy topic, weakest first:")
        for topic, rights in sorted(
            tally.items(), key=lambda row: (sum(row[1]) / len(row[1]), row[0])
        ):
            self.context.say(f"  {topic:16} {sum(rights)} of {len(rights)} right")


def _level(rights: list[bool]) -> int:
    """Return the level that answers lead to: four right in a row rise, three wrong fall."""
    level, row = 1, 0
    for right in rights:
        row = max(row, 0) + 1 if right else min(row, 0) - 1
        if row >= RISE and level < 3:
            level, row = level + 1, 0
        elif row <= -FALL and level > 1:
            level, row = level - 1, 0
    return level


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
