"""``simrig new``: a finished profile packaged as a plug-in."""

from __future__ import annotations

import argparse
import os

from simrig.cli.context import Context, wrong
from simrig.errors import InputError, Problem


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("folder", metavar="DIR", help="the folder to make; it must be empty or new")
    parser.add_argument(
        "--from", dest="source", required=True, metavar="FILE", help="the finished profile"
    )


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Write the project."""
    from simrig import __version__
    from simrig.host.catalogue import contents
    from simrig.interchange import plugin_project, toml_writer

    folder: str = arguments.folder
    if os.path.lexists(folder) and (not os.path.isdir(folder) or os.listdir(folder)):
        raise wrong("DIR", f"{folder!r} is there and not empty; name a folder that is new or empty")
    path = context.catalogue.path(arguments.source)
    profile = context.profile(arguments.source)
    if path.endswith(".json"):
        text = toml_writer.written(profile)
    else:
        text = contents(path, "profile").decode("utf-8-sig")
    try:
        files = plugin_project.files(profile, text, __version__)
    except ValueError as error:
        raise InputError([Problem(file=path, where="profile", message=str(error))]) from None
    for name, content in files.items():
        _write(os.path.join(folder, *name.split("/")), content)
    if context.json:
        context.answer({"folder": folder, "machine": profile.id, "files": list(files)})
        return 0
    context.say(f"{profile.name} is packaged in {folder}:")
    for name in files:
        context.say(f"  {name}")
    context.say("\nNext, in that folder:")
    context.say("  pip install -e '.[test]'")
    context.say("  pytest")
    context.say(f"  simrig vet {profile.id}")
    context.say("The scenarios repeat the profile: hold them against a machine.")
    return 0


def _write(path: str, content: str) -> None:
    try:
        os.makedirs(os.path.dirname(path), exist_ok=True)
        with open(path, "x", encoding="utf-8", newline="") as file:
            file.write(content)
    except OSError as error:
        message = f"it cannot be written ({error.strerror or error}); name another folder"
        raise InputError([Problem(file=path, where="DIR", message=message)]) from None
