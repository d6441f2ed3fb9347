"""The conformance suite as tests of pytest: one for each check and machine."""

from __future__ import annotations

import os
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest

from simrig.errors import SimrigError
from simrig.harness.broken_runs import BrokenError, scenario
from simrig.harness.conformance import CHECKS, Check, Suite, WaitsError
from simrig.host.catalogue import Catalogue


class Conformance:
    """Adds the suite to a run, for each machine named."""

    def __init__(self, references: list[str], examples: int, seed: int) -> None:
        if examples < 1:
            raise pytest.UsageError("--simrig-examples: wanted a number of 1 or more")
        try:
            catalogue = Catalogue()
            self._suites = {
                reference: Suite(profile=catalogue.load(reference), examples=examples, seed=seed)
                for reference in references
            }
            self._paths = {reference: catalogue.path(reference) for reference in references}
        except SimrigError as error:
            raise pytest.UsageError(f"--simrig-conformance: {error}") from None
        self._words = (
            f"simrig conformance: {', '.join(references)}; {examples} examples a check; seed {seed}"
            " (--simrig-seed)"
        )

    def pytest_report_header(self) -> str:
        """Say what is run, and the seed that draws the examples."""
        return self._words

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection_modifyitems(
        self, session: pytest.Session, items: list[pytest.Item]
    ) -> None:
        """Add one test for each check."""
        for reference, suite in self._suites.items():
            around = Machine.from_parent(
                session,
                name=reference,
                nodeid=f"conformance/{suite.profile.id}",
                path=Path(self._paths[reference]),
                suite=suite,
            )
            report = around.ihook.pytest_make_collect_report(collector=around)
            around.ihook.pytest_collectreport(report=report)
            items.extend(report.result)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_makereport(
        self, item: pytest.Item
    ) -> Generator[None, pytest.TestReport, pytest.TestReport]:
        """Tell of a check that waits at its profile, not at a line of ours."""
        report = yield
        if (
            isinstance(item, ConformanceItem)
            and report.skipped
            and isinstance(report.longrepr, tuple)
        ):
            report.longrepr = (str(item.path), 1, f"{item.name}: {report.longrepr[2]}")
        return report


class Machine(pytest.Collector):
    """The checks of one machine."""

    def __init__(self, *, suite: Suite, **arguments: Any) -> None:
        super().__init__(**arguments)
        self.suite = suite

    def collect(self) -> list[pytest.Item]:
        """Make a test of each check."""
        return [
            ConformanceItem.from_parent(
                self, name=check.id, check=check, suite=self.suite, reference=self.name
            )
            for check in CHECKS
        ]


class ConformanceItem(pytest.Item):
    """One check on one machine."""

    def __init__(self, *, check: Check, suite: Suite, reference: str, **arguments: Any) -> None:
        super().__init__(**arguments)
        self.check = check
        self.suite = suite
        self.reference = reference
        self.add_marker("conformance")

    def runtest(self) -> None:
        """Make the check; skip it, with the fact it waits for."""
        try:
            self.check.run(self.suite)
        except WaitsError as waits:
            pytest.skip(f"waits for {waits}")

    def repr_failure(self, excinfo: Any, style: Any = None) -> Any:
        """Tell the rule that is broken, and save the run that breaks it."""
        error = excinfo.value
        if not isinstance(error, BrokenError | SimrigError):
            return super().repr_failure(excinfo, style)
        words = f"{self.reference}: {self.check.title}: {error}"
        words += f"\nseed {self.suite.seed}, {self.suite.examples} examples"
        if isinstance(error, BrokenError) and error.run is not None:
            words += f"\n{self._saved(error)}"
        return words

    def _saved(self, error: BrokenError) -> str:
        assert error.run is not None
        folder = self.config.invocation_params.dir
        profile = self.suite.profile
        machine = profile.id
        if self.reference != machine:
            machine = os.path.relpath(os.path.abspath(self.reference), folder).replace(os.sep, "/")
        path = folder / f"{profile.id}-{self.check.id}.scenario.toml"
        try:
            text = scenario(profile, machine, str(error), error.run)
            path.write_text(text, encoding="utf-8")
        except OSError as unwritable:
            return f"the run could not be saved: {unwritable}"
        return f"the smallest run is saved: simrig run {path.name}"

    def reportinfo(self) -> tuple[Path, None, str]:
        """Name the profile and the check."""
        return self.path, None, f"conformance of {self.suite.profile.id}: {self.check.title}"
