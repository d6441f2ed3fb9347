"""The public functions for Python; the commands of the same names mean the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, cast

from simrig.expectation import comparison, prediction
from simrig.expectation.observation import Observation, observe, resolve
from simrig.host.catalogue import Catalogue
from simrig.profile.machine import Profile
from simrig.world.phases import Conditions

if TYPE_CHECKING:
    from simrig.diagnosis.diagnose import Diagnosis
    from simrig.diagnosis.suspects import Sheet


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
    return comparison.compare(profile, _observation(profile, seen), conditions)


def diagnose(
    profile: Profile,
    seen: Mapping[str, str] | Iterable[str] | Sequence[Sheet],
    *,
    phase: str | None = None,
    balls: int | None = None,
    at: Mapping[str, int] | None = None,
    faults: int = 2,
) -> Diagnosis:
    """Diagnose what was seen, with up to ``faults`` things wrong at once.

    ``seen`` is one sheet as for :func:`compare`, or several made by :func:`sheet`, each
    with its own conditions.  Raises ValueError for an unknown sensor or impossible
    conditions.
    """
    from simrig.diagnosis import diagnose as diagnosis

    sheets = _sheets(seen)
    if sheets and (phase is not None or balls is not None or at is not None):
        raise ValueError("each sheet carries its own phase, balls and at; leave them out here")
    if not sheets:
        named = cast("Mapping[str, str] | Iterable[str]", seen)
        sheets = (sheet(profile, named, phase=phase, balls=balls, at=at),)
    kinds = Catalogue().fault_kinds()
    return diagnosis.diagnose(profile, sheets, kinds=kinds, limit=faults)


def _sheets(seen: Mapping[str, str] | Iterable[str] | Sequence[Sheet]) -> tuple[Sheet, ...]:
    from simrig.diagnosis.suspects import Sheet

    if isinstance(seen, str | Mapping) or not isinstance(seen, Sequence):
        return ()
    found = tuple([one for one in seen if isinstance(one, Sheet)])
    if found and len(found) < len(seen):
        raise ValueError("sheets and names of sensors are mixed; give one or the other")
    return found


def sheet(
    profile: Profile,
    seen: Mapping[str, str] | Iterable[str],
    *,
    phase: str | None = None,
    balls: int | None = None,
    at: Mapping[str, int] | None = None,
) -> Sheet:
    """Return what was seen at one time, with its conditions, for :func:`diagnose`.

    ``seen`` is as for :func:`compare`.  Raises ValueError for an unknown sensor.
    """
    from simrig.diagnosis.suspects import Sheet

    return Sheet(
        observation=_observation(profile, seen),
        conditions=Conditions(phase=phase, balls=balls, at=at),
    )


def _observation(profile: Profile, seen: Mapping[str, str] | Iterable[str]) -> Observation:
    if isinstance(seen, str):
        seen = seen.split(",")
    if not isinstance(seen, Mapping):
        named = [one for name in seen for one in resolve(profile, name)]
        return observe(profile, closed=named, closed_named=True)
    lists: dict[str, list[str]] = {"closed": [], "open": [], "unknown": [], "flickers": []}
    for name, reading in seen.items():
        if reading not in lists:
            raise ValueError(f'"{reading}" is no reading; wanted one of {", ".join(lists)}')
        lists[reading].extend(resolve(profile, name))
    return observe(
        profile,
        closed=lists["closed"],
        open=lists["open"],
        unknown=lists["unknown"],
        flicker=lists["flickers"],
        closed_named=True,
        open_named=True,
    )
