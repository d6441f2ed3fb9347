"""``simrig vet``: profiles held against every rule; ``--explain`` prints the page of one."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.vetting.rule import Rule
    from simrig.vetting.vet import Vetted


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE|FILE", nargs="*")
    parser.add_argument(
        "--explain", metavar="CODE|NAME", help="print the page of a rule; all: list every rule"
    )
    parser.add_argument(
        "--format", choices=("table", "json", "sarif"), default="table", help="how to answer"
    )
    parser.add_argument(
        "--fail-on",
        choices=("error", "warning", "note"),
        default="note",
        help="the least level that ends with 1 (note: any finding)",
    )


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Vet every file named; 1 when a finding is of the level asked for, or worse."""
    if arguments.explain is not None:
        return _explain(arguments, context)
    if not arguments.machine:
        raise wrong("MACHINE|FILE", "no profile is named; name one, or a rule with --explain")
    from simrig.vetting.rule import LEVELS

    rules = _rules(context)
    found = [_vetted(reference, context, rules) for reference in dict.fromkeys(arguments.machine)]
    if arguments.format == "sarif":
        import json

        from simrig import __version__
        from simrig.interchange.findings import sarif

        context.say(json.dumps(sarif(found, rules, __version__), indent=2))
    elif context.json or arguments.format == "json":
        from simrig.interchange.findings import document

        context.answer(document(found))
    else:
        from simrig.reports.vetting_text import findings

        context.say(findings(found))
    counts = LEVELS[: LEVELS.index(arguments.fail_on) + 1]
    return int(any(one.level in counts for file in found for one in file.findings))


def _rules(context: Context) -> tuple[Rule, ...]:
    """The rules that are known: built in, and brought by plug-ins."""
    from simrig.vetting.table import RULES

    return (*RULES, *context.catalogue.brought("simrig_rules"))


def _vetted(reference: str, context: Context, rules: tuple[Rule, ...]) -> Vetted:
    from simrig.errors import ProfileError
    from simrig.host.catalogue import contents
    from simrig.vetting.vet import unread, vet, vet_read

    path = context.catalogue.path(reference)
    data, kinds = contents(path, "profile"), context.catalogue.kinds()
    if not path.endswith(".json"):
        return vet(data, path, kinds=kinds, rules=rules)
    from simrig.interchange import profile_json

    try:
        return vet_read(profile_json.read(data, path, kinds=kinds), rules=rules)
    except ProfileError as error:
        return unread(path, error.problems, rules=rules)


def _explain(arguments: argparse.Namespace, context: Context) -> int:
    from simrig.reports.vetting_text import overview, page
    from simrig.vetting.table import rule_named

    rules = _rules(context)
    if arguments.explain != "all":
        try:
            rules = (rule_named(arguments.explain, rules),)
        except ValueError as error:
            raise wrong("--explain", str(error)) from None
    if context.json or arguments.format == "json":
        keys = ("code", "name", "level", "what", "why", "example", "mend", "limits")
        context.answer({"rules": [{key: getattr(rule, key) for key in keys} for rule in rules]})
    else:
        context.say(overview(rules) if len(rules) > 1 else page(rules[0]))
    return 0
