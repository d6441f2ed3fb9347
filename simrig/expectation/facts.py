"""Facts of a profile in words, and which of them a predicted reading stands on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from simrig.profile.components import Sensor
from simrig.profile.keys import attribute_of, keys_of
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.scan.circuit import sneaking
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links
from simrig.sensing.chain import Chain, chains
from simrig.world.balls import Fact, count_by_place
from simrig.world.worlds import Value, Worlds


def in_words(profile: Profile, fact: Fact) -> str:
    """Return a fact as a question that a technician can answer."""
    title = fact.row.replace("-", " ")
    row = profile.row(fact.table, fact.row) if fact.row else getattr(profile, fact.table, None)
    special = {
        ("place", "position_1"): f"at which end of the {title} position 1 is",
        ("place", "rest_end"): f"at which end of the {title} the captive ball rests",
        ("place", "captive"): f"how many balls the {title} never gives back",
        ("place", "seats"): f"how many balls the {title} holds",
        ("sensor", "at"): f"where a ball works {title}",
        ("sensor", "follows"): f"what works {title}",
        ("sensor", "contact"): f"whether {title} is open or closed at rest",
        ("sensor", "worked_reads"): f"how {title} reads with a ball",
        ("sensor", "rest_reads"): f"how {title} reads at rest",
        ("sensor", "board"): f"which receiver board {title} is on, if any",
        ("sensor", "diode"): f"whether {title} has a diode",
        ("sensor", "address"): f"the address of {title}"
        + (", so that no phantom is reckoned with" if profile.matrix is None else ""),
        ("board", "output_closes"): f"whether the outputs of {title} close when dark or when lit",
        ("mechanism", "rest"): f"how the {title} stands at rest",
        ("matrix", "diodes"): "which positions of the matrix have a diode",
        ("balls", "store"): "which place is short when balls are missing",
        ("balls", "extra"): "where one ball too many lies",
        ("balls", "installed"): "how many balls the machine carries",
        ("phase", "placements"): f"where the balls lie in {title}",
        ("phase", "states"): f"how the mechanisms stand in {title}",
    }
    if (fact.table, fact.key) in special:
        return special[fact.table, fact.key]
    meaning = keys_of(type(row))[fact.key].meaning if row is not None else fact.key
    return f"{title or fact.table}: {meaning}"


def assumed_reason(profile: Profile, fact: Fact) -> str | None:
    """Return why a fact is assumed; None where it is known or unknown."""
    row = profile.row(fact.table, fact.row) if fact.row else getattr(profile, fact.table, None)
    return None if row is None else row.assumption(fact.key)


def is_unknown(profile: Profile, fact: Fact) -> bool:
    """Whether the profile leaves a fact out."""
    row = profile.row(fact.table, fact.row) if fact.row else getattr(profile, fact.table, None)
    return row is None or getattr(row, attribute_of(fact.key)) is None


def standing_on(
    profile: Profile, table: Links, worlds: Worlds, frame: Frame, sensor: Sensor, phase: str | None
) -> tuple[Fact, ...]:
    """Return the unknown and assumed facts that a reading depends on, in chain order.

    Unknown facts are named only where the reading differs because of them.
    """
    found: dict[Fact, None] = {}
    cell = frame.cells[sensor.id]
    if cell.maybe & ~cell.surely:
        found.update(dict.fromkeys(_unsure(profile, table, worlds, sensor)))
    if cell.maybe and cell.surely != frame.everything:
        between = _between_worlds(profile, worlds, frame, cell)
        found.update(
            dict.fromkeys(one for one in between if _can_concern(profile, table, sensor, one))
        )
    found.update(dict.fromkeys(_assumed(profile, table.chains, sensor, phase)))
    if profile.matrix is None and sensor.address is None:
        # In a matrix without diodes a phantom could show at it.
        found[Fact("sensor", sensor.id, "address")] = None
    return tuple(found)


def _can_concern(profile: Profile, table: Links, sensor: Sensor, fact: Fact) -> bool:
    """Whether the order of a place can change a sensor's reading: its own, or by a way round."""
    if fact.key != "position_1" or table.leads or sensor.id in sneaking(table.circuit):
        return True
    return any(profile.spots[spot].place == fact.row for spot in sensor.spots)


