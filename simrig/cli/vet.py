"""``simrig vet``: profiles held against every rule; ``--explain`` prints the page of one."""

from __future__ import annotations

import argparse

from simrig.cli.context import Context, wrong


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "machine", metavar="MACHINE|FILE", nargs="*", help="ids of machines, or profile files"
    )
    parser.add_argument(
        "--explain", metavar="CODE|NAME", help="print the page of a rule; all: list every rule"
    )
    parser.add_argument(
        "--format", choices=("table", "json", "sarif"), default="table", help="how to answer"
    )
    parser.add_argument(
        "--fail-on",
        choices=("error", "warning", "note"),
        default="warning",
        help="the least level that ends with 1 (warning)",
    )


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Vet every file named; 1 when a finding is of the level asked for, or worse."""
    if arguments.explain is not None:
        return _explain(arguments, context)
    if not arguments.machine:
        raise wrong("MACHINE|FILE", "no profile is named; name one, or a rule with --explain")
    from simrig.host.catalogue import contents
    from simrig.host.vetted import rules_known, vetted
    from simrig.vetting.rule import LEVELS

    rules = rules_known(context.catalogue)
    paths = [context.catalogue.path(one) for one in dict.fromkeys(arguments.machine)]
    found = [vetted(context.catalogue, contents(path, "profile"), path) for path in paths]
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


def _explain(arguments: argparse.Namespace, context: Context) -> int:
    from simrig.host.vetted import rules_known
    from simrig.reports.vetting_text import overview, page
    from simrig.vetting.table import rule_named

    rules = rules_known(context.catalogue)
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
