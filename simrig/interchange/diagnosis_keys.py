"""What a scenario can say that diagnosing must give: the table of keys."""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from simrig.profile import keys
from simrig.profile.keys import Key

_NAME = Key(shape="text", meaning="KIND:PART; several at once joined by &")


@attrs.frozen(kw_only=True, repr=False, eq=False)
class DiagnosisTable(keys.Keyed):
    """What diagnosing must say of what was seen."""

    faults: int | None = keys.integer("things wrong at once, at most; 2 when left out", 0, 3)
    found: tuple[str, ...] | None = keys.sequence(
        "what bench checks have shown, in order", Key(shape="text", meaning="CHECK=RESULT")
    )
    complaints: tuple[str, ...] | None = keys.sequence(
        "what the machine did", Key(shape="text", meaning="a complaint")
    )
    as_assumed: bool | None = keys.boolean("whether all is as assumed")
    told_apart: bool | None = keys.boolean("whether one group is left")
    conflict: bool | None = keys.boolean("whether nothing explains it")
    singles: tuple[str, ...] | None = keys.sequence(
        "each explains it by itself, and nothing else does", _NAME
    )
    among: tuple[str, ...] | None = keys.sequence("each must be offered", _NAME)
    absent: tuple[str, ...] | None = keys.sequence(
        "none of these, or of these kinds, explains it by itself", _NAME
    )
    nowhere: tuple[str, ...] | None = keys.sequence(
        "none of these, or of these kinds, is in anything offered", _NAME
    )
    first: tuple[str, ...] | None = keys.sequence("the likeliest is one of these", _NAME)
    ranked: tuple[str, ...] | None = keys.sequence("each is likelier than the next", _NAME)
    alike: tuple[str, ...] | None = keys.sequence("these show alike under every reading", _NAME)
    one_group: tuple[str, ...] | None = keys.sequence(
        "these are in one group: no reading and no check parts them", _NAME
    )
    groups: int | None = keys.integer("how many groups there are", 0, 100000)
    next_check: tuple[str, ...] | None = keys.sequence(
        "the check to do next is one of these; none: no check parts what is left",
        Key(shape="text", meaning="a check"),
        none=True,
    )
    no_part: bool | None = keys.boolean("whether no part with a chance of 1 in 100 is named")
    at: Mapping[str, int] | None = keys.mapping(
        "where the balls lie under the likeliest, on the first sheet",
        Key(shape="integer", meaning="balls", low=0, high=20),
    )
    ruled_out_by: Mapping[str, str] | None = keys.mapping(
        "what is ruled out by itself, and a sensor whose reading does it",
        Key(shape="text", meaning="a sensor"),
    )
