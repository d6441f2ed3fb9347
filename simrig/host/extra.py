"""The optional packages that some commands need, and what to say where they are missing."""

from __future__ import annotations

from importlib.util import find_spec

from simrig.errors import InputError, Problem


def need(what: str, *modules: str, extra: str = "page") -> None:
    """Raise InputError with the line that installs them when any of the modules is missing."""
    missing = [name for name in modules if find_spec(name) is None]
    if missing:
        line = f"pip install 'simrig[{extra}]'"
        message = f"{what} needs {', '.join(missing)}; install with: {line}"
        raise InputError([Problem(file="command line", where=f"extra [{extra}]", message=message)])
