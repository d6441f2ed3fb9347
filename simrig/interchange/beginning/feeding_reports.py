"""What is not as it should be in a trough that was found by feeding, in words."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from simrig.profile.machine import Profile
from simrig.signals import CLOSED, OPEN


def reading_when_empty(name: str, closed: frozenset[str] | None) -> str | None:
    """Return how a switch read with all balls out; None where nobody knows."""
    if closed is None:
        return None
    return CLOSED if name in closed else OPEN


def in_words(profile: Profile, name: str) -> str:
    """Return a switch by its name and number."""
    sensor = profile.row("sensor", name)
    number = "" if sensor.number is None else f" ({sensor.number})"
    return f"{sensor.title}{number}"


def likely(profile: Profile, names: list[str], reports: list[str], ball: int) -> list[str]:
    """Of several switches that one ball changed, the one named after a trough, if it is alone."""
    named = [one for one in names if re.search("trough", profile.row("sensor", one).title, re.I)]
    words = " and ".join(in_words(profile, one) for one in names)
    if len(named) == 1:
        rest = [in_words(profile, one) for one in names if one not in named]
        verb = "is" if len(rest) == 1 else "are"
        others = " and ".join(rest)
        reports.append(f"Ball {ball} changed {words}: {others} {verb} not built in; look there.")
        return named
    reports.append(f"Ball {ball} changed {words}: none of them is built in; look there.")
    return []


def silent(
    profile: Profile,
    positions: Sequence[str | None],
    fresh: Mapping[int, list[str]],
    closed: frozenset[str] | None,
) -> list[str]:
    """Say which balls changed nothing, and which switch their position leads one to expect."""
    reports = []
    for index, name in enumerate(positions):
        if name is not None or fresh.get(index + 1):
            continue
        words = (
            f"Ball {index + 1} changed nothing: position {index + 1} from the exit end has no "
            "switch, or its switch or beam is dead."
        )
        suspect = _expected_there(profile, positions, index)
        if suspect is not None:
            words += f" By its name it would be {in_words(profile, suspect)}"
            before = reading_when_empty(suspect, closed)
            words += f", which read {before} all the time: look there first." if before else "."
        reports.append(words + " It is not built in.")
    return reports


def strangers(profile: Profile, positions: list[str | None]) -> Iterator[str]:
    """Take out, and tell of, a switch that answered where the names lead one to expect another."""
    for index, name in enumerate(positions):
        others = [one if at != index else None for at, one in enumerate(positions)]
        if name is None or sum(one is not None for one in others) < 2:
            continue
        expected = _expected_there(profile, others, index)
        if expected is not None and expected != name:
            positions[index] = None
            yield (
                f"Ball {index + 1} changed {in_words(profile, name)}; by its name "
                f"{in_words(profile, expected)} would be there, and said nothing. Neither is built "
                "in; look at both."
            )


def doubtful(
    profile: Profile, positions: Sequence[str | None], now: Mapping[str, str]
) -> Iterator[str]:
    """Tell of what is built in as it answered, but is not like its neighbours."""
    names = [name for name in positions if name is not None]
    counts = Counter(now[name] for name in names)
    for name in names:
        other = next((reading for reading in counts if reading != now[name]), None)
        if other is not None and counts[now[name]] < counts[other]:
            yield (
                f"{in_words(profile, name)} reads {now[name]} with a ball where most others read "
                f"{other}. It is built in so; look whether it is wired to the wrong lug."
            )
    stems = [_stem(profile, name) for name in names]
    steps = {other[1] - one[1] for one, other in itertools.pairwise(stems)}
    alike = len({stem for stem, _ in stems}) == 1 and all(number >= 0 for _, number in stems)
    if alike and any(step > 0 for step in steps) and any(step < 0 for step in steps):
        listed = ", ".join(in_words(profile, name) for name in names)
        yield (
            f"From the exit end they answered in the order {listed}. It is built in so; look "
            "whether leads are exchanged."
        )


def _expected_there(profile: Profile, positions: Sequence[str | None], index: int) -> str | None:
    """The switch that the names of the others lead one to expect at a silent position."""
    known = {
        place: _stem(profile, name) for place, name in enumerate(positions) if name is not None
    }
    others = {_stem(profile, sensor.id): sensor.id for sensor in profile.sensor}
    for place, (stem, number) in known.items():
        for step in (1, -1):
            runs = all(one == (stem, number + step * (at - place)) for at, one in known.items())
            other = others.get((stem, number + step * (index - place)))
            if number >= 0 and runs and other is not None and other not in positions:
                return other
    return None


def _stem(profile: Profile, name: str) -> tuple[str, int]:
    """The words of a switch's name before its number, and the number; -1000 for none."""
    title = profile.row("sensor", name).title
    match = re.search(r"(.*?)(\d{1,2})(?!.*\d)", title)
    return (match[1], int(match[2])) if match else (title, -1000)
