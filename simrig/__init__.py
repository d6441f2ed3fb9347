"""simrig: what every ball sensor of a machine must read, what does not fit, and which part it is.

The names below are the whole public interface for Python; the commands of the
same names mean the same.  Each is imported when it is first used.
"""

from __future__ import annotations

from simrig.version import VERSION

# The typing module would cost more than all that telling the version takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from simrig.api import campaign, compare, diagnose, expect, load, sheet
    from simrig.expectation.rig import Rig

__version__ = VERSION
__all__ = ["Rig", "__version__", "campaign", "compare", "diagnose", "expect", "load", "sheet"]

_HOMES = {
    "Rig": "simrig.expectation.rig",
    "campaign": "simrig.api",
    "compare": "simrig.api",
    "diagnose": "simrig.api",
    "expect": "simrig.api",
    "load": "simrig.api",
    "sheet": "simrig.api",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
