"""Why something can be wrong: its effect along the chain, and what good readings rule out.

Every sentence is put together from the links of the chain, the fault's own clause
and the readings; none is written for a case.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import attrs

from simrig.diagnosis.grouping import ON_CHAINS, Grouping
from simrig.diagnosis.one_sheet import OneSheet, bits
from simrig.diagnosis.suspects import Mistake, Sheet, Suspect
from simrig.diagnosis.words import (
    balls_at,
    fault_words,
    listed,
    mistake_words,
    shared_part,
)
from simrig.expectation.facts import assumed_reason
from simrig.expectation.reasons import place_words
from simrig.faults.candidates import Fault
from simrig.profile.machine import Profile
from simrig.sensing.chain import Chain, contact
from simrig.signals import CLOSED, FLICKERS
from simrig.world.worlds import Value

Wrong = tuple[int, str, str, bool | None]
"""A reading that is not a sound machine's: sheet, sensor, what was seen, whether a ball is there."""


Good = tuple[int, str, str]
"""A reading that a sound machine gives: sheet, what was seen, sensor."""


@attrs.frozen(kw_only=True, eq=False)
class Whys:
    """Makes the sentences of one diagnosis; what sentences share is worked out once."""

    profile: Profile
    sheets: tuple[Sheet, ...]
    systems: tuple[OneSheet, ...]
    suspects: tuple[Suspect, ...]
    grouping: Grouping
    told: tuple[str, ...] = ()
    """What the machine makes of its readings, where people told what it did."""
    _sound: dict[str, str] = attrs.field(factory=dict, repr=False)

    def sentence(self, members: tuple[int, ...]) -> str:
        """Say in one sentence how these suspects make the readings that were seen."""
        if not members and not self.sheets:
            return "nothing that is known speaks against a sound machine"
        if not members:
            ways = [self._balls(number, members) for number in range(len(self.sheets))]
            return f"every reading is as it must be with {listed(dict.fromkeys(ways))}"
        wrong = list(self._wrong(members))
        clauses = []
        for index in members:
            one = self.suspects[index]
            if one.fault is not None and one.fault.kind.effect == "moves balls":
                clauses.append(self._balls_clause(one.fault, members))
            elif one.fault is not None:
                clauses.append(self._part_clause(index, one.fault, wrong, members))
            elif one.mistake is not None:
                clauses.append(self._mistake_clause(one.mistake, members))
        if len(members) == 1:
            fault = self.suspects[members[0]].fault
            own = fault is not None and any(one[1] == fault.sensor for one in wrong)
            return clauses[0] + (self._ruled_out(fault) if fault is not None and own else "")
        return "; and besides: ".join(clauses)

    def _wrong(self, members: tuple[int, ...]) -> Iterator[Wrong]:
        """Yield the readings that a sound machine would not give with the balls where they lie."""
        for number, (sheet, system) in enumerate(zip(self.sheets, self.systems, strict=True)):
            world = next(iter(bits(system.worlds(members))), None)
            if world is None:
                continue
            effects = system.about.effects
            for name, seen in sheet.observation.looked_at().items():
                if seen != FLICKERS and not effects.healthy.disagrees(name, seen) >> world & 1:
                    continue
                worked = effects.worked[name]
                ball = (
                    True
                    if worked.surely >> world & 1
                    else None
                    if worked.maybe >> world & 1
                    else False
                )
                yield number, name, seen, ball if self.profile.row("sensor", name).spots else None

    def _balls(self, number: int, members: tuple[int, ...]) -> str:
        ways = self.systems[number].ways(members)
        return balls_at(self.profile, ways[0]) if ways else "the balls elsewhere"

    def _part_clause(
        self, index: int, fault: Fault, wrong: list[Wrong], members: tuple[int, ...]
    ) -> str:
        own = [one for one in wrong if one[1] in self._changes(index)]
        among = len(members)
        if among == 1 and not own:
            own = wrong
        shown = self._readings(own)
        along = self._along(fault, {one[1] for one in own}) + self._phantom(fault, own, members)
        text = f"{fault_words(self.profile, fault)}: {fault.kind.why}{along}"
        if not self.sheets:
            return text + self._then()
        if fault.kind.effect == "kicks nothing":
            return text
        if shown:
            return f"{text}; so {shown}"
        return f"{text}; it shows by way of the other" if among > 1 else f"{text}; it shows nowhere"

    def _changes(self, index: int) -> set[str]:
        """Return the sensors that a suspect changes by itself, on any sheet."""
        found: set[str] = set()
        for system in self.systems:
            inner = system.to_inside[index]
            if inner is not None:
                found.update(system.about.changed(frozenset((inner,))))
        return found

    def _readings(self, wrong: Iterable[Wrong]) -> str:
        """Say which sensors read what, and that it is not what the ball there should give."""
        read: dict[tuple[str, str], list[int]] = {}
        for number, name, seen, ball in wrong:
            state = "" if ball is None else " with a ball there" if ball else " without a ball"
            verb = "flicker" if seen == FLICKERS else f"read {seen}{state}"
            read.setdefault((name, verb), []).append(number + 1)
        alike: dict[tuple[str, str], list[str]] = {}
        for (name, verb), numbers in read.items():
            where = "sheet" if len(numbers) == 1 else "sheets"
            nth = f" on {where} {listed(map(str, numbers), 8)}" if len(self.sheets) > 1 else ""
            alike.setdefault((verb, nth), []).append(name)
        words = []
        for (verb, nth), names in alike.items():
            first, _, rest = verb.partition(" ")
            one = f"{first}s {rest}".rstrip() if len(names) == 1 else verb
            words.append(f"{listed(names)} {one}{nth}")
        return " and ".join(words)

    def _along(self, fault: Fault, names: set[str]) -> str:
        """Say what the fault does to the links behind it, up to the contact that is read."""
        if fault.kind.effect not in ON_CHAINS:
            return ""
        for name, chain in self.grouping.table.chains.items():
            if name in names or (not names and name == fault.sensor):
                return self._behind(fault, name, chain)
        return ""

    def _phantom(self, fault: Fault, wrong: Iterable[Wrong], members: tuple[int, ...]) -> str:
        """Name the two other corners over which a signal that passes back makes a phantom."""
        here = self.profile.address_of.get(fault.part)
        if not fault.kind.effect.endswith("s diode") or here is None:
            return ""
        corners = {
            (address.column, address.row): name
            for name, address in self.profile.address_of.items()
            if address.in_matrix
        }
        for number, name, seen, _ in wrong:
            there = self.profile.address_of.get(name)
            if seen != CLOSED or there is None or name == fault.part:
                continue
            first = corners.get((there.column, here.row))
            last = corners.get((here.column, there.row))
            cells = self.systems[number].about.effects.healthy.cells
            world = next(iter(bits(self.systems[number].worlds(members))))
            if first and last and cells[first].maybe & cells[last].maybe & 1 << world:
                return (
                    f": for {name} over {first} to row {here.row}, back past this diode to "
                    f"column {here.column}, over {last} to row {there.row}"
                )
        return ""

    def _behind(self, fault: Fault, name: str, chain: Chain) -> str:
        kinds = [link.part.kind for link in chain]
        places = [place for place, link in enumerate(chain) if link.part == fault.component]
        if "receiver" not in kinds or not places or places[0] > kinds.index("receiver"):
            return ""
        place = places[0]
        steps = []
        lit = fault.kind.effect == "forces"
        if kinds[place] != "receiver":
            steps.append("the receiver is dark")
        if "channel" in kinds:
            at = kinds.index("channel")
            action = chain[at].action
            if action in ("inverts", "passes"):
                signal = contact(chain[at : at + 1], Value(1, 1), 1).surely
                closes = signal == 1 if lit else signal == 0
                board = self.profile.row("board", self.profile.row("sensor", name).board)
                whose = f" on {board.name or board.id}" if board is not None else ""
                steps.append(f"its output{whose} {'closes' if closes else 'opens'}")
        else:
            steps.append("it conducts" if lit else "it does not conduct")
        return "".join(f", {step}" for step in steps)

    def _ruled_out(self, fault: Fault) -> str:
        """Say which shared parts on the same chain are sound, and by which good readings."""
        if fault.sensor is None:
            return ""
        if fault.sensor not in self._sound:
            self._sound[fault.sensor] = self._sound_parts(fault.sensor)
        return self._sound[fault.sensor]

    def _sound_parts(self, sensor: str) -> str:
        parts = [link.part for link in self.grouping.table.chains[sensor]]
        address = self.profile.address_of.get(sensor)
        components: list[tuple[str, str]] = [(part.kind, part.id) for part in parts]
        if address is not None and address.in_matrix:
            components += [("column", str(address.column)), ("row", str(address.row))]
            components += [
                ("connector", str(line.connector))
                for axis in ("column", "row")
                for line in getattr(self.profile.matrix, axis)
                if line.number == getattr(address, axis)
            ]
        # A part is sound when each way in which it can fail is ruled out.
        proofs: dict[tuple[str, str], list[Good] | None] = {}
        for index, one in enumerate(self.suspects):
            other = one.fault
            if (
                other is None
                or other.sensor is not None
                or other.component not in components
                or other.kind.intermittent
                or len(self.grouping.touches(other)) < 2
            ):
                continue
            found = proofs.setdefault(other.component, [])
            good = next(filter(None, (self._proof(n, index, sensor) for n in self._numbers)), None)
            if good is None:
                proofs[other.component] = None
            elif found is not None:
                found.extend(good)
        shared: dict[str, list[str]] = {}
        for component, readings in proofs.items():
            if readings:
                shared.setdefault(self._rightly(readings), []).append(shared_part(*component))
        text = ""
        for good_words, parts_words in shared.items():
            verb = "is" if len(parts_words) == 1 else "are"
            text += f"; {good_words}, so {listed(parts_words, 6)} {verb} sound"
        return text

    @property
    def _numbers(self) -> range:
        return range(len(self.systems))

    def _proof(self, number: int, index: int, but: str) -> list[Good]:
        """Return the good readings of a sheet that rule a fault out by itself."""
        system = self.systems[number]
        if system.worlds((index,)):
            return []
        return self._good(number, system.conflicting_sensors((index,)), but)

    def _good(self, number: int, names: tuple[str, ...], but: str) -> list[Good]:
        """Return the readings among these that a sound machine can give."""
        looked = self.sheets[number].observation.looked_at()
        about = self.systems[number].about
        usual = about.selected[frozenset()]
        return [
            (number, seen, name)
            for name in names
            if name != but
            and (seen := looked.get(name, FLICKERS)) != FLICKERS
            and usual & ~about.effects.healthy.disagrees(name, seen)
        ]

    def _rightly(self, readings: Iterable[Good]) -> str:
        """Say which sensors rightly read what, on which sheet where there are several."""
        words: dict[tuple[int, str], dict[str, None]] = {}
        for number, seen, name in readings:
            words.setdefault((number, seen), {})[name] = None
        several = len(self.sheets) > 1
        return " and ".join(
            f"{listed(names)} rightly {'reads' if len(names) == 1 else 'read'} {seen}"
            + (f" on sheet {number + 1}" if several else "")
            for (number, seen), names in words.items()
        )

    def _balls_clause(self, fault: Fault, members: tuple[int, ...]) -> str:
        text = f"{fault_words(self.profile, fault)}: {fault.kind.why}"
        if not self.systems:
            return text + self._then()
        return f"{text}; then {self._lying(members)}"

    def _then(self) -> str:
        """Say what the machine makes of it, where that is what people told."""
        return "".join(f"; then {words}" for words in self.told)

    def _lying(self, members: tuple[int, ...]) -> str:
        """Say where the balls lie on each sheet under these suspects."""
        if len(self.systems) == 1:
            return f"the readings fit {self._balls(0, members)}"
        words = [
            f"{self._balls(number, members)} (sheet {number + 1})"
            for number in range(len(self.systems))
        ]
        return f"the readings fit {listed(words, 3)}"

    def _mistake_clause(self, mistake: Mistake, members: tuple[int, ...]) -> str:
        words = mistake_words(self.profile, mistake)
        if mistake.kind == "misread":
            seen = self.sheets[mistake.sheet or 0].observation.looked_at()[mistake.value]
            other = "open" if seen == CLOSED else "closed"
            return f"{words}: had it read {other}, it would be as it must be"
        if mistake.kind == "passing":
            return f"{words}: the picture was taken while it moved; then {self._moving(mistake, members)}"
        if mistake.kind == "profile" and mistake.fact is not None:
            reason = assumed_reason(self.profile, mistake.fact)
            return f"{words}: it is only assumed there ({reason}); then {self._lying(members)}"
        if mistake.kind in ("symbols", "numbering"):
            return f"{words}: the other way round {self._lying(members)}"
        return f"{words}: {self._lying(members)}"

    def _moving(self, mistake: Mistake, members: tuple[int, ...]) -> str:
        system = self.systems[mistake.sheet or 0]
        usual = {
            spot
            for world in bits(system.about.selected[frozenset()])
            for spot in system.about.placements[world].spots
        }
        for world in bits(system.worlds(members)):
            spots = [
                spot
                for spot in system.about.placements[world].spots
                if not self.profile.spots[spot].resting or spot not in usual
            ]
            if spots:
                return f"a ball is at: {place_words(self.profile, spots[0])}"
        return self._lying(members)
