"""Scenarios run: what is told of a step that is not as it says, or that cannot be made."""

from __future__ import annotations

from pathlib import Path

import pytest

from simrig.cli.main import main
from simrig.errors import InputError
from simrig.interchange import scenarios
from simrig.interchange.courses import course
from simrig.interchange.running import run
from simrig.interchange.sheets import NO_WAY
from simrig.profile.machine import Profile
from simrig.profile.reader import read

DATA = Path(__file__).parents[1] / "vetting/data"
BASE = (DATA / "LINE-03/sound.toml").read_text()
GATE = '\n[[mechanism]]\nid = "gate"\nkind = "gate"\nstates = ["up", "down"]\nrest = "up"\n'
MACHINE = BASE.replace('by = "plunger"', 'by = "plunger"\npoints = 2').replace(
    'position_1 = "exit end"', 'position_1 = "exit end"\njam = true'
)
SAMPLE = read((MACHINE + GATE).encode(), "sample.toml")
HEAD = 'format = 1\ntitle = "a walk"\nmachine = "sample"\n'
INVERTED = 'seen = { open = ["trough-1", "trough-2", "trough-3"] }'
FULL = 'closed = ["trough-1", "trough-2", "trough-3"]'


def _scenario(*steps: str) -> scenarios.Scenario:
    text = HEAD + "".join(f"[[step]]\n{step}\n" for step in steps)
    return scenarios.read(text.encode(), "walk.scenario.toml")


def _failures(*steps: str, profile: Profile = SAMPLE) -> list[tuple[str, ...]]:
    return [result.failures for result in run(profile, _scenario(*steps))]


def test_a_step_that_is_as_it_says() -> None:
    """Conditions, moves, a comparison, a search and a diagnosis can all be as they say."""
    seen = f"seen = {{ {FULL} }}"
    assert (
        _failures(
            f'phase = "idle"\n{FULL}',
            'do = ["serve"]\nclosed = ["trough-1", "trough-2", "launcher-ball"]',
            'do = ["set gate down", "launch"]\nclosed = ["trough-1", "trough-2"]',
            f'{seen}\nverdict = "agrees"\ndifferences = []\nno_fits = ["inverted", "balls", "moving"]',
            f"{seen}\nmissing_at = []",
            f"{seen}\ndiagnosis = {{ faults = 1, as_assumed = true }}",
            f"{seen}\ndiagnosis = {{ faults = 1, as_assumed = true }}",
        )
        == [()] * 7
    )


PLAIN = read(MACHINE.encode(), "plain.toml")


@pytest.mark.parametrize("profile", [SAMPLE, PLAIN])
def test_moves_as_the_first_step(profile: Profile) -> None:
    """Without a step that says where the balls are, they are as the idle machine has them, with
    mechanisms or without."""
    steps = ('do = ["serve", "launch"]\nclosed = ["trough-1", "trough-2"]',)
    assert _failures(*steps, profile=profile) == [()]
    made = course(profile, _scenario(*steps), "walk")
    assert [move.subject for move in made.moves] == ["serve", "launch"]
    assert made.start.spots == {"trough.1", "trough.2", "trough.3"}


def test_fits_and_several_sheets() -> None:
    """A fit that is offered, and sheets that are diagnosed together, are as they say."""
    inverted = f'phase = "idle"\n{INVERTED}\nfits = [{{ inverted = ["all"], balls = 3 }}]'
    sheets = (
        "diagnosis = { faults = 1, as_assumed = true }\n"
        f'[[step.sheets]]\nballs = 3\n{FULL}\n[[step.sheets]]\nseats = "none"\nclosed = []'
    )
    assert _failures(inverted, sheets) == [(), ()]


def test_titles_of_steps() -> None:
    """A step is called by its moves, or by what it states and what is done with it."""
    found = run(
        SAMPLE,
        _scenario(
            'do = ["serve", "launch"]',
            f'phase = "play"\nballs = 2\nseen = {{ {FULL} }}',
            "seats = []",
            f"seen = {{ {FULL} }}\ndiagnosis = {{ faults = 0 }}",
            "at = { trough = 1 }",
        ),
    )
    assert [result.title for result in found] == [
        "serve, launch", "play, 2 balls, compared", "balls seen", "idle, diagnosed", "balls seen",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("step", "failures"),
    [
        ('phase = "idle"\nclosed = ["trough-1", "trough-2"]\neither = ["launcher-ball"]',
         ("trough-3: reads closed, the scenario expects open",
          "launcher-ball: reads open, the scenario expects either")),
        (f'seen = {{ {FULL} }}\nverdict = "differs"', ("compare: agrees, expected differs",)),
        ('seen = { closed = ["trough-1"] }\nverdict = "agrees"',
         ("compare: differs, expected agrees",)),
        ('seen = { closed = ["trough-1", "trough-3"] }\ndifferences = ["trough-3"]',
         ("differences at trough-2, expected trough-3",)),
        ('seen = { closed = ["trough-1", "trough-3"] }\ndifferences = []',
         ("differences at trough-2, expected none",)),
        (f'seen = {{ {FULL} }}\ndifferences = ["trough-2"]',
         ("differences at none, expected trough-2",)),
        (f'seen = {{ {FULL} }}\nfits = [{{ phase = "play" }}]',
         ("fit not offered: phase play; offered: phase idle, balls 3, differences 0",)),
        (f'{INVERTED}\nno_fits = ["inverted"]',
         ("a fit is offered that must not be: phase idle, balls 3, differences 0, "
          "inverted all",)),
        ('seen = { closed = ["trough-1", "trough-2"] }\nmissing_at = []',
         ("a missing ball can be at drain, launch, launch.1, launch.2, playfield, serve, "
          "trough.jam, expected nowhere",)),
        (f'seen = {{ {FULL} }}\nmissing_at = ["playfield"]',
         ("a missing ball can be at nowhere, expected playfield",)),
        ('phase = "noon"\nat = { cellar = 1 }',
         ('no phase is called "noon"; known: idle, ready, play; no place or way is called "cellar"; '
          "known: trough, launcher, playfield, serve, launch, drain",)),
        ('phase = "idle"\nat = { launcher = 1 }', (NO_WAY,)),
        ('do = ["drain"]', ("the playfield is empty; no ball can leave it",)),
        ('seen = { closed = ["trough-9"] }\nverdict = "agrees"',
         ('no sensor is called "trough-9"; did you mean "trough-3"?',)),
        ("diagnosis = { faults = 1 }",
         ("found nothing to diagnose; wanted what was seen; add seen, or [[step.sheets]]",)),
        ('diagnosis = { faults = 1 }\n[[step.sheets]]\nphase = "noon"\nclosed = []',
         ('sheet 1: no phase is called "noon"; known: idle, ready, play',)),
    ],
)  # fmt: skip
def test_a_step_that_is_not_as_it_says(step: str, failures: tuple[str, ...]) -> None:
    """What was found and what was expected, or why the step cannot be made; never silence."""
    (found,) = _failures(step)
    assert found == failures


