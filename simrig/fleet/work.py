"""One piece of work done, wherever it arrives: what it takes and gives is small and plain."""

from __future__ import annotations

import gc
import threading
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

import attrs

from simrig.diagnosis.campaign import Campaign
from simrig.errors import InputError, Problem, SimrigError
from simrig.faults.candidates import Fault
from simrig.fleet.orders import Options, Order
from simrig.host.catalogue import Catalogue
from simrig.host.index import current
from simrig.host.vetted import vetted
from simrig.interchange import campaign_document, findings
from simrig.version import VERSION


def do(order: Order) -> dict[str, Any]:
    """Do a piece of work and return what came of it, as plain JSON values.

    The first piece of a machine tells also what the machine is, how many trials there are and
    what vetting finds.  What goes wrong is not raised: ``problems`` with the exit ``code``
    where somebody must act, ``failed`` where simrig itself is at fault.
    """
    shop = _shop(order.strict)
    try:
        _same(order)
        return _done(order, shop) | {"told": shop.told()}
    except SimrigError as error:
        problems = [attrs.asdict(problem) for problem in error.problems]
        return {"problems": problems, "code": error.exit_code, "told": shop.told()}
    except Exception as error:
        return {"failed": f"{type(error).__name__}: {error}", "told": shop.told()}


def warm() -> None:
    """Import what every piece of work needs, and look for plug-ins, before the first arrives."""
    from simrig.vetting import table  # noqa: F401

    surroundings()


@cache
def surroundings() -> str:
    """Return what answers rest on besides a profile: this simrig, and plug-ins that change them."""
    index = current()
    changing = index.accepted if index.hooks or index.kinds else ()
    return ", ".join([f"simrig {VERSION}", *[entry.source for entry in changing]])


class _Shop:
    """What a worker keeps between pieces of work: plug-ins at hand, the machine it was at."""

    def __init__(self, strict: bool) -> None:
        self._problems: list[Problem] = []
        self.catalogue = Catalogue(environ={}, strict=strict, tell=self._problems.append)
        self._at: tuple[str, bytes, Options] | None = None
        self._campaign: tuple[Campaign, list[tuple[Fault, ...]]] | None = None

    def campaign(self, order: Order) -> tuple[Campaign, list[tuple[Fault, ...]]]:
        """Return the campaign of an order's machine, and what is injected in all of it."""
        at = (order.file, order.data, order.options)
        if self._campaign is None or self._at != at:
            self._campaign = None
            # What one machine leaves points at itself, and the command that started this lets
            # the collector wait long: a fleet would fill the memory.
            gc.collect()
            options = order.options
            made = Campaign(profile=self.catalogue.read(order.data, order.file))
            chosen = made.chosen(options.singles, options.pairs, options.seed)
            self._at, self._campaign = at, (made, chosen)
        return self._campaign

    def told(self) -> list[dict[str, Any]]:
        """Return what showed of plug-ins in use, once."""
        found = [attrs.asdict(problem) for problem in self._problems]
        self._problems.clear()
        return found


_kept = threading.local()
"""The shop of each thread: what it keeps is worked out piece by piece, by one at a time."""


def _shop(strict: bool) -> _Shop:
    found: _Shop | None = getattr(_kept, "shop", None)
    if found is None or getattr(_kept, "strict", None) != strict:
        found = _kept.shop = _Shop(strict)
        _kept.strict = strict
    return found


def _same(order: Order) -> None:
    here = surroundings()
    if here != order.surroundings:
        message = f"found {here}; wanted {order.surroundings}, as where the command was given"
        raise InputError([Problem(file="worker", where="installed", message=message)])


def _done(order: Order, shop: _Shop) -> dict[str, Any]:
    campaign, chosen = shop.campaign(order)
    if order.check:
        from simrig.fleet.conforming import conformed

        return {"conformance": conformed(campaign.profile, order)}
    found: dict[str, Any] = {}
    if order.piece == 0:
        seen = vetted(shop.catalogue, order.data, order.file)
        found = {
            "id": campaign.profile.id,
            "name": campaign.profile.name,
            "total": len(chosen),
            "findings": findings.document([seen])["findings"],
        }
    begin = order.piece * order.size
    return found | {"trials": list(_trials(campaign, chosen[begin : begin + order.size]))}


def _trials(campaign: Campaign, chosen: Iterable[tuple[Fault, ...]]) -> Iterator[dict[str, Any]]:
    for faults in chosen:
        yield campaign_document.plain(campaign.trial(faults))
