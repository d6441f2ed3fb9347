"""How a reading answers when something is done to its sensor, in words."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator

from simrig.diagnosis.bench_case import Act, Case
from simrig.signals import opposite


def answers(
    case: Case, sensor: str, first: Act, second: Act, balls: Iterable[int | str]
) -> frozenset[str]:
    """Return how the readings answer when an act gives way to another, as words.

    ``answers``: its own reading changes as it must; ``inverted``: the other way round;
    ``stays-open`` or ``stays-closed``; ``elsewhere``: another one changes in its stead;
    ``others-too``: another one changes with it.
    """
    sound = case.ground.sound
    found: set[str] = set()
    read = [case.cells(act) for act in (first, second)]
    right = [sound.cells(act) for act in (first, second)]
    # A cell that is as on the sound machine in every position answers as it must.
    changed = [
        name
        for name in read[0].cells
        if name != sensor
        and any(
            one.cells[name] is not same.cells[name] for one, same in zip(read, right, strict=True)
        )
    ]
    for number in balls:
        own = [case.reads(one, sensor, number) for one in read]
        must = [sound.reads(one, sensor, number) for one in right]
        other = any(
            case.reads(read[0], name, number) != case.reads(read[1], name, number)
            and sound.reads(right[0], name, number) == sound.reads(right[1], name, number)
            for name in changed
        )
        for pair in itertools.product(*own):
            found |= set(_answer(pair, must, other))
    return frozenset(found)


def _answer(pair: tuple[str, ...], must: list[frozenset[str]], other: bool) -> Iterator[str]:
    for right in itertools.product(*must):
        if pair[0] == pair[1]:
            # A reading that must stay and does so is no answer either.
            yield "elsewhere" if other else f"stays-{pair[0]}"
        elif pair == right:
            yield "others-too" if other else "answers"
        elif pair == tuple(opposite(reading) for reading in right):
            yield "inverted"
