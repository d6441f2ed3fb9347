"""Textbook systems through the reasoning that the machines use."""

from __future__ import annotations

from itertools import combinations

import pytest

from simrig.diagnosis.masks import Effect, MaskModel
from simrig.diagnosis.readings import MaskSystem
from simrig.diagnosis.reasoning import (
    Allowed,
    best_probe,
    entropy,
    explain,
    minimal_conflicts,
    minimal_diagnoses,
    minimal_hitting_sets,
    rank_probes,
)
from tests.diagnosis.textbook import (
    C17_GATES,
    C17_INPUTS,
    C17_OUTPUTS,
    C17_VECTORS,
    Circuit,
    c17,
    c17_lines,
    full_adder,
    inverter_chain,
    polybox,
)


def named(circuit: Circuit, sets) -> list[str]:
    return sorted(circuit.names(chosen) for chosen in sets)


def chances(circuit: Circuit, limit: int) -> dict[str, float]:
    return {circuit.names(one.members): one.probability for one in explain(circuit, limit)}


def probes(circuit: Circuit, limit: int, lines: str, m: int):
    found = list(explain(circuit, limit))
    predictions = {line: [circuit.predict(one.members, line) for one in found] for line in lines}
    return [one.probability for one in found], predictions, m


def test_polybox_conflicts():
    """The polybox has two minimal conflicts. Source: MBD-01, DKW87+WIL04+KAL."""
    found = named(polybox(), minimal_conflicts(polybox()))
    assert found == ["A1 A2 M1 M3", "A1 M1 M2"]


def test_polybox_diagnoses():
    """The polybox has four minimal diagnoses. Source: MBD-01, DKW87+WIL04+KAL."""
    found = named(polybox(), minimal_diagnoses(polybox()))
    assert found == ["A1", "A2 M2", "M1", "M2 M3"]


def test_polybox_explanations_are_the_diagnoses():
    """What ``explain`` lists as minimal are the minimal diagnoses. Source: MBD-01, DKW87."""
    found = named(polybox(), [one.members for one in explain(polybox(), 5).minimal])
    assert found == ["A1", "A2 M2", "M1", "M2 M3"]


def test_polybox_trap():
    """M2 alone does not explain the polybox, and 27 of 32 sets do. Source: MBD-02, LGT+OWN."""
    found = chances(polybox(), 5)
    assert "M2" not in found
    assert len(found) == 27
    assert explain(polybox(), 5).count == 27


def test_polybox_chances():
    """Chances if each consistent set gives the readings likelihood 1.

    Source: MBD-03, DKW87+OWN (derived).
    """
    found = chances(polybox(), 5)
    assert found["M1"] == pytest.approx(0.478026, abs=1e-6)
    assert found["A1"] == pytest.approx(0.478026, abs=1e-6)
    assert found["A2 M2"] == pytest.approx(0.004829, abs=1e-6)
    assert found["M2 M3"] == pytest.approx(0.004829, abs=1e-6)


def test_polybox_marginals():
    """Chance of each part to be faulty, likelihood 1. Source: MBD-03, DKW87+OWN (derived)."""
    circuit = polybox()
    found = dict(
        zip([one.part for one in circuit.deviations], explain(circuit, 5).marginals(), strict=True)
    )
    assert found == pytest.approx(
        {"M1": 0.497635, "M2": 0.019609, "M3": 0.01478, "A1": 0.497635, "A2": 0.01478}, abs=1e-6
    )


def test_polybox_chances_by_shares():
    """Chances if a free output takes each of 16 values alike: the 1/m rule.

    Source: MBD-03, DKW87+OWN (derived).
    """
    found = chances(polybox(share=True), 5)
    assert found["M1"] == pytest.approx(0.496225, abs=1e-6)
    assert found["A1"] == pytest.approx(0.496225, abs=1e-6)
    assert found["A2 M2"] < 1e-3
    assert found["M2 M3"] < 1e-3


def test_polybox_best_probe():
    """The best line to probe is X. Source: MBD-04, DKW87 (from memory), numbers own."""
    chance, predictions, m = probes(polybox(), 5, "XYZ", 16)
    best = best_probe(chance, predictions, m=m)
    assert best.point == "X"
    assert best.values[4] == pytest.approx(0.492561, abs=1e-4)
    assert best.values[6] == pytest.approx(0.502365, abs=1e-4)


