"""The door of the command line: finds the command, runs it, turns errors into words and codes."""

from __future__ import annotations

import argparse
import difflib
import gc
import os
import sys
from importlib import import_module
from typing import Final, NoReturn

from simrig.errors import InputError, Problem, SimrigError

COMMANDS: Final = {
    "machines": "list the machines at hand",
    "begin": "start a profile from a switch list and a few questions, or go on with one",
    "show": "what a machine looks like: places, ways, sensors, phases",
    "part": "the parts behind one sensor: wires, what to order, how to set it",
    "expect": "what each ball sensor must read",
    "compare": "hold what was seen against what must be",
    "checks": "the bench checks of a machine",
    "campaign": "inject every fault, see what shows and what isolating costs",
    "locate": "find the balls, trusting the readings",
    "diagnose": "what can be wrong, down to the part",
    "prove": "the plan that proves a repair, or a recorded run judged",
    "run": "run scenario files",
    "record": "write the log that a scenario's run must give",
    "replay": "hold a recorded log against what the balls must have done",
    "vet": "look a profile over for contradictions",
    "export": "a profile for other tools: JSON, CSV tables, TOML",
    "diff": "what changed between two revisions of a profile, and which readings with it",
    "new": "package a finished profile as a plug-in",
    "schema": "print the JSON Schema of a file format, for editors and other tools",
    "drill": "train: questions made from the machines at hand, marked and explained",
    "history": "the shop's record",
    "page": "the page for the phone beside the machine",
    "paper": "printable: the machine, what must be read, sheets to fill in",
    "completion": "print a completion script for a shell",
}
"""Every command with what it does; the module of the same name in this folder runs it."""


class Parser(argparse.ArgumentParser):
    """A parser whose complaints are problems like all others."""

    def _get_formatter(self) -> argparse.HelpFormatter:
        # Asked for at each option; left alone, it would import what finds the width each time.
        return argparse.HelpFormatter(self.prog, width=_width())

    def error(self, message: str) -> NoReturn:
        """Raise InputError with what argparse found."""
        text = f"{message}; {self.prog} --help lists what can be said"
        raise InputError([Problem(file="command line", where=self.prog, message=text)])


def _width() -> int:
    stated = os.environ.get("COLUMNS", "")
    if stated.isdigit() and int(stated) > 20:
        return int(stated) - 2
    try:
        return min(max(os.get_terminal_size().columns, 20), 100) - 2
    except (OSError, ValueError):
        return 78


def main(argv: list[str]) -> int:
    """Run one command and return its exit code; see SystemExit for none."""
    wants_json = "--json" in argv
    # A command keeps nearly all that it makes to its end: searching it for garbage is in vain.
    gc.set_threshold(100_000, 50, 100)
    try:
        code = _run(argv)
        sys.stdout.flush()
        return code
    except SimrigError as error:
        _report(error, wants_json)
        return error.exit_code
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader has gone: nothing is left to say, and flushing would fail again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        # Never a traceback for the person at the machine; 70 tells it from wrong input.
        print(
            f"simrig itself has failed ({type(error).__name__}: {error}); nothing was changed; "
            "please report it with the command you gave",
            file=sys.stderr,
        )
        return 70


def _run(argv: list[str]) -> int:
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    position = next(
        (
            i
            for i, word in enumerate(argv)
            if not word.startswith("-") and (not i or argv[i - 1] != "--profiles")
        ),
        None,
    )
    if position is None:
        return _overview(argv)
    name = argv[position]
    if name not in COMMANDS:
        near = difflib.get_close_matches(name, COMMANDS, 1)
        hint = f'did you mean "{near[0]}"?' if near else "simrig --help lists the commands"
        problem = Problem(
            file="command line", where="COMMAND", message=f'there is no command "{name}"; {hint}'
        )
        raise InputError([problem])
    module = import_module(f"simrig.cli.{name}")
    parser = command_parser(name)
    arguments = parser.parse_args(argv[:position] + argv[position + 1 :])
    from simrig.cli.context import Context

    return int(module.run(arguments, Context(arguments)))


def command_parser(name: str) -> Parser:
    """Return the parser of one command, its own options and the common ones."""
    module = import_module(f"simrig.cli.{name}")
    parser = Parser(
        prog=f"simrig {name}", description=COMMANDS[name].capitalize() + ".", allow_abbrev=False
    )
    module.configure(parser)
    common = parser.add_argument_group("common options")
    common.add_argument("--json", action="store_true", help="answer with one JSON document")
    common.add_argument(
        "--profiles", action="append", default=[], metavar="DIR", help="a folder of profile files"
    )
    common.add_argument("--quiet", action="store_true", help="no progress, no colours")
    common.add_argument(
        "--strict-plugins", action="store_true", help="fail when any plug-in has failed"
    )
    return parser


def _overview(argv: list[str]) -> int:
    known = {"-h", "--help", "--json", "--quiet"}
    strange = [word for word in argv if word not in known]
    if strange:
        message = f'"{strange[0]}" is not an option; simrig --help lists the commands'
        raise InputError([Problem(file="command line", where="simrig", message=message)])
    print("simrig: what a machine's ball sensors must read, what does not fit, what is wrong.\n")
    print("usage: simrig COMMAND [...]   simrig COMMAND --help   simrig --version\n")
    for name, does in COMMANDS.items():
        print(f"  {name:11} {does}")
    return 0


def _report(error: SimrigError, wants_json: bool) -> None:
    if not wants_json:
        for problem in error.problems:
            print(problem, file=sys.stderr)
        return
    import json

    document = {
        "format": 1,
        "errors": [
            {
                "file": problem.file,
                "line": problem.line,
                "where": problem.where,
                "message": problem.message,
            }
            for problem in error.problems
        ],
    }
    print(json.dumps(document, indent=2))
