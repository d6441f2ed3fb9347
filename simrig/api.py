"""The public functions for Python; the commands of the same names mean the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict, Unpack, cast

from simrig.expectation import comparison, prediction
from simrig.expectation.observation import Observation, observe, resolve
from simrig.host.catalogue import Catalogue
from simrig.profile.machine import Profile
from simrig.world.phases import Conditions

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from simrig.diagnosis.diagnose import Diagnosis
    from simrig.diagnosis.suspects import Sheet
    from simrig.faults.candidates import Fault
    from simrig.interchange.campaign_document import Campaigned


def load(reference: str) -> Profile:
    """Return the profile that ``reference`` names: an installed machine's id, or a file's path.

    Raises a SimrigError that says what is wrong and where.
    """
    return Catalogue().load(reference)


class Stated(TypedDict, total=False):
    """What is taken for granted about a machine: the options of the command line.

    ``phase`` (idle when left out) and ``balls`` (all installed when left out) are assumed.
    What the eye saw is certain: ``at`` gives the number of balls at places, ``seats`` exactly
    the positions that hold a ball (empty: none does), ``state`` how mechanisms stand.
    """

    phase: str | None
    balls: int | None
    at: Mapping[str, int] | None
    seats: Iterable[str] | None
    state: Mapping[str, str] | None


def expect(
    profile: Profile, *, fault: str | Iterable[str] = (), **stated: Unpack[Stated]
) -> prediction.Prediction:
    """Predict the reading of each ball sensor of a ``profile``.

    ``fault`` names one fault, or several, to put in: ``KIND:PART``.  The rest is
    :class:`Stated`.  Raises ValueError for impossible conditions, or a fault that the machine
    cannot have.
    """
    names = (fault,) if isinstance(fault, str) else tuple(fault)
    faults: list[Fault] = []
    if names:
        from simrig.faults.candidates import fault_named, possible_faults

        possible = possible_faults(profile, Catalogue().fault_kinds())
        faults = [fault_named(possible, name) for name in names]
    return prediction.expect(profile, _conditions(profile, stated), faults=faults)


def compare(
    profile: Profile, seen: Mapping[str, str] | Iterable[str], **stated: Unpack[Stated]
) -> comparison.Comparison:
    """Compare what was ``seen`` with what the ``profile`` makes of the conditions.

    ``seen`` gives readings by sensor (closed, open, flickers, unknown), or names the sensors
    that read closed: ids, addresses, numbers, ranges.  Other ball sensors are open.  The rest
    is :class:`Stated`.  Raises ValueError for an unknown sensor or impossible conditions.
    """
    conditions = _conditions(profile, stated)
    return comparison.compare(profile, _observation(profile, seen), conditions)


def diagnose(
    profile: Profile,
    seen: Mapping[str, str] | Iterable[str] | Sequence[Sheet],
    *,
    faults: int = 2,
    **stated: Unpack[Stated],
) -> Diagnosis:
    """Diagnose what was seen on a ``profile``'s machine, up to ``faults`` things wrong at once.

    ``seen`` is one sheet as for :func:`compare`, or several made by :func:`sheet`, each
    with its own conditions.  The rest is :class:`Stated`.  Raises ValueError for an unknown
    sensor or impossible conditions.
    """
    from simrig.diagnosis import diagnose as diagnosis

    sheets = _sheets(seen)
    if sheets and any(value is not None for value in stated.values()):
        raise ValueError(f"each sheet carries its own {', '.join(stated)}; leave them out here")
    if not sheets:
        named = cast("Mapping[str, str] | Iterable[str]", seen)
        sheets = (sheet(profile, named, **stated),)
    kinds = Catalogue().fault_kinds()
    return diagnosis.diagnose(profile, sheets, kinds=kinds, limit=faults)


def campaign(
    machines: str | Iterable[str],
    *,
    executor: Executor | None = None,
    singles: int | None = None,
    pairs: int = 0,
    seed: int = 0,
    examples: int | None = None,
    keep: str | Path | None = None,
) -> Iterator[Campaigned]:
    """Vet machines and inject their faults; yield each as it is done.

    ``machines`` are ids, profile files and folders of them.  ``executor`` does the work: any
    of :mod:`concurrent.futures`, or what another engine has of the kind; without one it is
    done here.  What comes back is the same for every executor, in another order: sort by
    ``number``.  ``singles`` None injects every single fault of a machine, a number so many drawn
    by ``seed``; ``pairs`` are drawn so too.  With ``examples`` the conformance suite is run as
    well, which draws so many for each check.  Finished work is kept in the file ``keep``, and
    taken from there the next time.

    Raises InputError at once where a name means no machine or ``keep`` is no file of this work,
    and a SimrigError in the end, when all others are done, with what is wrong with those that
    could not be done.  BrokenExecutor is raised where the executor is broken for good.
    """
    from simrig.fleet.machines import named
    from simrig.fleet.orders import Options
    from simrig.fleet.running import Run, kept
    from simrig.fleet.workers import Given, Here

    options = Options(singles=singles, pairs=pairs, seed=seed, examples=examples)
    found = named(Catalogue(), (machines,) if isinstance(machines, str) else machines)
    keeping = None if keep is None else kept(Path(keep), found, options)
    run = Run(found, options, keeping=keeping)
    workers = Here() if executor is None else Given(executor)

    def done() -> Iterator[Campaigned]:
        with nullcontext() if keeping is None else keeping:
            for step in run.steps(workers):
                if step.finished is not None:
                    yield step.finished
        run.raise_failures()

    return done()


def _sheets(seen: Mapping[str, str] | Iterable[str] | Sequence[Sheet]) -> tuple[Sheet, ...]:
    from simrig.diagnosis.suspects import Sheet

    if isinstance(seen, str | Mapping) or not isinstance(seen, Sequence):
        return ()
    found = tuple([one for one in seen if isinstance(one, Sheet)])
    if found and len(found) < len(seen):
        raise ValueError("sheets and names of sensors are mixed; give one or the other")
    return found


def sheet(
    profile: Profile, seen: Mapping[str, str] | Iterable[str], **stated: Unpack[Stated]
) -> Sheet:
    """Return what was seen on a ``profile``'s machine at one time, for :func:`diagnose`.

    ``seen`` is as for :func:`compare`; its conditions are :class:`Stated`.  Raises
    ValueError for an unknown sensor, place, position or mechanism.
    """
    from simrig.diagnosis.suspects import Sheet

    return Sheet(observation=_observation(profile, seen), conditions=_conditions(profile, stated))


def _conditions(profile: Profile, stated: Stated) -> Conditions:
    from simrig.interchange.sheets import condition_faults

    seats = stated.get("seats")
    conditions = Conditions(
        phase=stated.get("phase"),
        balls=stated.get("balls"),
        at=stated.get("at"),
        spots=None if seats is None else frozenset(seats),
        states=dict(stated.get("state") or {}),
    )
    if faults := condition_faults(profile, conditions):
        raise ValueError("; ".join(faults))
    return conditions


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
