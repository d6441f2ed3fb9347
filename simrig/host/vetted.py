"""A profile file held against every rule at hand: built in, and brought by plug-ins."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simrig.errors import ProfileError
from simrig.vetting.vet import Vetted, unread, vet, vet_read

if TYPE_CHECKING:
    from simrig.host.catalogue import Catalogue
    from simrig.vetting.rule import Rule


def rules_known(catalogue: Catalogue) -> tuple[Rule, ...]:
    """Return the rules that are known: built in, and brought by plug-ins."""
    from simrig.vetting.table import RULES

    return (*RULES, *catalogue.brought("simrig_rules"))


def vetted(catalogue: Catalogue, data: bytes, path: str) -> Vetted:
    """Vet the profile in the bytes of a file, which its findings name as ``path``."""
    rules, kinds = rules_known(catalogue), catalogue.kinds()
    if not path.endswith(".json"):
        return vet(data, path, kinds=kinds, rules=rules, completed=catalogue.completed)
    from simrig.interchange import profile_json

    try:
        profile = profile_json.read(data, path, kinds=kinds)
        return vet_read(catalogue.completed(profile), rules=rules)
    except ProfileError as error:
        return unread(path, error.problems, rules=rules)
