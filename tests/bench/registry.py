"""All benches, in the order of the table."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

BENCHES = (
    "flow",
    "diagnosis",
    "sequencing",
    "placements",
    "scan",
    "profile",
    "replay",
    "history",
    "page",
    "startup",
)
"""``flow`` is the module ``bench_flow``: its TITLE, its CLAIMS, and ``run(effort)``, which
yields a row for each claim, in their order, and curves."""

BY_HAND = ("fleet",)
"""Benches that take longer than all of these together: each is run by itself."""


def module(name: str) -> ModuleType:
    """Return the module of a bench; ModuleNotFoundError where a peer is not installed."""
    return import_module(f"tests.bench.bench_{name}")
