"""The public functions for Python; the commands of the same names mean the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from simrig.expectation import comparison, prediction
from simrig.expectation.observation import observe, resolve
from simrig.host.catalogue import Catalogue
from simrig.profile.machine import Profile
from simrig.world.phases import Conditions


def load(reference: str) -> Profile:
    """Return the profile of an installed machine's id, or of a file.

    Raises a SimrigError that says what is wrong and where.
    """
    return Catalogue().load(reference)


def expect(
    profile: Profile,
    *,
    phase: str | None = None,
    balls: int | None = None,
    at: Mapping[str, int] | None = None,
) -> prediction.Prediction:
    """Predict the reading of each ball sensor; raises ValueError for impossible conditions."""
    return prediction.expect(profile, Conditions(phase=phase, balls=balls, at=at))


def compare(
    profile: Profile,
    seen: Mapping[str, str] | Iterable[str],
    *,
    phase: str | None = None,
    balls: int | None = None,
    at: Mapping[str, int] | None = None,
) -> comparison.Comparison:
    """Compare what was seen: readings by sensor, or the sensors that read closed.

    Raises ValueError for an unknown sensor or impossible conditions.
    """
    conditions = Conditions(phase=phase, balls=balls, at=at)
    if isinstance(seen, Mapping):
        lists: dict[str, list[str]] = {"closed": [], "open": [], "unknown": [], "flickers": []}
        for name, reading in seen.items():
            if reading not in lists:
                raise ValueError(f'"{reading}" is no reading; wanted one of {", ".join(lists)}')
            lists[reading].extend(resolve(profile, name))
        observation = observe(
            profile,
            closed=lists["closed"],
            open=lists["open"],
            unknown=lists["unknown"],
            flicker=lists["flickers"],
            closed_named=True,
            open_named=True,
        )
    else:
        named = [one for name in seen for one in resolve(profile, name)]
        observation = observe(profile, closed=named, closed_named=True)
    return comparison.compare(profile, observation, conditions)
