"""Why a sensor reads as it does: its chain, link by link, in plain words."""

from __future__ import annotations

from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.sensing.chain import Chain
from simrig.signals import CLOSED, OPEN


def place_words(profile: Profile, spot_id: str) -> str:
    """Return a spot in words: ``trough position 2``, ``the ball trough, above the kicker``."""
    spot = profile.spots[spot_id]
    if spot.place is not None:
        place = profile.row("place", spot.place)
        if spot_id.endswith(".jam"):
            return f"{place.title}, above the kicker"
        if place.open_area or place.capacity == 1:
            return str(place.title)
        return f"{place.title} position {spot.number}"
    route = profile.row("route", spot.route)
    if spot_id.endswith(".way"):
        return f"on the way: {route.title}"
    return f"passing: {route.title}"


def along_the_chain(
    profile: Profile, links: Chain, sensor: Sensor, ball: bool | None, reading: str
) -> str:
    """Say how a ball, or none, becomes a reading at this sensor's address."""
    technology = profile.technology(sensor)
    steps = [_cause(profile, sensor, ball)]
    if ball is not None or not sensor.spots:
        worked = bool(ball)
        if technology == "light":
            steps += _light(profile, sensor, worked)
        elif technology == "proximity":
            steps.append("its output switches" if worked else "its output is at rest")
        elif sensor.spots:
            steps.append("the contact is worked" if worked else "the contact is at rest")
    if any(link.action == "unsure" for link in links):
        steps.append("how it reads then is not known")
    address = profile.address_of.get(sensor.id)
    where = f" at {address}" if address else ""
    ends = {CLOSED: f"closed{where}", OPEN: f"open{where}"}
    steps.append(ends.get(reading, f"open or closed{where}"))
    return "; ".join(step for step in steps if step)


def _cause(profile: Profile, sensor: Sensor, ball: bool | None) -> str:
    if sensor.follows:
        ((mechanism, state),) = sensor.follows.items()
        return f"worked while the {mechanism.replace('-', ' ')} stands {state}"
    if not sensor.spots:
        return "what works it is not known" if sensor.at is None else "no ball works it"
    where = place_words(profile, sensor.spots[0])
    if ball is None:
        return f"{where}: a ball may be there or not"
    return f"{where}: {'a ball' if ball else 'no ball'}"


def _light(profile: Profile, sensor: Sensor, blocked: bool) -> list[str]:
    beam = (
        "the beam is blocked, the receiver is dark"
        if blocked
        else ("the beam is clear, the receiver is lit")
    )
    board = profile.row("board", sensor.board)
    if board is None or board.output_closes is None:
        return [beam]
    acts = (board.output_closes == "dark") == blocked
    contact = "closes" if acts else "is open"
    return [beam, f"its output on {board.name or board.id} {contact}"]
