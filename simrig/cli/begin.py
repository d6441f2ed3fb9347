"""``simrig begin``: a profile for a machine that has none, from a switch list and a few answers."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from simrig.cli.begin_talk import Talk
from simrig.cli.context import Context, wrong
from simrig.cli.profile_file import ProfileFile
from simrig.errors import InputError, Problem
from simrig.profile.machine import Profile

if TYPE_CHECKING:
    from simrig.interchange.beginning.questions import Question


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("file", metavar="FILE.toml", help="the profile to start, or to go on with")
    parser.add_argument(
        "--switches", metavar="LIST.csv",
        help="the manual's switch list: one a line, a table, or a grid from a spreadsheet",
    )  # fmt: skip
    parser.add_argument("--balls", help="balls that the machine carries, captive ones not counted")
    parser.add_argument(
        "--by-feeding", action="store_true",
        help="find the trough with no manual: balls out, one in, what changed, and again",
    )  # fmt: skip


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Start a profile or go on with it; 2 when the list has faults or an answer was refused."""
    if not arguments.file.endswith(".toml"):
        raise wrong("FILE", f'found "{arguments.file}"; wanted a file whose name ends in .toml')
    file = ProfileFile(arguments.file, context.catalogue.kinds())
    balls = _balls(arguments.balls)
    problems = _listed(arguments, context, file, balls)
    talk = Talk(context)
    if arguments.by_feeding:
        from simrig.cli.begin_feeding import feed

        feed(talk, file)
    if not talk.stopped:
        _ask(talk, file)
    profile = file.read()
    if context.json:
        from simrig.interchange.beginning.facts import document

        answer = document(profile)
        if problems:
            answer["errors"] = [
                {"file": one.file, "line": one.line, "where": one.where, "message": one.message}
                for one in problems
            ]
        context.answer(answer)
    else:
        _closing(context, file, profile)
    return 2 if problems or talk.refused else 0


def _balls(text: str | None) -> int | None:
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 4 and 1 <= int(text) <= 20):
        raise wrong("--balls", f'found "{text}"; wanted a whole number from 1 to 20')
    return int(text)


def _listed(
    arguments: argparse.Namespace, context: Context, file: ProfileFile, balls: int | None
) -> tuple[Problem, ...]:
    """Read the list, start the file or add to it; return the list's faults, told already."""
    from simrig.host.catalogue import contents
    from simrig.interchange.beginning import starting
    from simrig.interchange.beginning.laying_out import with_balls
    from simrig.interchange.switch_list import SwitchList, read

    listed = SwitchList(switches=(), problems=())
    if arguments.switches:
        name = arguments.switches
        listed = read(contents(name, "switch list"), name)
        for one in (*listed.problems, *listed.notes):
            if not context.json:
                print(one, file=sys.stderr)
    if not file.exists():
        if not listed.switches and not arguments.by_feeding:
            if listed.problems:
                raise InputError(listed.problems)
            message = (
                f"{file.path} is not there yet; say --switches LIST.csv with the manual's switch "
                "list, or --by-feeding to find the trough by hand"
            )
            raise wrong("FILE", message)
        stem = os.path.basename(file.path).removesuffix(".toml")
        profile, count = starting.with_switches(starting.begin(stem, balls), listed)
        file.create(profile)
    else:
        before = file.read()
        installed = before.balls.installed
        unsaid = before.balls.assumption("installed") is not None
        if balls is not None and not unsaid and balls != installed:
            message = f"found {balls}; the file says {installed}; leave it out, or change the file"
            raise wrong("--balls", message)
        count = starting.with_switches(before, listed)[1]

        def added(profile: Profile) -> Profile:
            if balls is not None and profile.balls.assumption("installed") is not None:
                profile = with_balls(profile, balls)
            return starting.with_switches(profile, listed)[0]

        file.change(added)
    if arguments.switches and not context.json:
        left = f", {len(listed.problems)} faults above" if listed.problems else ""
        known = len(listed.switches) - count
        also = f", {known} were there already" if known else ""
        context.say(f"{count} switches taken from {arguments.switches}{also}{left}.")
    return listed.problems


def _ask(talk: Talk, file: ProfileFile) -> None:
    from simrig.interchange.beginning.questions import QUESTIONS, open_questions
    from simrig.reports.wording import folded

    if next(open_questions(file.read()), None) is not None and not talk.stopped:
        talk.say('Every answer is saved at once. "don\'t know" is an answer; "stop" ends here.')
    while not talk.stopped:
        profile = file.read()
        question = next(open_questions(profile), None)
        if question is None:
            break
        number = QUESTIONS.index(question) + 1
        proposal = question.propose(profile)
        talk.say("\n" + folded(f"{number} of {len(QUESTIONS)}. {question.ask(profile)}"))
        if proposal:
            talk.say(folded(f'   From the names: {proposal}   ("yes" takes it)', "   "))

        if not talk.ask("> ", _taking(file, question, proposal)):
            break


def _taking(file: ProfileFile, question: Question, proposal: str | None) -> Callable[[str], None]:
    from simrig.interchange.beginning.questions import answered

    def take(words: str) -> None:
        if words.lower() in ("yes", "y") and question.id != "interlock":
            if not proposal:
                raise ValueError("nothing is proposed here; say it in your own words")
            words = proposal
        file.change(lambda profile: answered(profile, question, words))

    return take


def _closing(context: Context, file: ProfileFile, profile: Profile) -> None:
    from simrig.interchange.beginning.questions import open_questions
    from simrig.reports.growth_text import worth_lines
    from simrig.reports.wording import folded

    left = len(list(open_questions(profile)))
    balls = profile.balls.installed
    sure = profile.balls.assumption("installed") is None
    context.say(
        f"\n{file.path}: {len(profile.sensor)} switches, "
        + (f"{balls} balls." if sure else "number of balls not known.")
    )
    if left:
        words = f"{left} question{'s' if left > 1 else ''} left"
        context.say(f"{words}: simrig begin {file.path} goes on.")
    if profile.phase:
        context.say(folded(f"It answers already: simrig expect {file.path} --balls N"))
    for line in worth_lines(profile):
        context.say(line)
