"""Faults planted in generated profiles: each found once, at the right line, and nothing besides."""

from __future__ import annotations

import copy
import os
from collections import Counter
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from simrig.vetting.vet import vet
from tests.profile_text import document, written
from tests.vetting.machines import profiles
from tests.vetting.planted import KINDS, furnished

EXAMPLES = 25 if os.environ.get("SIMRIG_FULL") else 2
ASIDE = frozenset(("FACT-01", "PHASE-03", "TELL-03"))


def _found(text: str) -> Counter[tuple[str, int | None]]:
    found = vet(text.encode(), "made").findings
    return Counter((one.code, one.line) for one in found if one.code not in ASIDE)


@pytest.mark.parametrize("kind", KINDS)
def test_each_planted_fault_is_found_once(kind: str) -> None:
    """Planted in a generated profile, it is the one finding that was not there before."""
    planted = 0

    @given(made=profiles().map(lambda one: furnished(document(one))), seed=st.integers(0, 9999))
    @settings(
        max_examples=EXAMPLES,
        phases=(Phase.generate,),
        suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
    )
    def plant(made: dict[str, Any], seed: int) -> None:
        nonlocal planted
        made = copy.deepcopy(made)
        text, _ = written(made)
        before = _found(text)
        assert not any(code.startswith(("FORM", "NAME")) for code, _ in before), before
        fault = KINDS[kind](made, Random(seed))
        assume(fault is not None)
        path, code = fault
        text, lines = written(made)
        expected = (code, lines[path])
        after = _found(text)
        assert after[expected] == 1, (expected, after)
        # The rest is what was there before, on lines that may have moved.
        others = Counter(one for one, _ in (after - Counter([expected])).elements())
        assert not others - Counter(one for one, _ in before.elements()), (others, before)
        planted += 1

    plant()
    assert planted >= 2


def test_there_are_forty_kinds() -> None:
    """At least forty kinds of fault are planted."""
    assert len(KINDS) >= 40
