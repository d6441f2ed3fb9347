"""What pytest writes as JUnit XML of scenarios and the suite, read back."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

import attrs
import junitparser
import pytest

from simrig.host.catalogue import Catalogue
from simrig.interchange import toml_writer

pytest_plugins = ["pytester"]

SCENARIO = """format = 1
title = "One right, one wrong"
machine = "orchard-signal"
[[step]]
phase = "idle"
closed = ["trough-1", "trough-2", "trough-3"]
[[step]]
phase = "idle"
closed = ["trough-1"]
"""
TESTS = """import pytest

@pytest.mark.skip(reason="waits for a fact")
def test_skipped():
    pass

@pytest.mark.xfail
def test_known_to_fail():
    raise AssertionError

@pytest.fixture
def broken():
    raise RuntimeError

def test_error(broken):
    pass
"""


def test_counts(pytester: pytest.Pytester) -> None:
    """A step that holds, one that does not, a skip, an expected failure, an error in set-up: five
    tests, one failure, one error, two skipped.

    Source: FMT-08, derived: pytest counts an expected failure as skipped.
    """
    (pytester.path / "one.scenario.toml").write_text(SCENARIO)
    (pytester.path / "test_others.py").write_text(TESTS)
    pytester.runpytest_inprocess("--junitxml=found.xml", "-p", "no:cacheprovider")
    suite = next(iter(junitparser.JUnitXml.fromfile(str(pytester.path / "found.xml"))))
    assert (suite.tests, suite.failures, suite.errors, suite.skipped) == (5, 1, 1, 2)
    failed = [case for case in suite if case.result and case.result[0]._tag == "failure"]
    assert [case.name for case in failed] == ["step-2"]
    assert "the scenario expects open" in failed[0].result[0].text


def test_required_attributes(pytester: pytest.Pytester) -> None:
    """Each suite has name, tests, failures and errors, each case a name; cases of the conformance
    suite are told by check and machine, and one that waits names the fact.

    Source: FMT-07 (junit-10): testsuite name, tests, failures, errors; testcase name.
    """
    waiting = attrs.evolve(Catalogue().load("orchard-signal"), scan=None)
    (pytester.path / "mine.toml").write_text(toml_writer.written(waiting))
    pytester.runpytest_inprocess(
        "--simrig-conformance", "mine.toml", "--junitxml=found.xml", "-p", "no:cacheprovider",
        "-k", "record or export or stated",
    )  # fmt: skip
    root = ElementTree.parse(Path(pytester.path / "found.xml")).getroot()
    (suite,) = root.findall("testsuite")
    assert {"name", "tests", "failures", "errors"} <= set(suite.attrib)
    cases = suite.findall("testcase")
    assert [case.get("name") for case in cases] == ["stated", "record", "export"]
    assert {case.get("classname") for case in cases} == {"conformance.orchard-signal"}
    (skipped,) = [case.find("skipped") for case in cases if case.find("skipped") is not None]
    assert skipped is not None
    assert "waits for [scan] period_ms" in str(skipped.get("message"))
