"""Brings the machine orchard-signal."""

from collections.abc import Iterable
from pathlib import Path

from simrig.host import hookimpl


@hookimpl
def simrig_profiles() -> Iterable[Path]:
    """Return the path of the profile."""
    return [Path(__file__).with_name("orchard-signal.toml")]
