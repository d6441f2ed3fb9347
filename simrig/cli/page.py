"""``simrig page``: the page for the phone beside the machine."""

from __future__ import annotations

import argparse
from pathlib import Path

from simrig.cli.context import Context, wrong


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", nargs="*",
                        help="profile files to offer as well; with --file: the machine")  # fmt: skip
    parser.add_argument("--file", metavar="M.html",
                        help="write one self-contained file for a phone with no server; name the "
                        "MACHINE, - prints it")  # fmt: skip
    parser.add_argument("--lan", action="store_true",
                        help="let paired phones of the network in, not only this computer")  # fmt: skip
    parser.add_argument("--port", metavar="N", help="where to listen (8717, or any that is free)")
    parser.add_argument("--store", type=Path, metavar="FILE",
                        help="the shop's record, where it is not the usual one")  # fmt: skip
    parser.add_argument("--answers", type=Path, metavar="FILE",
                        help="where taps are kept, if not beside the shop's record")  # fmt: skip


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Serve the page until it is stopped."""
    from simrig.host.extra import need

    if arguments.file is not None:
        return _file(arguments, context)
    need("page", "starlette", "uvicorn", "jinja2", "segno")
    from simrig.history.places import default_store
    from simrig.page.answers import FILE_NAME, Answers
    from simrig.page.desk import Desk
    from simrig.page.serving import serve

    port = None
    if arguments.port is not None:
        text = arguments.port
        if not (text.isascii() and text.isdigit() and len(text) < 6 and 0 < int(text) < 65536):
            raise wrong("--port", f'found "{text}"; wanted a number from 1 to 65535')
        port = int(text)
    store = arguments.store
    beside = (default_store() if store is None else store).parent
    answers = Answers(arguments.answers or beside / FILE_NAME)
    try:
        desk = Desk(
            catalogue=context.catalogue, answers=answers, store=store, named=arguments.machine
        )
        serve(desk, port=port, lan=arguments.lan, say=lambda text: print(text, flush=True))
    finally:
        answers.close()
    return 0


def _file(arguments: argparse.Namespace, context: Context) -> int:
    from simrig.cli.writing import write
    from simrig.host.extra import need

    need("page --file", "jinja2")
    if len(arguments.machine) != 1:
        raise wrong("--file", f"found {len(arguments.machine)} machines; wanted one: "
                    "simrig page MACHINE --file M.html")  # fmt: skip
    from simrig.page.offline import self_contained

    write(arguments.file, self_contained(context.profile(arguments.machine[0])), context)
    return 0
