"""Many machines in words: the worst first, each with what to look at first."""

from __future__ import annotations

from typing import Any

from simrig.diagnosis.campaign import Trial
from simrig.interchange.campaign_document import BROKEN, Campaigned, Conformed
from simrig.reports import campaign_text

ONE = Trial(
    faults=("emitter-dead:t1",), shown=("idle",), counts=(0,), minutes=10.0, checks=3,
    left=(("emitter-dead:t1",),), held=True, proven=True, parted=False,
)  # fmt: skip
LOST = Trial(
    faults=("emitter-dead:t1",), shown=("idle",), counts=(0,), minutes=2.0, checks=1,
    left=(("emitter-dead:t2",),), held=False, proven=True, parted=False,
)  # fmt: skip
TWO_LEFT = Trial(
    faults=("emitter-dead:t1",), shown=("idle",), counts=(0,), minutes=10.0, checks=3,
    left=(("emitter-dead:t1",), ("receiver-dead:t1",)), held=True, proven=True, parted=False,
)  # fmt: skip


def machine(name: str, *trials: Trial, found: str = "", broken: str = "") -> Campaigned:
    """A machine with trials, findings of a level, a broken check."""
    checks = (Conformed(check=broken, title="", outcome=BROKEN, words=""),) if broken else None
    findings: tuple[dict[str, Any], ...] = ({"level": found},) if found else ()
    return Campaigned(
        file=f"{name}.toml",
        id=name,
        name=name,
        trials=trials,
        findings=findings,
        conformance=checks,
    )


def test_the_worst_stand_first() -> None:
    """Not done, a fault lost, a contradiction, a broken check, what is not told apart, a warning."""
    done = [
        machine("sound", ONE),
        machine("warned", ONE, found="warning"),
        machine("apart", TWO_LEFT, ONE),
        machine("broken", ONE, broken="moves"),
        machine("contradicted", ONE, found="error"),
        machine("losing", ONE, LOST),
    ]
    shown = list(campaign_text.fleet(done, ["torn.toml"], every=False))
    rows = [tuple(row.split("  ")) for row in "\n".join(shown).splitlines()[-7:]]
    assert [(row[0], row[-1].strip()) for row in rows] == [
        ("torn.toml", "not done"),
        ("losing", "1 fault lost"),
        ("contradicted", "vet: 1 error"),
        ("broken", "conformance: moves"),
        ("apart", "1 group no check parts"),
        ("warned", "vet: 1 warning"),
        ("sound", "10.0"),
    ]
    assert shown[0] == "8 faults injected into 7 machines."
    assert "1 machine could not be done; the messages say why." in shown


def test_machines_of_one_id_are_told_by_their_files() -> None:
    """Two files can hold the same id; a long path keeps its end."""
    folder = "a-very-long-folder/of-machines/"
    done = [machine("mill", ONE), machine("mill", ONE)]
    done[1] = Campaigned(file=folder + "mill.toml", id="mill", name="mill", trials=(ONE,))
    text = "\n".join(campaign_text.fleet(done, [], every=True))
    assert "\nmill.toml " in text
    assert "\n...r/of-machines/mill.toml " in text
    assert max(map(len, text.splitlines())) <= 80
