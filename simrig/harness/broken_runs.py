"""A run that broke a rule, and the scenario that reproduces it."""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from simrig.interchange.toml_writer import pair
from simrig.profile.machine import Profile
from simrig.signals import CLOSED, EITHER


@attrs.frozen(kw_only=True)
class Run:
    """What was done, and what every sensor should read after it.

    Either ``steps`` are moves from home, or ``spots`` were set outright, in a phase
    with a number of balls where they are stated.
    """

    wanted: Mapping[str, str]
    steps: tuple[str, ...] = ()
    phase: str | None = None
    balls: int | None = None
    spots: frozenset[str] | None = None


class BrokenError(Exception):
    """A rule that does not hold: in words, and with the smallest run that shows it."""

    def __init__(self, words: str, *, run: Run | None = None) -> None:
        super().__init__(words)
        self.run = run


def scenario(profile: Profile, machine: str, words: str, run: Run) -> str:
    """Return a scenario file that fails for as long as the rule does not hold.

    ``machine`` is the machine's id or the path of its profile.
    """
    counted = {sensor.id for sensor in profile.sensor if sensor.spots and sensor.counted}
    lines = [
        "# The smallest run that broke a rule of the conformance suite.",
        "# simrig run FILE fails until it is mended; then this file can stay as a test.",
        "",
        "format = 1",
        pair("title", "Conformance: " + words[:200]),
        pair("machine", machine),
        'tags = ["conformance"]',
        "",
        "[[step]]",
    ]
    if run.spots is None:
        lines.append(pair("do", list(run.steps)))
    else:
        stated = {"phase": run.phase, "balls": run.balls}
        lines += [pair(key, value) for key, value in stated.items() if value is not None]
        lines.append(pair("seats", sorted(run.spots) or "none"))
    for key, reading in (("closed", CLOSED), ("either", EITHER)):
        names = [
            name
            for name, wanted in run.wanted.items()
            if wanted == reading and (name in counted or key == "closed")
        ]
        if names or key == "closed":
            lines.append(pair(key, names))
    lines.append(pair("note", "worked out alone, position by position, by the conformance suite"))
    return "\n".join(lines) + "\n"
