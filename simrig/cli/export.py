"""``simrig export``: a profile for other tools."""

from __future__ import annotations

import argparse
import os
from collections.abc import Mapping

from simrig.cli.context import Context, wrong
from simrig.errors import InputError, Problem

FORMATS = ("json", "csv", "toml")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    parser.add_argument(
        "--format", choices=FORMATS, default="json", help="json (as it is), csv (tables) or toml"
    )
    parser.add_argument("--table", metavar="NAME", help="csv: this table only, such as sensor")
    parser.add_argument(
        "-o", "--output", metavar="FILE", help="write here; csv: a folder, a file for each table"
    )


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Write the profile."""
    from simrig.interchange import profile_csv, profile_json, toml_writer

    kind = "json" if context.json else arguments.format
    if arguments.table is not None and kind != "csv":
        raise wrong("--table", "it goes with --format csv; leave it out, or add that")
    profile = context.profile(arguments.machine)
    if kind == "csv":
        known = profile_csv.tables(profile)
        if arguments.table is not None:
            if arguments.table not in known:
                found = f'found "{arguments.table}"; wanted one of {", ".join(known)}'
                raise wrong("--table", found)
            known = {arguments.table: known[arguments.table]}
        if arguments.output is not None:
            return _write_all(arguments.output, known, context)
        only = known[arguments.table] if arguments.table else profile_csv.facts(profile)
        return _write(arguments.output, only, context)
    text = profile_json.write(profile) if kind == "json" else toml_writer.written(profile)
    return _write(arguments.output, text, context)


def _write_all(folder: str, texts: Mapping[str, str], context: Context) -> int:
    try:
        os.makedirs(folder, exist_ok=True)
    except OSError as error:
        raise _unwritable(folder, error) from None
    for name, text in texts.items():
        _write(os.path.join(folder, f"{name}.csv"), text, context)
    return 0


def _write(path: str | None, text: str, context: Context) -> int:
    if path is None:
        # Line ends are part of the format: not to be translated on the way out.
        context.out.flush()
        binary = getattr(context.out, "buffer", None)
        if binary is None:
            context.out.write(text)
        else:
            binary.write(text.encode())
            binary.flush()
        return 0
    try:
        with open(path, "w", encoding="utf-8", newline="") as file:
            file.write(text)
    except OSError as error:
        raise _unwritable(path, error) from None
    return 0


def _unwritable(path: str, error: OSError) -> InputError:
    reason = error.strerror or str(error)
    message = f"it cannot be written ({reason}); name another place"
    return InputError([Problem(file=path, where="-o", message=message)])
