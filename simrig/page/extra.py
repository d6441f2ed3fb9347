"""The optional packages of the page and of paper, and what to say where they are missing."""

from __future__ import annotations

from importlib.util import find_spec

from simrig.errors import InputError, Problem

INSTALL = "pip install 'simrig[page]'"


def need(what: str, *modules: str) -> None:
    """Raise InputError with the line that installs them when any of the modules is missing."""
    missing = [name for name in modules if find_spec(name) is None]
    if missing:
        message = f"{what} needs {', '.join(missing)}; install with: {INSTALL}"
        raise InputError([Problem(file="command line", where="extra [page]", message=message)])
