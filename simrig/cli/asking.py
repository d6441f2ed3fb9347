"""``simrig diagnose --ask``: check after check, answered by one key or a word."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

from simrig.cli.context import Context, wrong
from simrig.host.drafts import replace

if TYPE_CHECKING:
    from simrig.diagnosis.bench_check import Check
    from simrig.diagnosis.bench_job import Job
    from simrig.diagnosis.check_results import Result
    from simrig.diagnosis.isolation import Isolation

KEYS = "abcdefghijkmnop"
SURE = 0.99
HELP = "u undo   s skip this check   l what is left   w why   q leave"
REPAIR_KEY = "r"


@attrs.frozen(kw_only=True)
class Answer:
    """One step: what a check showed, or that it was skipped."""

    check: str
    result: Result | None


class Asking:
    """One conversation; every answer is kept, and can be taken back."""

    def __init__(self, job: Job, context: Context, kept: Sequence[Answer], keep: Keep) -> None:
        self.job = job
        self.context = context
        self.answers = list(kept)
        self.keep = keep
        self.notes: list[str] = []

    @property
    def results(self) -> tuple[Result, ...]:
        """What checks have shown so far, in order."""
        return tuple(one.result for one in self.answers if one.result is not None)

    @property
    def isolation(self) -> Isolation:
        """What is left now."""
        skipped = frozenset(one.check for one in self.answers if one.result is None)
        return self.job.isolation(self.results, skipped)

    def run(self) -> int:
        """Ask until one thing is left, nothing parts what is left, or the person leaves."""
        while True:
            isolation = self.isolation
            if isolation.diagnosis.as_assumed and not self.answers:
                self.say("All is as assumed: nothing to ask.")
                return 0
            if self._ended(isolation):
                if self._end(isolation):
                    return 1
                continue
            self._show(isolation)
            word = self._read()
            if word is None or word in ("q", "quit", "leave"):
                return self._leave()
            self._take(isolation, word)

    def say(self, text: str = "") -> None:
        """Write lines of the conversation."""
        self.context.say(text)

    def _ended(self, isolation: Isolation) -> bool:
        causes = isolation.causes
        total = sum(cause.chance for cause in causes)
        return isolation.next is None or (bool(self.results) and causes[0].chance >= SURE * total)

    def _end(self, isolation: Isolation) -> bool:
        """Say what it is; True unless the person takes the last answer back."""
        from simrig.diagnosis.words import counted
        from simrig.reports import isolation_text as report

        causes = isolation.causes
        total = sum(cause.chance for cause in causes)
        sure = [cause for cause in causes if cause.chance >= SURE * total]
        self.say()
        for line in report.ending(isolation, sure or causes, self.keep.machine):
            self.say(line)
        others = len(causes) - 1
        if sure and others:
            self.say(f"{counted(others, 'other thing')} left, together less than 1 in 100.")
        self.keep.save(self.answers)
        if not self.answers:
            return True
        self.say("  Enter: done   u: take the last answer back")
        while True:
            word = self._read()
            if word in ("u", "undo"):
                self._undo()
                return False
            if word in (None, "", "q", "quit", "leave"):
                return True
            self.say(f'"{word}" is no answer here; wanted Enter or u.')

    def _show(self, isolation: Isolation) -> None:
        from simrig.diagnosis.offered import result_words
        from simrig.reports import isolation_text as report
        from simrig.reports import wording
        from simrig.reports.diagnosis_text import group_words

        found = isolation.next
        assert found is not None
        diagnosis = isolation.diagnosis
        first = isolation.causes[0]
        self.say()
        count = len(isolation.causes)
        if count > 1:
            chance = wording.chance(first.chance / sum(one.chance for one in isolation.causes))
            words = group_words(diagnosis, first.group, 2)
            for line in report.folded(f"{count} things can be wrong; {chance}: {words}.", "  "):
                self.say(line)
        if isolation.mending is not None:
            self._lines(report.folded(report.CERTAIN, "  "))
        for line in report.folded(f"Bench now: {isolation.state.words()}.", "  "):
            self.say(line)
        for line in report.bench_steps(found.way):
            self.say(line)
        if found.way.moves:
            for line in report.folded(report.LOCAL, "  "):
                self.say(line)
        if found.check.caution:
            for line in report.folded(f"Caution: {found.check.caution}", "  "):
                self.say(line)
        title = f"Now ({report.minutes(found.check.minutes)}): {found.check.title}"
        for line in report.folded(report.sentence(title), "  "):
            self.say(line)
        for key, word in self._keys(isolation).items():
            words = result_words(found.check, word)
            for line in report.folded(f"  {key}  {word}: {words}", "     "):
                self.say(line)
        if found.check.listing:
            self.say("     or the sensors that read wrong, joined by +")
        if isolation.certain is not None and isolation.mending is None:
            words = report.sentence(
                f"or first, it is in all that is left: {isolation.certain.title}"
            )
            self._lines(report.folded(f"  {REPAIR_KEY}  {words}", "     "))
        self.say(f"  {HELP}")

    def _keys(self, isolation: Isolation) -> dict[str, str]:
        found = isolation.next
        assert found is not None
        likely = [left.result for left in found.leaves]
        others = [word for word in found.check.results if word not in likely]
        words = likely[:8] if found.check.listing else [*likely, *others]
        return dict(zip(KEYS, words, strict=False))

    def _read(self) -> str | None:
        try:
            return input("> ").strip().lower()
        except (EOFError, KeyboardInterrupt):
            self.say()
            return None

    def _take(self, isolation: Isolation, word: str) -> None:
        from simrig.reports import isolation_text as report

        found = isolation.next
        assert found is not None
        commands: Mapping[str, Callable[[], None]] = {
            "u": self._undo,
            "undo": self._undo,
            "s": lambda: self._add(Answer(check=found.check.id, result=None)),
            "skip": lambda: self._add(Answer(check=found.check.id, result=None)),
            "w": lambda: self._lines(report.reasons(isolation)),
            "why": lambda: self._lines(report.reasons(isolation)),
            "l": lambda: self._left(isolation),
            "left": lambda: self._left(isolation),
        }
        if word in commands:
            commands[word]()
            return
        if word == REPAIR_KEY and isolation.certain is not None:
            self._mend(isolation.certain)
            return
        keys = self._keys(isolation)
        named = keys.get(word) or next(
            iter(_only([one for one in found.check.results if word and one.startswith(word)])),
            word,
        )
        try:
            one = self.job.result(found.check.id, named)
        except ValueError:
            shown = f'"{word}" is no answer here' if word else "nothing was said"
            wanted = f"wanted {', '.join(keys)}, a word above, or u, s, l, w, q."
            self._lines(report.folded(f"{shown}; {wanted}", "  "))
            return
        if self.job.diagnosis((*self.results, one)).conflict is None:
            self._add(Answer(check=found.check.id, result=one))
            return
        conflict = self.job.diagnosis((*self.results, one)).conflict
        assert conflict is not None
        self._lines(report.folded(f"That cannot be: {conflict.words}."))
        self._lines(report.folded(f"What to do: {conflict.way_back}."))
        self.say("It was not taken; all that you said before is kept. u takes the last one back.")

    def _mend(self, repair: Check) -> None:
        """Say how what is certain is put right, and take it as done."""
        from simrig.reports import isolation_text as report

        self._lines(report.folded(f"Caution: {repair.caution} {report.LOCAL}", "  "))
        self._lines(report.folded(report.sentence(repair.title), "  "))
        self.say("Taken as put right; what you see from now on is of the mended machine.")
        (done,) = repair.results
        self._add(Answer(check=repair.id, result=self.job.result(repair.id, done)))

    def _add(self, answer: Answer) -> None:
        self.answers.append(answer)
        self.keep.save(self.answers)

    def _undo(self) -> None:
        if not self.answers:
            self.say("There is nothing to take back.")
            return
        last = self.answers.pop()
        shown = f"={last.result.result}" if last.result is not None else ", skipped"
        self.say(f"Taken back: {last.check}{shown}. The bench stands as before it on this screen.")
        self.keep.save(self.answers)

    def _left(self, isolation: Isolation) -> None:
        from simrig.reports import isolation_text as report
        from simrig.reports import wording

        total = sum(cause.chance for cause in isolation.causes)
        for cause in isolation.causes[:12]:
            chance = wording.chance(cause.chance / total)
            text = f"  {chance:19} {report.cause_words(isolation, cause)}"
            self._lines(report.folded(text, " " * 22))
        if len(isolation.causes) > 12:
            self.say(f"  and {len(isolation.causes) - 12} more")

    def _lines(self, lines: Sequence[str]) -> None:
        for line in lines:
            self.say(line)

    def _leave(self) -> int:
        self.keep.save(self.answers)
        self.say("Left; nothing is lost. To go on:")
        self.say(f"  {self.keep.resume(self.answers)}")
        return 1


def _only(words: list[str]) -> list[str]:
    return words if len(words) == 1 else []


class Keep:
    """The file in which a conversation is kept, where one was named."""

    def __init__(self, path: Path | None, machine: str, asked: Mapping[str, Any]) -> None:
        self.path = path
        self.machine = machine
        self.asked = asked

    def save(self, answers: Sequence[Answer]) -> None:
        """Write the file, all of it or nothing; says so on stderr when it cannot."""
        if self.path is None:
            return
        document = {
            "format": 1,
            "machine": self.machine,
            "asked": dict(self.asked),
            "answers": [[one.check, one.result.result if one.result else None] for one in answers],
        }
        try:
            replace(self.path, (json.dumps(document, indent=2) + "\n").encode())
        except OSError as error:
            print(f"{self.path}: cannot be written ({error.strerror})", file=sys.stderr)

    def resume(self, answers: Sequence[Answer]) -> str:
        """Return the command that goes on."""
        start = f"simrig diagnose {self.machine}"
        if self.path is not None:
            return f"{start} --ask --job {self.path}"
        found = [f" --found {one.result}" for one in answers if one.result is not None]
        return f"{start} (what you saw, as before) --ask{''.join(found)}"


def kept(path: str) -> dict[str, Any] | None:
    """Read a kept conversation; None when there is no such file; InputError when it is none."""
    try:
        text = Path(path).read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise wrong("--job", f"{path} cannot be read ({error}); name another file") from None
    try:
        document = json.loads(text)
        fits = (
            document["format"] == 1
            and isinstance(document["machine"], str)
            and isinstance(document["asked"], dict)
            and all(
                isinstance(check, str) and (result is None or isinstance(result, str))
                for check, result in document["answers"]
            )
        )
    except (ValueError, KeyError, TypeError):
        fits = False
    if not fits:
        raise wrong("--job", f"{path} is not a job that simrig has kept; name another file")
    found: dict[str, Any] = document
    return found
