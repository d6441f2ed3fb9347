"""A small machine to diagnose by hand: three beams in a trough, a contact in the launcher.

All three emitters hang on one fuse and one plug, all three receivers on one board whose
outputs close when dark: closed means a ball.  The launcher's contact has a wire of its own.
"""

from __future__ import annotations

from collections.abc import Iterable

from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import observe
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.world.phases import Conditions

_BEAM = """
[[sensor]]
id = "t{n}"
kind = "opto"
at = ["trough.{n}"]
bank = "emitters"
board = "receivers"
channel = {n}
address = "column 1 row {n}"
connector = "none"
beside = "{beside}"
"""

TEXT = (
    """
format = 1
id = "copper-lantern"
[balls]
installed = 3
store = "trough"
extra = ["launcher"]
[[place]]
id = "trough"
kind = "trough"
seats = 3
position_1 = "exit end"
[[place]]
id = "launcher"
kind = "launcher"
seats = 1
[[place]]
id = "playfield"
kind = "playfield"
seats = "any"
[[route]]
id = "serve"
from = "trough"
to = ["launcher"]
by = "coil"
coil = "kicker"
[[route]]
id = "launch"
from = "launcher"
to = ["playfield"]
by = "plunger"
[[route]]
id = "drain"
from = "playfield"
to = ["trough"]
by = "gravity"
[[phase]]
id = "idle"
placements = [{ trough = "rest" }]
[[phase]]
id = "ready"
placements = [{ launcher = 1, trough = "rest" }]
[matrix]
columns = 2
rows = 3
diodes = "all"
[[supply]]
id = "twelve"
volts = 12
fuse = "none"
[[fuse]]
id = "f1"
[[connector]]
id = "emitter-plug"
[[connector]]
id = "output-plug"
[[bank]]
id = "emitters"
supply = "twelve"
fuse = "f1"
plug = "emitter-plug"
[[board]]
id = "receivers"
output_closes = "dark"
output_plug = "output-plug"
[[coil]]
id = "kicker"
"""
    + "".join(_BEAM.format(n=n, beside="kicker" if n == 1 else "none") for n in (1, 2, 3))
    + """
[[sensor]]
id = "launcher-ball"
kind = "micro-switch"
at = ["launcher.1"]
contact = "normally open"
common = "none"
address = "column 2 row 1"
connector = "none"
"""
)


def machine(text: str = TEXT) -> Profile:
    """Return the machine."""
    return read(text.encode(), "small.toml")


def sheet(
    profile: Profile,
    closed: Iterable[str],
    *,
    phase: str | None = None,
    balls: int | None = None,
    unknown: Iterable[str] = (),
    flicker: Iterable[str] = (),
) -> Sheet:
    """Return a sheet on which these read closed and all others open."""
    return Sheet(
        observation=observe(
            profile, closed=closed, unknown=unknown, flicker=flicker, closed_named=True
        ),
        conditions=Conditions(phase=phase, balls=balls),
    )
