"""A profile with one fact wrong: the machine as it then is."""

from __future__ import annotations

import os

from hypothesis import given, settings

from simrig.diagnosis.wrong_facts import assumed_facts, with_fact_wrong
from simrig.profile.machine import Profile
from simrig.scan.scanner import links
from tests.diagnosis.small_machines import built_otherwise, machines

FULL = bool(os.environ.get("SIMRIG_FULL"))


@given(profile=machines())
@settings(max_examples=1000 if FULL else 200)
def test_links_are_those_of_the_machine_built_otherwise(profile: Profile) -> None:
    """Each assumed fact, turned round, gives the table of links of a machine built that way."""
    table = links(profile)
    for fact in assumed_facts(profile):
        wanted = links(built_otherwise(profile, fact))
        assert with_fact_wrong(profile, table, fact) == wanted, fact