def _unsure(profile: Profile, table: Links, worlds: Worlds, sensor: Sensor) -> Iterator[Fact]:
    own = list(_unsure_contact(profile, table, worlds, sensor))
    yield from own
    if own or profile.matrix is None:
        return
    if sensor.address is None:
        # It may lie at a crossing where a phantom can show.
        yield Fact("sensor", sensor.id, "address")
        return
    for other in profile.sensor:
        address = profile.address_of.get(other.id)
        if address is None:
            yield Fact("sensor", other.id, "address")
        elif address.in_matrix:
            if profile.has_diode(other) is None:
                general = profile.matrix.diodes is None
                yield Fact("matrix", "", "diodes") if general else Fact("sensor", other.id, "diode")
            # A switch behind a diode can still be a leg of a sneak path.
            yield from _unsure_contact(profile, table, worlds, other)


def _unsure_contact(
    profile: Profile, table: Links, worlds: Worlds, sensor: Sensor
) -> Iterator[Fact]:
    for link in table.chains[sensor.id]:
        if link.action == "unsure":
            yield from (fact for fact in link.facts if is_unknown(profile, fact))
    worked = worlds.works(sensor)
    if worked.maybe & ~worked.surely:
        if sensor.follows:
            (name,) = sensor.follows
            fact = Fact("mechanism", name, "rest")
            if is_unknown(profile, fact):
                yield fact
        elif sensor.at is None:
            yield Fact("sensor", sensor.id, "at")
        for spot in sensor.spots:
            if worlds.perhaps.get(spot) and (where := profile.spots[spot].place):
                yield Fact("place", where, _undecided(profile.row("place", where)))


def _undecided(place: Place) -> str:
    """The fact that leaves open at which of a place's positions a ball lies."""
    if place.captive is None and place.kind == "captive":
        return "captive"
    return "rest_end" if place.captive else "position_1"


def _between_worlds(profile: Profile, worlds: Worlds, frame: Frame, cell: Value) -> Iterator[Fact]:
    groups: dict[tuple[tuple[str, int], ...], tuple[set[int], set[Fact]]] = {}
    for index, placement in enumerate(worlds.placements):
        if not placement.rests_on:
            continue
        yield from (fact for fact in placement.rests_on if fact.table == "balls")
        counts = tuple(count_by_place(profile, placement).items())
        values, facts = groups.setdefault(counts, (set(), set()))
        values.add((cell.surely >> index & 1) + 2 * (cell.maybe >> index & 1))
        facts |= placement.rests_on
    for values, facts in groups.values():
        if len(values) > 1:
            yield from sorted(facts)


def _assumed(
    profile: Profile, table: Mapping[str, Chain], sensor: Sensor, phase: str | None
) -> Iterator[Fact]:
    facts = [fact for link in table[sensor.id] for fact in link.facts]
    facts += [Fact("sensor", sensor.id, key) for key in ("at", "follows")]
    for spot in sensor.spots:
        if place := profile.spots[spot].place:
            facts += [Fact("place", place, key) for key in ("seats", "position_1", "rest_end")]
    if sensor.follows:
        facts += [Fact("mechanism", name, "rest") for name in sensor.follows]
    address = profile.address_of.get(sensor.id)
    if address is not None and address.in_matrix:
        facts += [Fact("matrix", "", "diodes"), Fact("sensor", sensor.id, "diode")]
    if phase is not None:
        facts += [Fact("phase", phase, "placements"), Fact("balls", "", "installed")]
    yield from (fact for fact in facts if assumed_reason(profile, fact) is not None)


def dependencies(
    profile: Profile, facts: Mapping[Fact, None] | tuple[Fact, ...]
) -> tuple[str, ...]:
    """Return facts in words: what is not known, and what is assumed and why."""
    words = []
    for fact in facts:
        reason = assumed_reason(profile, fact)
        question = in_words(profile, fact)
        words.append(
            f"not known: {question}" if reason is None else f"assumed: {question} ({reason})"
        )
    return tuple(dict.fromkeys(words))


def underlying(profile: Profile, sensors: Iterable[str], phase: str | None) -> tuple[str, ...]:
    """Return in words what an answer from these sensors' readings stands on.

    What is assumed about them, and what is not known about how they read; with a
    phase also what is assumed of it.
    """
    table = chains(profile)
    found: dict[Fact, None] = {}
    for name in sensors:
        sensor = profile.row("sensor", name)
        unsure = [fact for link in table[name] if link.action == "unsure" for fact in link.facts]
        found |= dict.fromkeys(fact for fact in unsure if is_unknown(profile, fact))
        found |= dict.fromkeys(_assumed(profile, table, sensor, phase))
    general = [Fact("balls", "", "installed")]
    if phase is not None:
        general.append(Fact("balls", "", "store"))
    found |= dict.fromkeys(fact for fact in general if assumed_reason(profile, fact) is not None)
    return dependencies(profile, tuple(found))
