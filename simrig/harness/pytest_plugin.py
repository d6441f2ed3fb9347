"""The pytest plug-in: collects ``*.scenario.toml``, one test a step; gives the ``rig`` fixture;
runs the conformance suite.

Nothing else of simrig is imported until a scenario is collected or the fixture or the
suite is asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from simrig.interchange.running import StepResult
    from simrig.interchange.scenarios import Scenario

SUFFIX = ".scenario.toml"


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options of the conformance suite."""
    group = parser.getgroup("simrig", "machine profiles")
    group.addoption(
        "--simrig-conformance",
        action="append",
        default=[],
        metavar="MACHINE|FILE",
        help="hold a machine profile against the conformance suite; alone unless paths are named",
    )
    group.addoption(
        "--simrig-examples",
        type=int,
        default=50,
        metavar="N",
        help="examples that each check draws (50)",
    )
    group.addoption(
        "--simrig-seed", type=int, default=0, metavar="N", help="draw other examples (0)"
    )
    parser.addini(
        "simrig_conformance", "machines under the conformance suite in every run", type="linelist"
    )


def pytest_configure(config: pytest.Config) -> None:
    """Bring the conformance suite in where it is asked for."""
    config.addinivalue_line("markers", "conformance: the conformance suite of machine profiles")
    named: list[str] = config.getoption("--simrig-conformance")
    stated: list[str] = config.getini("simrig_conformance")
    references = list(dict.fromkeys([*named, *(_from_root(config, one) for one in stated)]))
    if not references or config.getoption("--help"):
        return
    if named and config.args_source is not pytest.Config.ArgsSource.ARGS:
        config.args = []
    from simrig.harness.conformance_items import Conformance

    suite = Conformance(
        references, config.getoption("--simrig-examples"), config.getoption("--simrig-seed")
    )
    config.pluginmanager.register(suite, "simrig-conformance")


def _from_root(config: pytest.Config, reference: str) -> str:
    """Return a path as stated in the project's file, which counts from that file."""
    if reference.endswith((".toml", ".json")):
        around = config.inipath.parent if config.inipath else config.rootpath
        return str(around / reference)
    return reference


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """Take scenario files for tests."""
    if file_path.name.endswith(SUFFIX):
        collector: pytest.Collector = ScenarioFile.from_parent(parent, path=file_path)
        return collector
    return None


class ScenarioFile(pytest.File):
    """A scenario file; its steps are its tests, run once for all of them."""

    _results: tuple[StepResult, ...] | None = None
    scenario: Scenario

    def collect(self) -> Iterator[pytest.Item]:
        """Yield a test for each step, or fail with every problem of the file."""
        from simrig.errors import SimrigError
        from simrig.interchange import scenarios

        try:
            self.scenario = scenarios.read(self.path.read_bytes(), str(self.path))
        except SimrigError as error:
            raise self.CollectError(str(error)) from None
        for number, step in enumerate(self.scenario.step):
            name = f"step {number + 1}"
            if step.do:
                name += f" {step.do[-1]}"
            item = ScenarioStep.from_parent(self, name=name.replace(" ", "-"), number=number)
            for tag in self.scenario.tags or ():
                self.config.addinivalue_line("markers", f"{tag}: a tag of scenarios")
                item.add_marker(tag)
            yield item

    def results(self) -> tuple[StepResult, ...]:
        """Run the scenario, once."""
        if self._results is None:
            from simrig.host.catalogue import Catalogue
            from simrig.interchange import running

            machine = self.scenario.machine
            if machine.endswith(".toml"):
                machine = str(self.path.parent / machine)
            self._results = running.run(Catalogue().load(machine), self.scenario)
        return self._results


class StepFailed(Exception):  # noqa: N818
    """A step was not as the scenario says."""


class ScenarioStep(pytest.Item):
    """One step of a scenario."""

    def __init__(self, *, number: int, **arguments: Any) -> None:
        super().__init__(**arguments)
        self.number = number

    def runtest(self) -> None:
        """Fail with everything that was not as expected."""
        assert isinstance(self.parent, ScenarioFile)
        result = self.parent.results()[self.number]
        if not result.passed:
            raise StepFailed(
                "\n".join(f"{self.path}:{result.line}: {one}" for one in result.failures)
            )

    def repr_failure(self, excinfo: Any, style: Any = None) -> Any:
        """Show the words, not the inner workings."""
        from simrig.errors import SimrigError

        if isinstance(excinfo.value, StepFailed | SimrigError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int, str]:
        """Name the file, the line of the step, and the scenario."""
        assert isinstance(self.parent, ScenarioFile)
        scenario = self.parent.scenario
        return self.path, scenario.line(self.number) - 1, f"{scenario.title}: {self.name}"


@pytest.fixture
def rig() -> Callable[..., Any]:
    """Return a function that makes a machine to move balls on: ``rig("tidal-clockwork")``."""

    def make(reference: str, **conditions: Any) -> Any:
        from simrig.expectation.rig import Rig
        from simrig.host.catalogue import Catalogue
        from simrig.world.phases import Conditions

        return Rig(Catalogue().load(reference), Conditions(**conditions))

    return make
