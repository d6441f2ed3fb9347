"""One file for one machine, for a phone with no server and no reception.

What the file compares with was worked out beforehand by the same functions as
the commands use: for every phase and count the readings of every legal way the
balls can lie.  The script in it only counts differences.
"""

from __future__ import annotations

import base64
import hashlib
import json
from typing import Any

from simrig.expectation.comparison import boards, wrong_end
from simrig.expectation.prediction import Prediction
from simrig.page.rendering import render, static
from simrig.page.session import State
from simrig.page.steps import steps
from simrig.page.views import sheet_view
from simrig.profile.machine import Profile
from simrig.reports import wording
from simrig.reports.expected_tables import predictions
from simrig.reports.marks import marks
from simrig.reports.plan import plan
from simrig.scan.scanner import Links, links, readings
from simrig.signals import CLOSED, OPEN
from simrig.world.balls import count_by_place
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds

_LETTER = {CLOSED: "c", OPEN: "o"}
_BALL = {True: "b", False: "n", None: "m"}


def self_contained(profile: Profile) -> str:
    """Return the whole document: one HTML text that asks nothing of anybody."""
    from markupsafe import Markup

    table = links(profile)
    style, script = static("page.css"), static("offline.js")
    # A closing tag inside the data would end it early.
    data = json.dumps(contents(profile, table), ensure_ascii=True, separators=(",", ":"))
    return render(
        "offline.html",
        title=f"simrig: {profile.name}",
        profile=profile,
        policy=f"default-src 'none'; script-src {_digest(script)}; style-src {_digest(style)}; "
        "img-src data:; base-uri 'none'; form-action 'none'",
        style=Markup(style),
        script=Markup(script),
        data=Markup(data.replace("<", "\\u003c")),
        drawing_of_it=plan(profile, width=340),
    )


def contents(profile: Profile, table: Links) -> dict[str, Any]:
    """Return what the file knows of a machine, as plain data.

    Sensors are named by their number in ``sensors``.  Readings stand one letter a
    sensor: c closed, o open, e either; balls: b ball, n none, m one or the other.
    """
    view = sheet_view(profile, table, State())
    order = [sensor.id for sensor in profile.sensor if sensor.spots]
    number = {name: index for index, name in enumerate(order)}
    named = {
        one.id: one
        for place in view.places
        for seat in place.seats
        for one in seat.sensors
    } | {one.id: one for one in view.passing}  # fmt: skip
    seats = [
        [f"{place.id}.{'jam' if seat.label == 'top' else seat.label}" for seat in place.seats]
        for place in view.places
    ]
    spots = [spot for row in seats for spot in row]
    return {
        "machine": profile.id,
        "name": profile.name,
        "polarity": view.polarity,
        "installed": profile.balls.installed,
        "home": view.phase,
        "sensors": [
            {"id": name, "where": named[name].where, "named": named[name].named} for name in order
        ],
        "places": [
            {
                "title": place.title,
                "near": place.near,
                "far": place.far,
                "seats": [
                    {"label": seat.label, "sensors": [number[one.id] for one in seat.sensors]}
                    for seat in place.seats
                ],
            }
            for place in view.places
        ],
        "passing": [number[one.id] for one in view.passing],
        "phases": [
            {"id": phase.id, "title": phase.title, "note": phase.note or ""}
            for phase in profile.phase
        ],
        "expected": _expected(profile, table, order, spots),
        "worlds": _worlds(profile, table, order),
        "boards": {
            name: found
            for name, members in boards(profile).items()
            if len(found := [number[one] for one in members if one in number]) > 1
        },
        "ends": {
            place: [[number[one], number[other]] for one, other in pairs.items()]
            for place, pairs in wrong_end(profile).items()
        },
        "places_in_words": {place.id: place.title for place in profile.place},
        "steps": [
            {"do": step.do, "expect": step.expect, "caution": step.caution}
            for step in steps(profile)
        ],
    }


def _expected(
    profile: Profile, table: Links, order: list[str], spots: list[str]
) -> dict[str, dict[int, list[str]]]:
    """For each phase and count: the readings, the balls at the sensors, the balls in the seats."""
    found: dict[str, dict[int, list[str]]] = {}
    for phase in profile.phase:
        rows: dict[int, Prediction] = predictions(
            profile, phase.id, table=table, most=profile.balls.installed + 1
        )
        found[phase.id] = {}
        for balls, one in rows.items():
            reading = {row.sensor: row for row in one.readings}
            shown = marks(profile, one)
            found[phase.id][balls] = [
                "".join(_LETTER.get(reading[name].reading, "e") for name in order),
                "".join(_BALL[reading[name].ball] for name in order),
                "".join(_BALL[shown.balls.get(spot, False)] for spot in spots),
            ]
    return found


def _worlds(
    profile: Profile, table: Links, order: list[str]
) -> list[tuple[str, int, list[tuple[str, str]]]]:
    """For each phase and count: every different set of readings, and where the balls are then."""
    found = []
    for phase in profile.phase:
        for balls in range(profile.balls.installed + 2):
            placements = legal_placements(profile, Conditions(phase=phase.id, balls=balls))
            if not placements:
                continue
            frame = readings(profile, table, worlds(profile, placements))
            ways: dict[str, str] = {}
            for index, placement in enumerate(placements):
                text = "".join(_LETTER.get(frame.reading(name, 1 << index), "e") for name in order)
                words = wording.balls_at(profile, count_by_place(profile, placement))
                ways.setdefault(text, words)
            found.append((phase.id, balls, list(ways.items())))
    return found


def _digest(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