def test_polybox_probes():
    """The uncertainty before and after each probe. Source: MBD-04, OWN (derived)."""
    chance, predictions, m = probes(polybox(), 5, "XYZ", 16)
    ranked = rank_probes(chance, predictions, m=m)
    assert [one.point for one in ranked] == ["X", "Y", "Z"]
    assert [one.remaining for one in ranked] == pytest.approx([0.32626, 1.27826, 1.31246], abs=1e-4)
    assert ranked[1].values[6] == pytest.approx(0.990097, abs=1e-4)
    assert ranked[2].values[6] == pytest.approx(0.994926, abs=1e-4)
    assert entropy(chance) == pytest.approx(1.359445, abs=1e-6)


def test_full_adder():
    """A full adder's conflicts and diagnoses. Source: MBD-06, REI87 (from memory)."""
    circuit = full_adder()
    assert named(circuit, minimal_conflicts(circuit)) == ["A2 O1 X1", "X1 X2"]
    assert named(circuit, minimal_diagnoses(circuit)) == ["A2 X2", "O1 X2", "X1"]


def test_inverters_before_reading():
    """With nothing read, chances are the priors. Source: MBD-09, DEL."""
    found = chances(inverter_chain({}), 4)
    assert len(found) == 16
    assert found[""] == pytest.approx(0.96059601, abs=1e-8)
    for name in "ABCD":
        assert found[name] == pytest.approx(0.00970299, abs=1e-8)


def test_inverters_after_reading():
    """A wrong end leaves 15 of 16 sets, singles equal. Source: MBD-10, DEL+OWN (derived)."""
    found = chances(inverter_chain({"y": 0}), 4)
    assert len(found) == 15
    for name in "ABCD":
        assert found[name] == pytest.approx(0.246244, abs=1e-6)


def test_inverters_best_probe():
    """The middle of the chain parts best. Source: MBD-10, DEL+OWN (derived)."""
    chance, predictions, m = probes(inverter_chain({"y": 0}), 4, "abc", 2)
    ranked = rank_probes(chance, predictions, m=m)
    assert ranked[0].point == "b"
    assert {one.point: one.bits for one in ranked} == pytest.approx(
        {"a": 0.811298, "b": 1.0, "c": 0.811298}, abs=1e-6
    )


@pytest.mark.parametrize(
    ("vector", "outputs"),
    [
        ("00000", "00"),
        ("00001", "01"),
        ("01000", "11"),
        ("00100", "00"),
        ("10100", "10"),
        ("11111", "10"),
        ("01110", "00"),
        ("11001", "11"),
    ],
)
def test_c17_truth_table(vector, outputs):
    """Only the right outputs leave c17 without a fault. Source: C17-01, C17+OWN."""
    allowed = [
        reading
        for reading in ("00", "01", "10", "11")
        if isinstance(c17(vector, reading).outcomes(frozenset()), Allowed)
    ]
    assert allowed == [outputs]


def c17_signatures() -> dict[int | None, tuple[tuple[int | None, ...], ...]]:
    """What c17 puts out for each vector, healthy (None) and under each single fault."""
    circuits = [c17_lines(vector, {}) for vector in C17_VECTORS]
    faults = [None, *range(len(circuits[0].deviations))]
    return {
        fault: tuple(
            tuple(circuit.predict([] if fault is None else [fault], out) for out in C17_OUTPUTS)
            for circuit in circuits
        )
        for fault in faults
    }


def c17_detecting() -> list[frozenset[str]]:
    """For each single stuck line, the vectors that show it."""
    signatures = c17_signatures()
    healthy = signatures.pop(None)
    return [
        frozenset(
            vector
            for vector, right, wrong in zip(C17_VECTORS, healthy, signature, strict=True)
            if right != wrong
        )
        for signature in signatures.values()
    ]


def test_c17_stuck_lines():
    """17 lines, 34 faults, 22 told apart, none undetectable. Source: C17-02, C17+ATP+OWN."""
    signatures = c17_signatures()
    assert len(c17_lines("00000", {}).components) == 17
    assert len(signatures) - 1 == 34
    assert len(set(signatures.values()) - {signatures[None]}) == 22
    assert all(c17_detecting())


