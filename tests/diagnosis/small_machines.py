"""Small random machines with what was seen on them, and all that can be wrong by trying each.

A trough, a lock, a launcher and an open playfield, watched by contacts, beams and
inductive sensors; more switches that no ball works; a matrix of four by four with
and without diodes, and direct inputs.  Trying simulates every set of suspects at
every position of the balls, one after the other, from the profile on.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import attrs
from hypothesis import strategies as st

from simrig.diagnosis.suspects import Mistake, Sheet, Suspect, suspects
from simrig.expectation.comparison import boards, wrong_end
from simrig.expectation.observation import Observation
from simrig.faults.dispositions import placements_with
from simrig.faults.injection import inject
from simrig.profile.components import Sensor
from simrig.profile.layout import Balls, Phase, Place, Route
from simrig.profile.machine import Profile
from simrig.profile.wiring import Bank, Board, Connector, Fuse, Inputs, Line, Matrix, Return, Supply
from simrig.scan.scanner import links, readings
from simrig.world.balls import Fact, Placement
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import Value, worlds

LINES = range(1, 5)
PLUGS = ("plug-a", "plug-b")


@st.composite
def machines(draw: st.DrawFn) -> Profile:
    """Machines of five to ten sensors."""
    seats = draw(st.integers(1, 3))
    lock = draw(st.integers(0, 2))
    balls = draw(st.integers(1, seats))
    diodes = draw(st.sampled_from(("all", "all", "some", "none", None)))
    places = [
        Place(
            id="trough",
            kind="trough",
            seats=seats,
            position_1=draw(st.sampled_from(("exit end", "exit end", "far end", None))),
            jam=draw(st.booleans()),
        ),
        Place(id="launcher", kind="launcher", seats=1, position_1="exit end"),
        Place(id="playfield", kind="playfield", seats="any"),
    ]
    spots: list[tuple[str, ...]] = [(f"trough.{n}",) for n in range(1, seats + 1)]
    phases = [Phase(id="idle", placements=({"trough": "rest"},))]
    if places[0].jam:
        spots.append(("trough.jam",))
    if lock:
        places.append(Place(id="lock", kind="lock", seats=lock, position_1="exit end"))
        spots += [(f"lock.{n}",) for n in range(1, lock + 1)]
        phases.append(
            Phase(id="locked", placements=({"lock": f"0-{min(lock, balls)}", "trough": "rest"},))
        )
    spots += [("launch.1",), *[()] * draw(st.integers(1, 3))]
    crossings = list(itertools.product(LINES, LINES))
    crossings = draw(st.permutations(crossings))
    sensors = []
    for number, at in enumerate(spots):
        where = draw(st.sampled_from((*["matrix"] * 6, "direct", "node", "unknown")))
        address: dict[str, Any] = {"address": f"{where} {number + 1}"}
        if where == "matrix":
            column, row = crossings[number]
            address["address"] = f"column {column} row {row}"
            if diodes == "some":
                address["diode"] = draw(st.sampled_from(("fitted", "fitted", "none", None)))
                if address["diode"] and draw(st.booleans()):
                    address["assumed"] = {"diode": "like the others"}
        if where == "unknown":
            address = {}
        if draw(st.booleans()):
            address |= {"connector": draw(st.sampled_from(PLUGS)), "pin": number + 1}
        sensors.append(draw(_sensor(f"s{number}", at, number, address)))
    columns, rows = (
        tuple(
            Line(number=number, order=order, connector=draw(st.sampled_from((None, *PLUGS))))
            for number in LINES
            if len(order := _along(sensors, axis, number)) > 1
        )
        for axis in ("column", "row")
    )
    return Profile(
        format=1,
        id="made",
        balls=Balls(installed=balls, store="trough", extra=("launcher", "playfield")),
        place=tuple(places),
        route=(
            Route(id="serve", from_="trough", to=("launcher",), by="coil"),
            Route(id="launch", from_="launcher", to=("playfield",), by="coil", points=1),
            Route(id="drain", from_="playfield", to=("trough",), by="gravity"),
        ),
        phase=tuple(phases),
        sensor=tuple(sensors),
        matrix=Matrix(
            columns=4,
            rows=4,
            diodes=diodes,
            column=columns,
            row=rows,
            assumed={"diodes": "two were looked at"} if draw(st.booleans()) else {},
        ),
        inputs=(Inputs(id="node", count=20, supply="low", plug="plug-b"),),
        supply=(Supply(id="low", volts=12, fuse="f1"),),
        fuse=(Fuse(id="f1"),),
        bank=(Bank(id="bank", supply="low", fuse="none", plug="plug-a"),),
        connector=(Connector(id="plug-a", alike=("plug-b",)), Connector(id="plug-b")),
        board=(
            Board(id="dark-board", output_closes="dark", supply="low", sensor_plug="plug-a"),
            Board(
                id="lit-board", output_closes="lit", output_plug="plug-b", without_supply="closed"
            ),
            Board(id="odd-board"),
        ),
        return_=(Return(id="common", connector=draw(st.sampled_from((None, "plug-a")))),),
    )


def _along(sensors: Sequence[Sensor], axis: str, number: int) -> tuple[str, ...]:
    other = "row" if axis == "column" else "column"
    found = []
    for cross in LINES:
        words = {axis: number, other: cross}
        address = f"column {words['column']} row {words['row']}"
        found += [sensor.id for sensor in sensors if sensor.address == address]
    return tuple(found)


@st.composite
def _sensor(
    draw: st.DrawFn, name: str, at: tuple[str, ...], number: int, address: dict[str, Any]
) -> Sensor:
    kinds = ("opto", "bare", "leaf switch", "leaf switch", "micro-switch", "inductive")
    kind = draw(st.sampled_from(kinds if at else kinds[2:5]))
    spots: tuple[str, ...] | str = at or "none"
    if kind == "opto":
        board = draw(st.sampled_from(("dark-board", "lit-board", "odd-board")))
        return Sensor(
            id=name,
            kind="opto",
            at=spots,
            bank="bank",
            board=board,
            channel=number + 1,
            rest_reads=draw(st.sampled_from((None, "open"))) if board == "odd-board" else None,
            **address,
        )
    if kind == "bare":
        return Sensor(id=name, kind="opto", at=spots, board="none", common="common", **address)
    contact = draw(st.sampled_from(("normally open", "normally closed", "normally closed", None)))
    assumed = address.pop("assumed", {})
    if contact and draw(st.booleans()):
        assumed = {**assumed, "contact": "like the others"}
    return Sensor(
        id=name,
        kind=kind,
        at=spots,
        contact=contact,
        supply="low" if kind == "inductive" else None,
        assumed=assumed,
        **address,
    )


@attrs.frozen(kw_only=True)
class Case:
    """A machine, some suspects, and what was seen on one or two sheets."""

    profile: Profile
    sheets: tuple[Sheet, ...]
    suspects: tuple[Suspect, ...]

    def consistent(self, limit: int) -> dict[tuple[int, ...], float]:
        """Return all sets of at most ``limit`` suspects that give what was seen, with weights.

        The weights are prior odds times likelihood, as shares of their sum.
        """
        found = {}
        for size in range(limit + 1):
            for chosen in itertools.combinations(range(len(self.suspects)), size):
                ones = [self.suspects[i] for i in chosen]
                if len({one.deviation.part for one in ones}) < size:
                    continue
                weight = math.prod(one.deviation.prior for one in ones)
                for number, sheet in enumerate(self.sheets):
                    weight *= likelihood(self.profile, sheet, number, ones)
                if weight:
                    found[chosen] = weight
        total = math.fsum(found.values())
        return {chosen: weight / total for chosen, weight in found.items()}


def likelihood(profile: Profile, sheet: Sheet, number: int, chosen: Sequence[Suspect]) -> float:
    """Return the share of positions, and of states of intermittent faults, that give a sheet."""
    mistakes = _mistakes(chosen, number)
    seen = {name: _MEANT[said] for name, said in sheet.observation.looked_at().items()}
    places = tuple(_positions(profile, sheet.conditions, chosen, mistakes))
    states = [
        [_noted(profile, mistakes, values) for values in _readings(profile, chosen, off, places)]
        for off in _states(chosen)
    ]
    if any(said is None for said in seen.values()):
        flat = [list(group) for group in zip(*states, strict=True)]
    else:
        flat = [[values] for state in states for values in state]
    return sum(_agrees(seen, group) for group in flat) / len(flat) if flat else 0.0


_MEANT = {"open": 0, "closed": 1, "flickers": None}


def _agrees(seen: dict[str, int | None], states: Sequence[dict[str, Value]]) -> bool:
    """Whether one position gives the sheet; on a flickering one, states follow each other."""
    for name, said in seen.items():
        values = [state[name] for state in states]
        can = [{0, 1} if one.surely != one.maybe else {one.surely} for one in values]
        if said is None:
            differ = any(one != values[0] for one in values)
            if not (differ and any(0 in one for one in can) and any(1 in one for one in can)):
                return False
        elif not all(said in one for one in can):
            return False
    return True


def _mistakes(chosen: Iterable[Suspect], number: int) -> list[Mistake]:
    return [
        one.mistake
        for one in chosen
        if one.mistake is not None and one.mistake.sheet in (None, number)
    ]


def _positions(
    profile: Profile, conditions: Conditions, chosen: Iterable[Suspect], mistakes: list[Mistake]
) -> Iterator[Placement]:
    for mistake in mistakes:
        if mistake.kind == "phase":
            conditions = attrs.evolve(conditions, phase=mistake.value)
        elif mistake.kind == "count":
            conditions = attrs.evolve(conditions, balls=int(mistake.value))
    balls = [one.fault for one in chosen if one.fault and one.fault.kind.effect == "moves balls"]
    passing = any(mistake.kind == "passing" for mistake in mistakes)
    yield from placements_with(
        profile, conditions, sorted(balls, key=lambda fault: fault.name), passing=passing
    )


def _states(chosen: Iterable[Suspect]) -> Iterator[tuple[str, ...]]:
    names = [one.name for one in chosen if one.fault is not None and one.fault.kind.intermittent]
    for size in range(len(names) + 1):
        yield from itertools.combinations(names, size)


def _readings(
    profile: Profile, chosen: Iterable[Suspect], off: tuple[str, ...], places: Iterable[Placement]
) -> Iterator[dict[str, Value]]:
    """Yield the readings at each position, with some intermittent faults not showing."""
    built = profile
    for one in chosen:
        if one.mistake is not None and one.mistake.fact is not None:
            built = built_otherwise(built, one.mistake.fact)
    faults = [one.fault for one in chosen if one.fault is not None and one.name not in off]
    table = inject(profile, links(built), faults)
    for place in places:
        yield dict(readings(profile, table, worlds(profile, (place,))).cells)


def built_otherwise(profile: Profile, fact: Fact) -> Profile:
    """Return the machine whose profile has a fact wrong."""
    other = {
        "normally open": "normally closed",
        "normally closed": "normally open",
        "fitted": "none",
        "none": "all" if fact.table == "matrix" else "fitted",
        "all": "none",
    }
    if fact.table == "matrix":
        matrix = attrs.evolve(profile.matrix, diodes=other[str(profile.matrix.diodes)])
        return attrs.evolve(profile, matrix=matrix)
    return attrs.evolve(
        profile,
        sensor=tuple(
            attrs.evolve(one, **{fact.key: other[str(getattr(one, fact.key))]})
            if one.id == fact.row
            else one
            for one in profile.sensor
        ),
    )


def _noted(
    profile: Profile, mistakes: Iterable[Mistake], values: dict[str, Value]
) -> dict[str, Value]:
    """Return what the reader notes, with the mistakes, where these readings are shown."""
    noted = dict(values)
    turned: list[str] = []
    for mistake in mistakes:
        if mistake.kind == "numbering":
            pairs = wrong_end(profile)[mistake.value]
            noted.update({one: values[other] for one, other in pairs.items()})
        elif mistake.kind == "misread":
            turned.append(mistake.value)
        elif mistake.kind == "symbols":
            all_of_them = [sensor.id for sensor in profile.sensor]
            turned += all_of_them if mistake.value == "all" else boards(profile)[mistake.value]
    for name in turned:
        value = noted[name]
        noted[name] = Value(1 - value.maybe, 1 - value.surely)
    return noted


@st.composite
def cases(draw: st.DrawFn, most: int = 16) -> Case:
    """A machine with one or two sheets, mostly what some of the suspects would show."""
    profile = draw(machines())
    random = draw(st.randoms(use_true_random=False))
    count = draw(st.sampled_from((1, 1, 2)))
    names = [sensor.id for sensor in profile.sensor]
    conditions = [_conditions(profile, random) for _ in range(count)]
    blank = Observation(readings=dict.fromkeys(names, "open"))
    everything = suspects(profile, [Sheet(observation=blank, conditions=one) for one in conditions])
    picked = _picked(everything, random, most)
    true = random.sample(picked, min(random.choice((0, 1, 1, 2, 2)), len(picked)))
    if len({one.deviation.part for one in true}) < len(true):
        true = true[:1]
    sheets = []
    for number, one in enumerate(conditions):
        mistakes = _mistakes(true, number)
        places = list(_positions(profile, one, true, mistakes))
        values: dict[str, Value] = {}
        states = list(_states(true))
        if places:
            place = random.choice(places)
            both = [next(_readings(profile, true, off, (place,))) for off in states]
            values = _noted(profile, mistakes, random.choice(both))
        said = {}
        for name in names:
            value = values.get(name, Value(0, 1))
            shown = value.maybe if value.surely == value.maybe else random.randint(0, 1)
            said[name] = "closed" if shown else "open"
            if random.random() < 0.15:
                said[name] = "unknown"
            elif random.random() < 0.03:
                said[name] = random.choice(("open", "closed"))
            if len(states) > 1 and len({state[name] for state in both}) > 1:
                said[name] = random.choice((said[name], "flickers"))
        sheets.append(Sheet(observation=Observation(readings=said), conditions=one))
    looked = [sheet.observation.looked_at() for sheet in sheets]
    kept = [
        one
        for one in picked
        if one.mistake is None
        or one.mistake.kind != "misread"
        or one.mistake.value in looked[one.mistake.sheet or 0]
    ]
    return Case(profile=profile, sheets=tuple(sheets), suspects=tuple(kept))


def _conditions(profile: Profile, random: Any) -> Conditions:
    phase = random.choice((None, *[phase.id for phase in profile.phase]))
    balls = random.choice((None, None, *range(profile.balls.installed + 1)))
    conditions = Conditions(phase=phase, balls=balls)
    if random.random() < 0.3:
        here = random.choice(legal_placements(profile, conditions) or [None])
        if here is not None:
            at = sum(spot.startswith("trough.") for spot in here.spots)
            conditions = attrs.evolve(conditions, at={"trough": at})
    return conditions


def _picked(everything: Sequence[Suspect], random: Any, most: int) -> list[Suspect]:
    """Pick suspects so that rare effects are tried as often as common ones, many together."""
    by_effect: dict[str, list[Suspect]] = {}
    for one in everything:
        effect = one.fault.kind.effect if one.fault else str(one.mistake and one.mistake.kind)
        by_effect.setdefault(effect, []).append(one)
    picked: dict[str, Suspect] = {}
    for _ in range(most):
        one = random.choice(by_effect[random.choice(list(by_effect))])
        if picked and random.random() < 0.4:
            # Another thing wrong at the same sensor or line.
            part = random.choice(list(picked.values())).deviation.part
            near = [other for other in everything if set(part) & set(other.deviation.part)]
            one = random.choice(near)
        picked[one.name] = one
    order = {one.name: number for number, one in enumerate(everything)}
    return sorted(picked.values(), key=lambda one: order[one.name])
