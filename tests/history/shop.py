"""A generated year of an operator: 40 machines of three models, three technicians."""

import datetime
import random
from contextlib import contextmanager

import pytest

from simrig import history

MODELS = ("tidal-clockwork", "basalt-freight", "orchard-signal")
TECHNICIANS = ("ABX", "CDX", "EFX")
PLACES = ("arcade", "harbour bar", "station", "workshop")
PARTS = (
    ("resistor", "trough-{}", True, "lead resoldered"),
    ("emitter", "trough-{}", True, "new emitter"),
    ("receiver", "trough-{}", False, "new receiver"),
    ("contact", "lane-{}", False, "gap adjusted"),
    ("connector", "board-{}", False, "plug reseated"),
    ("diode", "target-{}", False, "new diode"),
)
START = datetime.datetime(2025, 3, 1, 8, 0, tzinfo=datetime.UTC)


def fill(store, *, jobs, seed=1, days=365):
    """File so many jobs, each with a sheet, two checks and nearly always a repair.

    Returns the number of entries filed.
    """
    draw = random.Random(seed)
    entries = 0
    with store.writing():
        units = []
        for number in range(40):
            unit = history.ensure_unit(
                store, MODELS[number % 3], f"{1000 + number}", place=PLACES[number % 4]
            )
            units.append(unit)
            entries += 1
        for number in range(jobs):
            now = START + datetime.timedelta(minutes=days * 1440 * number / jobs)
            entries += _job(store, draw, draw.choice(units), now)
    return entries


def _job(store, draw, unit, now):
    who = draw.choice(TECHNICIANS)
    later = now + datetime.timedelta(minutes=40)
    job = history.open_job(
        store, unit.machine, unit.serial, complaint="hangs looking for a ball", now=now, who=who
    )
    readings = {f"trough-{n}": draw.choice(("open", "closed")) for n in range(1, 7)}
    history.add_sheet(
        store, job.id, readings=readings, conditions={"phase": "idle", "balls": 5}, now=now, who=who
    )
    for check in ("camera-on-emitter", "plug-reseat"):
        history.add_check(store, job.id, check=check, result="dark", minutes=3, now=now, who=who)
    entries = 4
    if draw.random() < 0.95:
        kind, part, beside, what = draw.choices(PARTS, weights=(8, 3, 3, 3, 2, 1))[0]
        lasting = draw.random() < 0.8
        history.add_repair(
            store,
            job.id,
            part_kind=kind,
            part=part.format(draw.randint(1, 5)),
            what=what,
            beside_kicker=beside,
            lasting=lasting,
            due=None if lasting else (now + datetime.timedelta(days=42)).date(),
            minutes=15,
            proven=draw.choice(("none", "readings", "fed one by one", "fed one by one")),
            balls_aboard=5,
            now=later,
            who=who,
        )
        entries += 1
        if draw.random() < 0.2:
            history.order_part(
                store,
                job_id=job.id,
                value="150 ohm",
                package="0207",
                quantity=2,
                now=later,
                who=who,
            )
            entries += 1
    if draw.random() < 0.97:
        history.close_job(store, job.id, now=later)
    return entries


@contextmanager
def at_most(size):
    """Have the system take no more than so many bytes of any file."""
    resource = pytest.importorskip("resource", reason="no limit of a file's size here")
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, usual[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)
