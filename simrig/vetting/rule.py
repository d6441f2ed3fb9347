"""What a rule is, and what it finds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final

import attrs

if TYPE_CHECKING:
    from simrig.vetting.subject import Subject

LEVELS: Final = ("error", "warning", "note")
"""Contradictions; what is probably wrong; what is worth knowing.  Worst first."""

Path = tuple[str | int, ...]


@attrs.frozen(kw_only=True)
class Found:
    """One breach of a rule: where in the profile, in words, and the ids that it concerns."""

    path: Path
    message: str
    about: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class Rule:
    """One rule, with its page.

    ``look`` finds its breaches; None for what the reader finds already.
    ``what`` it asks, ``why``, an ``example`` that breaks it, how to ``mend`` that, and
    the ``limits``: what it cannot see, or takes for a breach that is none.
    """

    code: str = attrs.field(validator=attrs.validators.matches_re(r"[A-Z]{2,10}-[0-9]{2}"))
    name: str = attrs.field(validator=attrs.validators.matches_re(r"[a-z0-9]+(-[a-z0-9]+)*"))
    level: str = attrs.field(validator=attrs.validators.in_(LEVELS))
    what: str
    why: str
    example: str
    mend: str
    limits: str
    look: Callable[[Subject], Iterator[Found]] | None = attrs.field(default=None, repr=False)


@attrs.frozen(kw_only=True)
class Finding:
    """A breach as it is reported; ``silenced`` is the profile's reason to live with it."""

    code: str
    name: str
    level: str
    file: str
    line: int | None
    where: str
    message: str
    help: str
    about: tuple[str, ...] = ()
    silenced: str | None = None
