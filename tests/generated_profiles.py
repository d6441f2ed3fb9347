"""Machines made by Hypothesis: see :mod:`simrig.strategies`."""

from simrig.strategies import profiles

__all__ = ["profiles"]
