"""Hypothesis strategies for machines and what happens on them.

::

    from hypothesis import given
    from simrig import strategies

    @given(strategies.profiles())
    def test_every_machine(profile): ...

    @given(strategies.moves(profile))
    def test_my_machine(steps): ...

All of them shrink towards the plainest case: a machine of one ball and few
sensors, balls at home, no moves, all known.  Hypothesis finds this module by its
entry point, so that ``from_type(Profile)`` works without an import; nothing else of
simrig is loaded before a strategy is asked for.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, cast

if TYPE_CHECKING:
    from collections.abc import Sequence
    from importlib.abc import Loader
    from importlib.machinery import ModuleSpec
    from types import ModuleType

    from hypothesis.strategies import SearchStrategy

    from simrig.expectation.observation import Observation
    from simrig.faults.candidates import Fault
    from simrig.profile.machine import Profile
    from simrig.scan.events import Event
    from simrig.world.balls import Placement

__all__ = ["faults", "logs", "moves", "observations", "placements", "profiles"]


def profiles(*, unknown: bool = False, full: bool = False) -> SearchStrategy[Profile]:
    """Machines: a trough, a lock, a launcher and an open playfield, and drawn from there.

    Every technology of sensor, boards of both polarities, a matrix with and
    without diodes, direct inputs and input boards, supplies, fuses and plugs,
    mechanisms, captive balls; the phases ``idle`` and ``locked`` are always there.
    None contradicts itself.  With ``unknown`` some facts are left out, and some
    are only assumed.  They are small, up to 16 switches; ``full`` ones have 7 to 10 balls and 40 to 60
    switches, as usual machines do.
    """
    from simrig.strategies import machines

    return machines.profiles(unknown, full)


def placements(profile: Profile, *, balls: int | None = None) -> SearchStrategy[Placement]:
    """Where balls can be: a legal position of some phase, or one that moves lead to.

    ``balls`` in the machine, all installed when left out.  Raises ValueError where the
    profile states no phase.
    """
    from simrig.strategies import happenings

    return happenings.placements(profile, balls)


def moves(
    profile: Profile, *, most: int = 12, by_hand: bool = True
) -> SearchStrategy[tuple[str, ...]]:
    """Runs of up to ``most`` moves, each of which can be made after the ones before it.

    They start with the balls as the idle phase has them, are written as people
    write them (``serve``, ``remove trough``), and suit :meth:`simrig.Rig.do`.  With ``by_hand`` a
    hand also takes balls out and feeds them in.
    """
    from simrig.strategies import happenings

    return happenings.moves(profile, most, by_hand)


def faults(profile: Profile) -> SearchStrategy[Fault]:
    """Faults that the machine can have: every kind of part, one kind after the other."""
    from simrig.strategies import happenings

    return happenings.faults(profile)


def observations(profile: Profile) -> SearchStrategy[Observation]:
    """What a person can have seen at the ball sensors.

    The readings of some position of the balls, with up to four of them misread,
    flickering or not looked at.
    """
    from simrig.strategies import happenings

    return happenings.observations(profile)


def logs(profile: Profile) -> SearchStrategy[tuple[Event, ...]]:
    """Logs of a run that the machine makes, as a recorder writes them.

    Times are in milliseconds: typical ones, or drawn within their windows; passing
    balls, kicks of coils and what the scan misses are in them.  Replay agrees with every
    one.  They start with every reading that unknown facts do not leave open.
    """
    from simrig.strategies import happenings

    return happenings.logs(profile)


_HOME = "simrig.profile.machine"


def _register() -> None:
    """Tell Hypothesis how to make a Profile; called by its entry point, once."""
    if _HOME in sys.modules:
        _tell()
    else:
        sys.meta_path.insert(0, _Waiting())


def _tell() -> None:
    from hypothesis.strategies import register_type_strategy

    # Made only when it is asked for: what makes it imports modules that may be waiting for
    # that of Profile at this moment.
    register_type_strategy(sys.modules[_HOME].Profile, lambda _: profiles(unknown=True))


class _Waiting:
    """Waits for the module of Profile to be imported: a type cannot be told before it exists."""

    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None, /
    ) -> ModuleSpec | None:
        """Find the module as usual, and have Hypothesis told after it is loaded."""
        if name != _HOME:
            return None
        sys.meta_path.remove(self)
        from importlib.util import find_spec

        spec = find_spec(name)
        if spec is not None and spec.loader is not None:
            spec.loader = cast("Loader", _Telling(spec.loader))
        return spec


class _Telling:
    """A loader that has Hypothesis told once its module is loaded, and then steps aside.

    It stands around the usual loader, which may serve other modules too.
    """

    def __init__(self, usual: Loader) -> None:
        self._usual = usual

    def create_module(self, spec: ModuleSpec) -> ModuleType | None:
        """Make the module as usual."""
        return self._usual.create_module(spec)

    def exec_module(self, module: ModuleType) -> None:
        """Load the module as usual, then tell Hypothesis."""
        module.__loader__ = self._usual
        if module.__spec__ is not None:
            module.__spec__.loader = self._usual
        self._usual.exec_module(module)
        _tell()
