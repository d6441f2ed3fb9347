"""All readings at rest held against those that an account's balls make, phantoms too.

In a matrix without diodes a closed reading may be another switch's.  While something moves
it is let pass; once nothing does, the readings of all switches together tell whether it can be.
"""

from __future__ import annotations

import math

from simrig.expectation.accounts import Account
from simrig.expectation.anomalies import Anomaly
from simrig.expectation.movers import DONE, PENDING
from simrig.expectation.odd import Odd
from simrig.expectation.scene import Scene
from simrig.expectation.weights import TROUBLE


def look_at_rest(account: Account, scene: Scene) -> None:
    """Note what an account cannot explain of the readings at rest, and what it costs."""
    if account.swap or not scene.contacts.open_to_phantoms:
        return
    for name in _not_as_believed(account, scene):
        if _came_unseen(account, scene, name):
            continue
        read = scene.closed[name]
        old = account.odd.get(name)
        account.cost += TROUBLE - (old.cost if old else 0.0)
        account.odd[name] = Odd(
            scene.time, TROUBLE, rebound=False, soft=False, flagged=True, line=0
        )
        account.note(
            Anomaly(
                time_ms=None if scene.ordered_only else scene.time,
                sensor=name,
                kind="stuck" if read else "missed",
                why=f"{name} reads {'closed' if read else 'open'} at rest, which it cannot with "
                "the balls where they must lie by then",
            )
        )


def _not_as_believed(account: Account, scene: Scene) -> list[str]:
    found = []
    for name, closed in scene.contacts.reads_with(frozenset(account.belief)).items():
        read, odd = scene.closed.get(name), account.odd.get(name)
        if None not in (closed, read) and closed != read and (odd is None or odd.soft):
            found.append(name)
    return found


def _came_unseen(account: Account, scene: Scene, name: str) -> bool:
    """Take a ball on its way for one that came while another switch made its sensor read so."""
    worked = account.reads(scene, name)
    for mover in account.movers:
        for index in mover.motion.at_sensor.get(name, ()):
            one = mover.motion.passes[index]
            waits = mover.state[index] == PENDING and one.length_ms is None
            if waits and one.worked == worked and not mover.unseen(index):
                mover.state[index] = DONE
                account.believe(name, one.worked)
                account.odd.pop(name, None)
                mover.refresh()
                mover.trouble = mover.cost()
                account.check_at = -math.inf
                return True
    return False
