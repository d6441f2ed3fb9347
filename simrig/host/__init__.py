"""Plug-ins: the hooks they fill, how they are probed and loaded, the machines they bring.

``hookimpl`` marks the functions of a plug-in that fill a hook.
"""

from typing import Any

__all__ = ["hookimpl"]


def __getattr__(name: str) -> Any:
    # pluggy is imported only where a plug-in, or the host itself, needs it.
    if name == "hookimpl":
        from simrig.host.hookspecs import hookimpl

        return hookimpl
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
