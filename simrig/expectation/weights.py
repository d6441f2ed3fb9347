"""What it costs an account of a log to explain something so, and for how long it may.

Every weight is a judgement of how likely a thing is beside the others, and every time a
bound on how long it can take (common practice, no source, where nothing else is said).
Balls that roll and are kicked cost next to nothing, hands a little, what cannot be more.
"""

from __future__ import annotations

from typing import Final

from simrig.expectation.transfers import BACK, PICK, PUT

# What cannot be.
TROUBLE: Final = 3.2
"""An anomaly."""
SLIGHT: Final = 2.1
"""A time outside its window."""
VERY_LATE_MS: Final = 5000.0
"""A time so far outside counts as an anomaly."""
FLICKER: Final = 3.0
"""A change that goes back and that nothing explains; the next of the same sensor: AGAIN."""
AGAIN: Final = 0.3
STAYS_ODD: Final = 4.0
"""A change that nothing explains and that does not go back."""
SWAP: Final = 3.8
"""Exchanged leads: more than one anomaly, less than two."""
LONG_FLICKER: Final = 1.0
"""A flicker that lasts longer than LONG_FLICKER_MS, more than a short one."""
LONG_FLICKER_MS: Final = 200.0

# What can be.
FARE: Final = 0.2
"""A move: of two accounts the one with fewer moves is believed."""
PRICE: Final = {
    "take": FARE,
    "set": FARE,
    "feed": 1.0,
    "remove": 1.5,
    BACK: 3.0,
    PUT: 2.2,
    PICK: 2.2,
}
HANDS: Final = ("feed", "remove", PUT, PICK)
HAND_AGAIN: Final = 0.35
"""A hand goes on where a hand has moved the ball before."""
BOTH_HANDS: Final = 2.5
"""A hand takes one ball while another is fed or kicked, within HAND_MS."""
HAND_MS: Final = 1000.0
ONE_TOO_MANY: Final = 1.0
"""A hand puts in one ball more than are installed."""
NO_KICK: Final = 3.0
"""A ball leaves by a coil that, in a log that tells of coils, has not fired."""
EMPTY_KICK: Final = 0.6
"""A coil has fired and the ball before it has not moved."""
REBOUND: Final = 0.25
"""A ball that has just come rolls off its sensor and on again."""
PHANTOM: Final = 0.1
"""A closed reading that other switches make."""
UNSEEN_MOVE: Final = 0.3
"""A ball has gone from place to place where no sensor must show it, besides its fare."""
UNSEEN: Final = 0.05
"""A pass has not been seen that may go unseen."""
BEFORE_THE_LOG: Final = 0.2
"""A move was under way when the log began."""

# How long.
ODD_MS: Final = 2000.0
"""A change that nothing explains is a flicker if it goes back within this time."""
REBOUNDS_MS: Final = 2000.0
"""How long after it has arrived a ball may still rebound."""
SHORTEST_REBOUND_MS: Final = 20.0
"""Rolling off a sensor and on again takes longer than a contact bounces: 6.2 ms at most in a
sample of switches (Ganssle, A guide to debouncing)."""
BOUNCE_MS: Final = 60.0
"""A bounce follows its edge within this time."""
ONE_FLICKER_MS: Final = 500.0
"""Flickers of one sensor this close together are told as one."""
UNDER_WAY_MS: Final = 1000.0
"""A move first seen so soon after the log has begun may have begun before it."""
KICKED_MS: Final = 1500.0
"""A ball moves at most so long after the kick that moves it."""
HANGS_MS: Final = 20_000.0
"""A ball that has not arrived for so long hangs, where no window ends sooner."""
SETTLED_MS: Final = 3000.0
"""A move stays in mind for so long after all of it has been seen."""
LATEST_MS: Final = 3000.0
"""What has not been seen for so long after it was due has been missed."""
LEEWAY_MS: Final = 1.0
"""Times in logs are rounded."""
ORDERED: Final = 12
"""In a log without times so many rows stand for a few seconds."""

MOST_TOLD: Final = 5000
"""Anomalies that are kept; more are only counted."""
