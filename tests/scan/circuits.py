"""Circuits for tests, drawn at random."""

from __future__ import annotations

import random

from simrig.scan.circuit import Circuit, Crossing
from simrig.world.worlds import Value


def broken_and_bridged(chance: random.Random, worlds: int) -> Circuit:
    """Any way of passing at each crossing, wires in two pieces, bridged lines, odd strobes."""
    size = chance.randint(2, 5)
    numbers = range(1, size + 1)
    crossings = tuple(
        Crossing(
            sensor=f"{c},{r}",
            column=(c, chance.choice((0, 0, 1))),
            row=(r, chance.choice((0, 0, 1))),
            forward=chance.random() < 0.8,
            backward=None
            if chance.random() < 0.4
            else Value(low := chance.getrandbits(worlds), low | chance.getrandbits(worlds)),
        )
        for c in numbers
        for r in numbers
    )
    return Circuit(
        crossings=crossings,
        strobes={n: frozenset({(n, 0), (chance.choice(numbers), 0)}) for n in numbers},
        reads={n: frozenset({(n, 0)}) for n in numbers},
        joined=tuple(
            (chance.choice(("row", "column")), *chance.sample(numbers, 2))
            for _ in range(chance.randint(0, 2))
        ),
    )