def test_a_step_after_one_that_failed() -> None:
    """A step that cannot be made leaves the balls where they are, and the next goes on from there."""
    assert _failures('do = ["serve"]', 'do = ["serve"]', "closed = []\nat = { playfield = 3 }") == [
        (),
        ("the launcher is full; it holds 1",),
        (),
    ]


@pytest.mark.parametrize(
    "claim",
    ['verdict = "agrees"', "differences = []", "fits = [{ balls = 3 }]", 'no_fits = ["balls"]',
     "missing_at = []"],
)  # fmt: skip
def test_a_claim_about_readings_that_nobody_saw(claim: str) -> None:
    """What is held against nothing would always hold: it is refused, at its line."""
    with pytest.raises(InputError) as refused:
        _scenario(f'phase = "idle"\n{claim}')
    (problem,) = refused.value.problems
    assert problem.line == 6
    assert problem.where == f"step 1, {claim.partition(' ')[0]}"
    assert problem.message == (
        "found without seen; wanted what was seen, to hold it against; add seen"
    )


def test_the_command_tells_of_each_step(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Through the command a step that is not as it says ends with 1, one that cannot be read
    with 2, each at its line."""
    (tmp_path / "sample.toml").write_text(MACHINE)
    file = tmp_path / "walk.scenario.toml"
    text = HEAD.replace('"sample"', '"sample.toml"') + f'[[step]]\nphase = "idle"\n{FULL}\n'
    file.write_text(text.replace(', "trough-3"', ""))
    assert main(["run", str(file)]) == 1
    told = capsys.readouterr().out
    assert f"{file}:4: step 1: trough-3: reads closed, the scenario expects open" in told
    file.write_text(text.replace("closed", "clsed"))
    assert main(["run", str(file)]) == 2
    assert capsys.readouterr().err == (
        f'{file}:6: step 1, clsed: this key is not known; did you mean "closed"?\n'
    )


def test_what_a_hand_does_between_two_steps() -> None:
    """Balls that pass are picked up and put down, others taken out and fed, mechanisms set."""
    made = course(
        SAMPLE,
        _scenario(
            'seats = ["trough.1", "trough.2", "launch.1"]',
            'seats = ["trough.1", "launcher.1", "trough.jam"]\nstate = { gate = "down" }',
            'seats = ["trough.1", "trough.2", "launcher.1"]\nstate = { gate = "down" }',
            'do = ["launch"]',
        ),
        "walk",
    )
    assert [(move.verb, move.subject, move.target) for move in made.moves] == [
        ("set", "gate", "down"),
        ("pick", "launch.1", None),
        ("remove", "trough", None),
        ("feed", "launcher", None),
        ("put", "trough.jam", None),
        ("pick", "trough.jam", None),
        ("feed", "trough", None),
        ("take", "launch", None),
    ]


def test_runs_that_cannot_be() -> None:
    """A scenario that says nowhere where the balls are, or that no balls can follow, is refused at
    its steps."""

    def told(*steps: str) -> list[tuple[int | None, str, str]]:
        with pytest.raises(InputError) as refused:
            course(SAMPLE, _scenario(*steps), "walk")
        return [(one.line, one.where, one.message) for one in refused.value.problems]

    assert told('[[step.sheets]]\nphase = "idle"\nclosed = []') == [
        (1, "step", "found no step that says where the balls are; add one")
    ]
    assert told('phase = "idle"\nat = { launcher = 1 }', 'phase = "noon"', 'do = ["drain"]') == [
        (4, "step 1", NO_WAY),
        (7, "step 2", 'no phase is called "noon"; known: idle, ready, play'),
        (9, "step 3", "the playfield is empty; no ball can leave it"),
    ]
