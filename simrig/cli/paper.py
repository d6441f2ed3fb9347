"""``simrig paper``: the printable pages of a machine."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from simrig.cli.context import Context, wrong
from simrig.cli.writing import write
from simrig.profile.naming import hint

if TYPE_CHECKING:
    from simrig.profile.machine import Profile

SIZES = ("A4", "Letter")
MOST_QUESTIONS = 100


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    parser.add_argument("-o", "--output", metavar="FILE.html", required=True,
                        help="where to write it; - prints it")  # fmt: skip
    parser.add_argument("--size", default="A4", help="A4 (as left out) or Letter")
    parser.add_argument("--phase", help="phase of the comparison page (idle when left out)")
    parser.add_argument("--balls", help="balls in the machine, on the comparison page")
    parser.add_argument(
        "--drill", metavar="N", help="instead: N questions for a class, answers apart"
    )
    parser.add_argument("--seed", default="1", metavar="N", help="of the questions")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Write the pages."""
    from simrig.host.extra import need

    need("paper", "jinja2")
    size = next((one for one in SIZES if one.lower() == arguments.size.lower()), None)
    if size is None:
        raise wrong("--size", f'found "{arguments.size}"; wanted A4 or Letter')
    profile = context.profile(arguments.machine)
    if arguments.phase is not None and profile.row("phase", arguments.phase) is None:
        known = [row.id for row in profile.phase]
        raise wrong("--phase", f'no phase is called "{arguments.phase}"; '
                    + hint(arguments.phase, known))  # fmt: skip
    if arguments.drill is not None:
        text = _drill(profile, arguments, size)
        write(arguments.output, text, context)
        return 0
    most = profile.balls.installed
    balls = arguments.balls
    if balls is not None and not (balls.isascii() and balls.isdigit() and len(balls) < 4):
        raise wrong("--balls", f'found "{balls}"; wanted a whole number from 0 to {most}')
    from simrig.page.rendering import render_paper
    from simrig.reports.paper import paper
    from simrig.world.phases import Conditions

    conditions = Conditions(phase=arguments.phase, balls=None if balls is None else int(balls))
    try:
        found = paper(profile, conditions)
    except ValueError as error:
        raise wrong("conditions", str(error)) from None
    write(arguments.output, render_paper(found, size=size), context)
    return 0


def _drill(profile: Profile, arguments: argparse.Namespace, size: str) -> str:
    from itertools import islice

    from simrig.page.rendering import render_drill
    from simrig.training.asking import questions
    from simrig.training.subject import Subject

    numbers = {}
    for name, most in (("drill", MOST_QUESTIONS), ("seed", 10**9)):
        text = getattr(arguments, name)
        if not (text.isascii() and text.isdigit() and len(text) < 10 and int(text) <= most):
            raise wrong(f"--{name}", f'found "{text}"; wanted a whole number from 0 to {most}')
        numbers[name] = int(text)
    drawn = list(islice(questions([Subject(profile=profile)], numbers["seed"]), numbers["drill"]))
    return render_drill(profile, drawn, numbers["seed"], size=size)
