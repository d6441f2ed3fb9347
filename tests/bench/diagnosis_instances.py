"""Machines of any size, made by rule, and sheets seen on them."""

from __future__ import annotations

import random
from collections.abc import Mapping

import attrs

from simrig.diagnosis.evidence import Circumstances
from simrig.diagnosis.suspects import Sheet, Suspect, suspects
from simrig.expectation.observation import Observation
from simrig.faults.candidates import possible_faults
from simrig.faults.injection import inject
from simrig.profile.components import Sensor
from simrig.profile.layout import Balls, Phase, Place, Route
from simrig.profile.machine import Profile
from simrig.profile.wiring import Bank, Board, Connector, Fuse, Line, Matrix, Supply
from simrig.scan.scanner import Links, links, readings
from simrig.world.phases import Conditions
from simrig.world.worlds import worlds

HOLES = 5
KINDS = (
    *("emitter-dead", "resistor-lead-broken", "receiver-dead", "channel-open", "channel-on"),
    *("contact-stuck-closed", "contact-stuck-open", "diode-open", "column-open", "row-open"),
    *("plug-off", "fuse-blown", "supply-lost", "board-dead", "bank-return-open"),
)
"""Kinds that stay on one address with diodes everywhere, and do not come and go."""


def machine(switches: int, balls: int) -> Profile:
    """A trough that holds every ball, a lock, single holes, and switches that no ball works."""
    places = [
        Place(id="trough", kind="trough", seats=balls, position_1="exit end"),
        Place(id="lock", kind="lock", seats=3, position_1="exit end"),
        *[Place(id=f"hole-{n}", kind="hold", seats=1) for n in range(1, HOLES + 1)],
        Place(id="playfield", kind="playfield", seats="any"),
    ]
    spots = [f"trough.{n}" for n in range(1, balls + 1)]
    spots += ["lock.1", "lock.2", "lock.3", *[f"hole-{n}.1" for n in range(1, HOLES + 1)]]
    spots = spots[:switches]
    rows = 8 if switches > 16 else 4
    sensors = []
    for number in range(switches):
        watched = number < len(spots)
        opto = watched and spots[number].startswith(("trough", "lock"))
        sensors.append(
            Sensor(
                id=f"switch-{number + 1}",
                kind="opto" if opto else "leaf switch",
                at=(spots[number],) if watched else "none",
                bank=f"bank-{number // 4 % 2 + 1}" if opto else None,
                board="board" if opto else None,
                channel=number + 1 if opto else None,
                contact=None if opto else "normally open",
                address=f"column {number // rows + 1} row {number % rows + 1}",
            )
        )
    names = [sensor.id for sensor in sensors]
    columns = -(-switches // rows)
    return Profile(
        format=1,
        id="made",
        balls=Balls(installed=balls, store="trough", extra=("playfield",)),
        place=tuple(places),
        route=(
            Route(id="serve", from_="trough", to=("playfield",), by="coil"),
            Route(id="drain", from_="playfield", to=("trough",), by="gravity"),
        ),
        phase=(
            Phase(
                id="play",
                placements=(
                    {
                        "lock": f"0-{min(3, balls)}",
                        **{f"hole-{n}": "0-1" for n in range(1, HOLES + 1)},
                        "playfield": f"0-{min(3, balls)}",
                        "trough": "rest",
                    },
                ),
            ),
        ),
        sensor=tuple(sensors),
        matrix=Matrix(
            columns=columns,
            rows=rows,
            diodes="all",
            column=tuple(
                Line(number=n + 1, order=tuple(names[n * rows : (n + 1) * rows]))
                for n in range(columns)
            ),
            row=tuple(Line(number=n + 1, order=tuple(names[n::rows])) for n in range(rows)),
        ),
        supply=(Supply(id="low", volts=12, fuse="fuse-1"),),
        fuse=(Fuse(id="fuse-1"),),
        connector=(Connector(id="plug-1"), Connector(id="plug-2"), Connector(id="plug-3")),
        bank=(
            Bank(id="bank-1", supply="low", plug="plug-1"),
            Bank(id="bank-2", supply="low", plug="plug-2"),
        ),
        board=(Board(id="board", output_closes="dark", supply="low", output_plug="plug-3"),),
    )


@attrs.frozen(kw_only=True)
class Instance:
    """A machine with its suspects and worlds, worked out once."""

    profile: Profile
    table: Links
    about: Circumstances

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """The suspects, parts and the number of balls."""
        return self.about.suspects

    @property
    def selecting(self) -> frozenset[int]:
        """The suspects that select other worlds."""
        return frozenset().union(*self.about.selected)

    def allowed(self) -> dict[int | None, int]:
        """Return the worlds without, and with each suspect that selects others."""
        found: dict[int | None, int] = {None: self.about.selected[frozenset()]}
        for chosen, mask in self.about.selected.items():
            if len(chosen) == 1:
                (index,) = chosen
                found[index] = mask
        return found


def instance(switches: int, balls: int, limit: int) -> Instance:
    """Return a machine with suspects that stay on one address, and a missing ball."""
    profile = machine(switches, balls)
    conditions = Conditions(phase="play")
    faults = tuple(
        fault for fault in possible_faults(profile) if fault.kind.id in (*KINDS, "ball-missing")
    )
    blank = Observation(readings=dict.fromkeys([one.id for one in profile.sensor], "open"))
    every = suspects(profile, [Sheet(observation=blank, conditions=conditions)], faults=faults)
    parts = tuple(one for one in every if one.fault is not None)
    about = Circumstances.of(profile, parts, 0, conditions, limit)
    return Instance(profile=profile, table=links(profile), about=about)


def seen(
    made: Instance,
    chance: random.Random,
    unknown: int,
    true: int,
    kinds: tuple[str, ...] = KINDS,
) -> Mapping[str, str]:
    """Return what some faults show at some position of the balls, some of it not looked at."""
    faults = [one.fault for one in made.suspects if one.fault is not None]
    parts = [fault for fault in faults if fault.kind.id in kinds]
    while True:
        chosen = chance.sample(parts, true)
        if len({fault.component for fault in chosen}) == true:
            break
    place = chance.choice(made.about.placements)
    shown = readings(
        made.profile, inject(made.profile, made.table, chosen), worlds(made.profile, (place,))
    )
    hidden = set(chance.sample(list(shown.cells), unknown))
    return {
        name: "unknown" if name in hidden else "closed" if value.surely else "open"
        for name, value in shown.cells.items()
    }