def test_c17_collapsed_faults():
    """Equivalence at the gates leaves 22 faults, as do checkpoints. Source: C17-02, C17+ATP."""
    circuit = c17_lines("00000", {})
    # An input of a nand gate stuck at 0 is its output stuck at 1.
    faults = {(one.part, one.mode) for one in circuit.deviations}
    for one in circuit.components:
        if one.name in C17_GATES:
            faults -= {(line, "stuck at 0") for line in one.inputs}
    assert len(faults) == 22
    checkpoints = [
        one.name for one in circuit.components if one.name in C17_INPUTS or ">" in one.name
    ]
    assert 2 * len(checkpoints) == 22


def test_c17_smallest_test_set():
    """Four vectors show each fault, in 10 ways. Source: C17-03, OWN (derived)."""
    found = minimal_hitting_sets(map(sorted, c17_detecting()), limit=4)
    assert {len(vectors) for vectors in found} == {4}
    assert len(found) == 10
    assert frozenset({"00100", "01100", "10011", "11111"}) in found


@pytest.mark.parametrize(
    ("reading", "smallest"),
    [("11", ["11", "16", "19", "23"]), ("00", ["10", "22"])],
)
def test_c17_single_gates(reading, smallest):
    """Single gates that explain wrong outputs for 11111. Source: C17-04, OWN (derived)."""
    circuit = c17("11111", reading)
    assert named(circuit, minimal_diagnoses(circuit, limit=1)) == smallest


def test_c17_gate_pairs():
    """Both outputs wrong need two gates, in six ways. Source: C17-04, OWN (derived)."""
    circuit = c17("11111", "01")
    assert minimal_diagnoses(circuit, limit=1) == []
    assert len(minimal_diagnoses(circuit, limit=2)) == 6


@pytest.mark.parametrize(("reading", "count"), [("11", 4), ("00", 2), ("01", 6)])
def test_c17_gates_stuck(reading, count):
    """Gate outputs stuck at a level explain in as many ways. Source: C17-04, OWN (derived)."""
    lines = c17_lines("11111", dict(zip(C17_OUTPUTS, map(int, reading), strict=True)))
    gates = [i for i, one in enumerate(lines.deviations) if one.part in C17_GATES]
    circuit = Circuit(
        components=lines.components,
        values=lines.values,
        given=lines.given,
        read=lines.read,
        deviations=tuple(lines.deviations[i] for i in gates),
        functions=tuple(lines.functions[i] for i in gates),
    )
    found = [one.members for one in explain(circuit, 2).minimal]
    smallest = min(map(len, found))
    assert len([members for members in found if len(members) == smallest]) == count


def test_c17_known_modes():
    """With stuck lines, ``explain`` finds each set that trying all finds, no other. (derived)"""
    circuit = c17_lines("10100", {"22": 0})
    tried = {}
    for size in range(3):
        for members in combinations(range(len(circuit.deviations)), size):
            parts = {circuit.deviations[i].part for i in members}
            outcome = circuit.outcomes(frozenset(members)) if len(parts) == size else None
            if isinstance(outcome, Allowed):
                tried[members] = outcome.likelihood
    assert {one.members: one.likelihood for one in explain(circuit, 2)} == tried


def test_polybox_of_masks():
    """The polybox as cells and worlds has the same consistent sets. Source: MBD-02, OWN."""
    circuit = polybox()
    worlds = [(x, y, z) for x in range(16) for y in range(16) for z in range(16)]
    equations = (
        lambda x, y, z: x == 6,
        lambda x, y, z: y == 6,
        lambda x, y, z: z == 6,
        lambda x, y, z: x + y == 10,
        lambda x, y, z: y + z == 12,
    )
    everything = (1 << len(worlds)) - 1
    model = MaskModel(
        deviations=circuit.deviations,
        meets=tuple(1 << cell for cell in range(5)),
        count=len(worlds),
        healthy=tuple(
            (sum(1 << bit for bit, world in enumerate(worlds) if equation(*world)),)
            for equation in equations
        ),
        worlds=everything,
        effect=lambda component: Effect(states=(dict.fromkeys(component, (everything,)),)),
    )
    system = MaskSystem(model=model, readings=(0,) * 5)
    assert {one.members for one in explain(system, 5)} == {
        one.members for one in explain(circuit, 5)
    }
    assert named(circuit, minimal_conflicts(system)) == ["A1 A2 M1 M3", "A1 M1 M2"]
