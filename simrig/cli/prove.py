"""``simrig prove``: the plan that proves a repair, taken step by step, or a recorded run judged."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simrig.cli import conditions as stated
from simrig.cli import shop
from simrig.cli.context import Context, wrong
from simrig.host.drafts import replace

if TYPE_CHECKING:
    from simrig.profile.machine import Profile
    from simrig.proving.judging import Judged
    from simrig.proving.plan import Plan

ANSWERS = {"a": "as expected", "d": "differs", "m": "missed"}
HELP = "  a as expected   d differs   m missed   u take back   q leave"
PIECE = 1 << 16


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    parser.add_argument(
        "--repaired", metavar="PART", help="a sensor, a part, or KIND:PART: the short plan for it"
    )
    parser.add_argument("--ask", action="store_true", help="take the steps one by one")
    parser.add_argument(
        "--keep", metavar="FILE", help="with --ask: keep the answers there, and go on from it"
    )
    parser.add_argument("--log", metavar="FILE", help="judge a recorded run (CSV or VCD)")
    parser.add_argument(
        "--time-unit", choices=("s", "ms", "us", "ns"), help="of the times in the log (ms)"
    )
    stated.configure(parser)
    shop.configure(parser, files=True)


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Print the plan, take it step by step, or judge a log; 1 when something differs."""
    from simrig.proving.plan import balls_at_hand, prove

    if arguments.ask and arguments.log:
        raise wrong("--ask", "steps are asked for or a log is judged, not both; leave one out")
    profile = shop.unit(arguments, context)
    taken = stated.conditions(profile, arguments)
    try:
        balls_at_hand(profile, taken)
    except ValueError as error:
        raise wrong("conditions", str(error)) from None
    try:
        plan = prove(profile, repaired=arguments.repaired, conditions=taken)
    except ValueError as error:
        raise wrong("--repaired", str(error)) from None
    if arguments.file and not (arguments.ask or arguments.log):
        raise wrong("--file", "a plan proves nothing yet; say --ask, or --log FILE")
    if arguments.ask:
        shop.say(context)
        code = _ask(plan, arguments, context)
        return _filed(profile, code, arguments, context)
    found = None if arguments.log is None else _judge(profile, plan, arguments)
    code = 0 if found is None or found.passed else 1
    if context.json:
        context.answer(_document(plan, found) | shop.document(context))
        return _filed(profile, code, arguments, context)
    from simrig.reports import proof_text

    shop.say(context)

    if found is not None:
        shown = proof_text.judged(found, plan)
    else:
        shown = proof_text.lines(profile, plan, repaired=arguments.repaired)
    for line in shown:
        context.say(line)
    return _filed(profile, code, arguments, context)


def _filed(profile: Profile, code: int, arguments: argparse.Namespace, context: Context) -> int:
    """File the proof where that was asked for; return the exit code."""
    if arguments.file:
        shop.file_proof(profile, whole=code == 0, arguments=arguments, context=context)
    return code


def _judge(profile: Profile, plan: Plan, arguments: argparse.Namespace) -> Judged:
    import attrs

    from simrig.expectation.observation import resolve
    from simrig.interchange.logs import read_log
    from simrig.proving.judging import judge

    coils = [row.id for row in profile.coil]
    names: dict[str, str] = {}

    def known(name: str) -> str:
        if name not in names:
            try:
                found = resolve(profile, name)
                names[name] = found[0] if len(found) == 1 else name
            except ValueError:
                names[name] = name
        return names[name]

    events = read_log(
        _pieces(arguments.log), file=arguments.log, time_unit=arguments.time_unit, coils=coils
    )
    return judge(plan, (attrs.evolve(one, signal=known(one.signal)) for one in events))


def _pieces(path: str) -> Iterator[bytes]:
    try:
        with open(path, "rb") as file:
            while piece := file.read(PIECE):
                yield piece
    except OSError as error:
        raise wrong(
            "--log", f"{path} cannot be read ({error.strerror}); name another file"
        ) from None


def _document(plan: Plan, found: Judged | None) -> dict[str, Any]:
    document: dict[str, Any] = {
        "steps": [
            {
                "do": step.do,
                "expect": step.expect,
                "coils": step.coils,
                "caution": step.caution,
                "reads": dict(step.reads),
                "proves": list(step.proves),
            }
            for step in plan.steps
        ],
        "proven": list(plan.proven),
        "unproven": list(plan.unproven),
    }
    if found is not None:
        document["passed"] = found.passed
        document["anomalies"] = [
            {"time": one.time_ms, "sensor": one.sensor, "kind": one.kind, "why": one.why}
            for one in found.anomalies
        ]
    return document


def _ask(plan: Plan, arguments: argparse.Namespace, context: Context) -> int:
    from simrig.reports import proof_text

    path = None if arguments.keep is None else Path(arguments.keep)
    of = {"machine": arguments.machine, "repaired": arguments.repaired, "balls": plan.balls}
    answers = [] if path is None else _kept(path, of)
    answers = answers[: len(plan.steps)]
    if answers:
        context.say(f"Going on at step {len(answers) + 1} of {len(plan.steps)}.")
    while len(answers) < len(plan.steps):
        number = len(answers) + 1
        context.say("")
        context.say(f"Step {number} of {len(plan.steps)}")
        for line in proof_text.step_lines(number, plan.steps[number - 1]):
            context.say(line)
        context.say(HELP)
        word = _read(context)
        if word is None or word in ("q", "leave"):
            context.say("Left." + (f" Kept in {path}: the same command goes on." if path else ""))
            break
        if word in ("u", "back"):
            if answers:
                answers.pop()
            else:
                context.say("There is nothing to take back.")
        elif (answer := _answer(word)) is not None:
            answers.append(answer)
        else:
            context.say(f'"{word}" is no answer here; wanted a, d, m, u or q.')
            continue
        _keep(path, of, answers)
    context.say("")
    for line in proof_text.asked(plan, answers):
        context.say(line)
    whole = len(answers) == len(plan.steps)
    return 0 if whole and all(one == ANSWERS["a"] for one in answers) else 1


def _answer(word: str) -> str | None:
    if word in ANSWERS:
        return ANSWERS[word]
    found = [one for one in ANSWERS.values() if word and one.startswith(word)]
    return found[0] if len(found) == 1 else None


def _read(context: Context) -> str | None:
    try:
        return input("> ").strip().lower()
    except (EOFError, KeyboardInterrupt):
        context.say("")
        return None


def _keep(path: Path | None, of: dict[str, Any], answers: list[str]) -> None:
    if path is None:
        return
    document = {"format": 1, **of, "answers": answers}
    try:
        replace(path, (json.dumps(document, indent=2) + "\n").encode())
    except OSError as error:
        print(f"{path}: cannot be written ({error.strerror})", file=sys.stderr)


def _kept(path: Path, of: dict[str, Any]) -> list[str]:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        answers = document["answers"]
        if document["format"] != 1 or any(one not in ANSWERS.values() for one in answers):
            raise ValueError("answers")
        same = {name: document.get(name, of[name]) for name in of} == of
    except FileNotFoundError:
        return []
    except OSError as error:
        message = f"{path} cannot be read ({error.strerror}); name another file"
        raise wrong("--keep", message) from None
    except (ValueError, KeyError, TypeError):
        raise wrong("--keep", f"{path} keeps no proof of simrig's; name another file") from None
    if not same:
        raise wrong(
            "--keep",
            f"{path} keeps the proof of another machine, part or number of balls; "
            "name another file",
        )
    return list(answers)
