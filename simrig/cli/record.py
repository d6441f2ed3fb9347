"""``simrig record``: the log that the run of a scenario must give."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from simrig.cli import scanning
from simrig.cli.context import Context, wrong
from simrig.errors import InputError, Problem

if TYPE_CHECKING:
    from simrig.profile.machine import Profile
    from simrig.scan.events import Event
    from simrig.scan.scanner import Links


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("scenario", metavar="SCENARIO", help="a scenario file")
    parser.add_argument(
        "-o", "--output", required=True, metavar="FILE",
        help="the log to write: FILE.csv or FILE.vcd",
    )  # fmt: skip
    parser.add_argument(
        "--fault", action="append", default=[], metavar="KIND:PART", help="with this fault in it"
    )
    parser.add_argument(
        "--seed", metavar="N",
        help="draw times, speeds and rebounds (all typical when left out)",
    )  # fmt: skip
    scanning.configure(parser)


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Write the log."""
    from simrig.expectation.motions import Motions
    from simrig.expectation.recording import Recorder
    from simrig.host.catalogue import contents
    from simrig.interchange import scenarios
    from simrig.interchange.courses import course

    suffix = os.path.splitext(arguments.output)[1].lower()
    if suffix not in (".csv", ".vcd"):
        raise wrong("-o", f'found "{arguments.output}"; wanted a name that ends in .csv or .vcd')
    seed = None
    if arguments.seed is not None:
        seed = int(scanning.number(arguments.seed, "--seed", least=0, most=2**53, whole=True))
    file = arguments.scenario
    scenario = scenarios.read(contents(file, "scenario"), file)
    machine = scenario.machine
    if machine.endswith(".toml"):
        machine = os.path.join(os.path.dirname(file), machine)
    profile = context.profile(machine)
    made = course(profile, scenario, file)
    motions = Motions(profile, sampling=scanning.sampling(profile, arguments))
    table, shaken = _tables(profile, arguments.fault)
    recorder = Recorder(motions, table, seed=seed, shaken=shaken)
    events = recorder.record(made.start, made.moves)
    _write(arguments.output, _form(profile, events, suffix))
    if context.json:
        context.answer(
            {
                "machine": profile.id,
                "file": arguments.output,
                "events": len(events),
                "moves": [str(move) for move in made.moves],
            }
        )
    elif not context.quiet:
        moves = len(made.moves)
        context.say(
            f"{arguments.output}: {len(events)} readings and pulses of {moves}"
            f" move{'' if moves == 1 else 's'} on {profile.name}"
        )
        if seed is None:
            context.say(
                "Times are typical ones; --seed N draws them as a real run would have them."
            )
    return 0


def _tables(profile: Profile, names: list[str]) -> tuple[Links, Links | None]:
    """Return the links with the faults that stay, and with those too that come and go."""
    from simrig.faults.candidates import fault_named, possible_faults
    from simrig.faults.injection import inject
    from simrig.scan.scanner import links

    sound = links(profile)
    if not names:
        return sound, None
    possible = possible_faults(profile)
    try:
        faults = [fault_named(possible, name) for name in names]
        shaken = inject(profile, sound, faults)
    except ValueError as error:
        raise wrong("--fault", str(error)) from None
    silent = [fault.name for fault in faults if inject(profile, sound, [fault]) == sound]
    if silent:
        raise wrong(
            "--fault",
            f"{', '.join(silent)} does not change how a switch reads; say in the scenario where"
            " the balls are instead, or name a fault of a sensor, a wire, a plug or the matrix",
        )
    lasting = [fault for fault in faults if not fault.kind.intermittent]
    table = inject(profile, sound, lasting)
    return table, None if len(lasting) == len(faults) else shaken


def _form(profile: Profile, events: Iterable[Event], suffix: str) -> Iterator[bytes]:
    from simrig.interchange.logs import write_csv, write_vcd

    if suffix == ".csv":
        return write_csv(events)
    places = {sensor.id: _place(profile, sensor.spots) for sensor in profile.sensor}
    return write_vcd(
        events, machine=profile.id, places=places, coils=[coil.id for coil in profile.coil]
    )


def _place(profile: Profile, spots: tuple[str, ...]) -> str:
    """Return the place or way under which a wave viewer shows a sensor."""
    spot = profile.spots[spots[0]] if spots else None
    return "" if spot is None else spot.place or spot.route or ""


def _write(path: str, pieces: Iterable[bytes]) -> None:
    """Write a file as a whole or not at all."""
    data = b"".join(pieces)
    try:
        with open(path, "wb") as file:
            file.write(data)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        message = f"it cannot be written ({reason}); name a file in a folder where you may write"
        raise InputError([Problem(file=path, where="-o", message=message)]) from None
