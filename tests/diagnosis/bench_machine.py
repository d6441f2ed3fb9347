"""A small invented machine for the bench: three balls, four beams in two banks, an interlock."""

from __future__ import annotations

from simrig.profile.machine import Profile
from simrig.profile.reader import read

TEXT = """\
format = 1
id = "bench-mill"
title = "Bench Mill"
[balls]
installed = 3
store = "trough"
extra = ["trough.jam"]
[[place]]
id = "trough"
kind = "trough"
seats = 3
position_1 = "exit end"
jam = true
[[place]]
id = "lane"
kind = "shooter lane"
seats = 1
position_1 = "exit end"
[[place]]
id = "field"
kind = "playfield"
seats = "any"
[[route]]
id = "serve"
from = "trough"
to = ["lane"]
by = "coil"
coil = "kicker"
[[route]]
id = "drain"
from = "field"
to = ["trough"]
by = "gravity"
[[phase]]
id = "idle"
placements = [{ trough = "rest" }]
[[phase]]
id = "ready"
placements = [{ lane = 1, trough = "rest" }]
[[sensor]]
id = "t1"
kind = "opto"
at = ["trough.1"]
bank = "low"
resistor_ohm = 560
board = "eyes"
channel = 1
address = "direct 1"
beside = "kicker"
[[sensor]]
id = "t2"
kind = "opto"
at = ["trough.2"]
bank = "low"
resistor_ohm = 560
board = "eyes"
channel = 2
address = "direct 2"
beside = "none"
[[sensor]]
id = "t3"
kind = "opto"
at = ["trough.3"]
bank = "high"
resistor_ohm = 560
board = "eyes"
channel = 3
address = "direct 3"
beside = "none"
[[sensor]]
id = "lane-ball"
kind = "micro-switch"
at = ["lane.1"]
contact = "normally open"
common = "none"
address = "direct 4"
connector = "lane-plug"
pin = 1
[[supply]]
id = "light"
volts = 12
fuse = "f1"
[[supply]]
id = "logic"
volts = 5
fuse = "f2"
[[fuse]]
id = "f1"
rating = "T 1 A"
[[fuse]]
id = "f2"
[[fuse]]
id = "f3"
[[bank]]
id = "low"
supply = "light"
fuse = "none"
plug = "plug-a"
forward_volts = 1.2
[[bank]]
id = "high"
supply = "light"
fuse = "none"
plug = "plug-b"
forward_volts = 1.2
[[board]]
id = "eyes"
supply = "logic"
sensor_plug = "eye-plug"
output_plug = "out-plug"
output_closes = "dark"
without_supply = "open"
[[connector]]
id = "plug-a"
pins = 3
place = "underside"
alike = ["plug-b"]
[[connector]]
id = "plug-b"
pins = 3
place = "underside"
alike = ["plug-a"]
[[connector]]
id = "eye-plug"
place = "underside"
[[connector]]
id = "out-plug"
place = "underside"
[[connector]]
id = "lane-plug"
place = "cabinet floor"
[[coil_bank]]
id = "kickers"
volts = 36
fuse = "f3"
interlocked = true
[[coil]]
id = "kicker"
bank = "kickers"
ohms = 5
[interlock]
fitted = true
"""


def bench_machine(text: str = TEXT) -> Profile:
    """Return the machine, or another that a changed text states."""
    return read(text.encode(), "bench-mill.toml")
