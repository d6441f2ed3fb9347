"""``simrig checks``: the bench checks of a machine."""

from __future__ import annotations

import argparse

from simrig.cli.context import Context, wrong


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    parser.add_argument(
        "--about", metavar="WORD", help="only checks with this word in their id or title"
    )


def run(arguments: argparse.Namespace, context: Context) -> int:
    """List the checks with what each needs of the bench; 0 always."""
    from simrig.diagnosis.bench_moves import way
    from simrig.diagnosis.benches import Bench

    profile = context.profile(arguments.machine)
    bench = Bench.of(profile)
    word = (arguments.about or "").lower()
    chosen = [one for one in bench.checks if word in one.id or word in one.title.lower()]
    if word and not chosen:
        message = f'no check has "{arguments.about}" in its name; leave --about out to see all'
        raise wrong("--about", message)
    if context.json:
        from simrig.interchange import isolation_document as documents

        context.answer(documents.catalogue(profile.id, chosen, bench.facts, bench.start))
        return 0
    from simrig.reports.isolation_text import LOCAL, folded

    context.say(f"{len(chosen)} checks of {profile.name}.")
    if not (bench.facts.interlock or bench.facts.fuses):
        for line in folded(
            "The profile does not say how its coils can be made dead (an interlock that cuts every "
            "coil bank, or a fuse for each): coil voltage counts as present, and checks marked x "
            "are out of the question.", "  ",
        ):  # fmt: skip
            context.say(line)
    for line in folded(LOCAL):
        context.say(line)
    for line in folded(
        "A repair that was made is said the same way: repair-KIND:PART=done. What is seen after "
        "it is of the mended machine.", "  ",
    ):  # fmt: skip
        context.say(line)
    for one in chosen:
        mark = " " if way(bench.facts, bench.start, one.needs) is not None else "x"
        context.say("")
        for line in folded(f"{mark} {one.id}: {one.title} ({one.minutes:g} min)", "    "):
            context.say(line)
        stages = ", then ".join(need.words() for need in one.needs)
        for line in folded(f"    bench: {stages}", "      "):
            context.say(line)
        results = "right, or the sensors that read wrong" if one.listing else ", ".join(one.results)
        for line in folded(f"    results: {results}", "      "):
            context.say(line)
        if one.caution:
            for line in folded(f"    caution: {one.caution}", "      "):
                context.say(line)
    return 0
