"""Kinds of fault that plug-ins bring: suspected like the built-in ones, or refused by name."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from simrig.diagnosis.diagnose import diagnose
from simrig.errors import PluginError, Problem
from simrig.faults.modes import FAULT_KINDS
from simrig.host.catalogue import Catalogue
from simrig.host.entries import Entry
from simrig.host.found import Index
from tests.diagnosis.small_machine import machine, sheet

CODE = """
from simrig.faults.modes import FaultKind
from simrig.host.hookspecs import hookimpl

@hookimpl
def simrig_fault_kinds():
    return [{kinds}]
"""
FOGGED = (
    'FaultKind(id="receiver-fogged", title="receiver fogged", part="receiver", effect="breaks", '
    'odds=0.5, why="it sees too little light", repair="wipe it")'
)
BUILT_IN = FOGGED.replace("receiver-fogged", "receiver-dead")


@pytest.fixture
def brought(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Return a function that makes plug-ins, each with these kinds."""
    monkeypatch.syspath_prepend(str(tmp_path))

    def make(*kinds: str) -> Index:
        entries = []
        for number, one in enumerate(kinds):
            name = f"plug_with_kinds_{number}"
            (tmp_path / f"{name}.py").write_text(CODE.format(kinds=one))
            sys.modules.pop(name, None)
            entries.append(Entry(name, name, name, "1.0"))
        return Index(accepted=tuple(entries), hooks=("simrig_fault_kinds",))

    return make


def test_a_kind_of_fault_is_suspected(brought) -> None:
    """A plug-in's kind joins the table, is suspected, and is told with its own clause."""
    told: list[Problem] = []
    kinds = Catalogue(known=brought(FOGGED), tell=told.append).fault_kinds()
    assert told == []
    assert [kind.id for kind in kinds] == [*(kind.id for kind in FAULT_KINDS), "receiver-fogged"]
    lantern = machine()
    found = diagnose(lantern, [sheet(lantern, ["t2"], balls=0)], kinds=kinds, limit=1)
    assert [fault.name for fault in found.causes[0].faults] == ["receiver-fogged:t2"]
    assert "it sees too little light" in found.causes[0].why


@pytest.mark.parametrize(
    ("kinds", "words"),
    [
        ([BUILT_IN], 'the kind of fault "receiver-dead" is built in'),
        (['"fog"'], "wanted a FaultKind"),
        ([FOGGED, FOGGED.replace("0.5", "0.25")], '"receiver-fogged" is there already'),
        (["1 / 0"], "ZeroDivisionError"),
    ],
)
def test_a_wrong_kind_is_told(brought, kinds: list[str], words: str) -> None:
    """What is no kind of fault, is there twice or fails is named, and the others go on."""
    told: list[Problem] = []
    known = Catalogue(known=brought(*kinds), tell=told.append).fault_kinds()
    assert len(known) == len(FAULT_KINDS) + (FOGGED in kinds)
    assert words in str(told[0])


def test_strict_ends_with_the_plugin_named(brought) -> None:
    """Where plug-ins must not fail, the first that does ends the run."""
    with pytest.raises(PluginError, match="ZeroDivisionError"):
        Catalogue(known=brought("1 / 0"), strict=True).fault_kinds()


def test_no_plugin_costs_nothing() -> None:
    """Without plug-ins the table is the built-in one."""
    assert Catalogue(known=Index()).fault_kinds() == FAULT_KINDS
