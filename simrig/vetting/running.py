"""Rules over balls that roll, over the controller, and over what can be told apart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from simrig.profile.components import Sensor
from simrig.profile.layout import Route
from simrig.profile.naming import listed
from simrig.scan.sampling import Sampling
from simrig.vetting.rule import Found, Rule
from simrig.vetting.subject import Subject
from simrig.world.rolling import Roll, Track, chord_mm


def never_seen(subject: Subject) -> Iterator[Found]:
    for index, route, spot, pulses, sampling in _passages(subject):
        if all(sampling.verdict(longest) == "never" for longest, _ in pulses):
            yield Found(
                path=("route", index, "entry_speed_mm_s"),
                message=f"found {route.entry_speed_mm_s:g}; at {spot} a ball so fast blocks the beam "
                f"{max(longest for longest, _ in pulses):.2g} ms; {sampling.why(pulses[0][0])}: it "
                "is never seen there; mend the speed or the scan",
                about=(route.id, spot),
            )


def may_be_missed(subject: Subject) -> Iterator[Found]:
    for index, route, spot, pulses, sampling in _passages(subject):
        if any(sampling.verdict(longest) != "never" for longest, _ in pulses) and all(
            sampling.verdict(shortest) != "certain" for _, shortest in pulses
        ):
            shortest = max(shortest for _, shortest in pulses)
            yield Found(
                path=("route", index, "entry_speed_mm_s"),
                message=f"a ball that passes {spot} blocks the beam {shortest:.2g} ms at its fastest; "
                f"{sampling.why(shortest)}: that it is missed is no fault",
                about=(route.id, spot),
            )


def _passages(
    subject: Subject,
) -> Iterator[tuple[int, Route, str, list[tuple[float, float]], Sampling]]:
    """Yield each point of a route whose sensors are all beams, with their longest and shortest
    pulse in ms: the ball at its speed of entry, and at its fastest."""
    scan, diameter = subject.profile.scan, subject.profile.balls.diameter_mm
    if scan is None or scan.period_ms is None or scan.debounce_readings is None or diameter is None:
        return
    sampling = Sampling(period_ms=scan.period_ms, equal_readings=scan.debounce_readings)
    track = Track(ball_diameter_mm=diameter, slope_deg=0)
    for index, route in enumerate(subject.profile.route):
        slowest = route.entry_speed_mm_s
        if not slowest:
            continue
        fastest = _fastest(route, diameter)
        for number in range(1, (route.points or 0) + 1):
            spot = f"{route.id}.{number}"
            sensors = subject.profile.covering.get(spot, ())
            chords = [_chord(subject, sensor, track) for sensor in sensors]
            known = [chord for chord in chords if chord is not None]
            if known and len(known) == len(chords):
                pulses = [(chord / slowest * 1e3, chord / fastest * 1e3) for chord in known]
                yield index, route, spot, pulses, sampling


def _fastest(route: Route, diameter: float) -> float:
    entry = route.entry_speed_mm_s or 0.0
    if route.length_mm is None or route.slope_deg is None:
        return entry
    track = Track(ball_diameter_mm=diameter, slope_deg=route.slope_deg)
    return Roll(track=track, entry_speed_mm_s=entry).speed_mm_s(route.length_mm)


def _chord(subject: Subject, sensor: Sensor, track: Track) -> float | None:
    if subject.technology(sensor) != "light" or sensor.beam_height_mm is None:
        return None
    chord = chord_mm(track.ball_diameter_mm, track.beam_offset_mm(sensor.beam_height_mm))
    return chord or None


def start_needs(subject: Subject) -> Iterator[Found]:
    controller = subject.profile.controller
    if controller is None or controller.start_needs is None:
        return
    installed = subject.profile.balls.installed
    home = controller.home_sensors
    if controller.start_needs > installed:
        words = f"the machine carries {installed}"
    elif home is not None and controller.start_needs > len(set(home)):
        words = f"it counts them at {len(set(home))} sensors"
    else:
        return
    yield Found(
        path=("controller", "start_needs"),
        message=f"found {controller.start_needs}; {words}: no game would ever start; mend this",
    )


def home_elsewhere(subject: Subject) -> Iterator[Found]:
    controller = subject.profile.controller
    if controller is None or not subject.home:
        return
    for place, name in enumerate(controller.home_sensors or ()):
        sensor = subject.profile.row("sensor", name)
        at = {subject.profile.spots[spot].place for spot in sensor.spots}
        if sensor.at is not None and not at & subject.home:
            yield Found(
                path=("controller", "home_sensors", place),
                message=f"{name} sees no place where balls are at home "
                f"({listed(sorted(subject.home))}); take it out, or mend the sensor",
                about=(name,),
            )


def serves_nothing(subject: Subject) -> Iterator[Found]:
    controller = subject.profile.controller
    if controller is None or controller.serve_coil is None:
        return
    coils = {route.coil for route in subject.profile.route}
    if subject.profile.route and None not in coils - {None} and controller.serve_coil not in coils:
        yield Found(
            path=("controller", "serve_coil"),
            message=f"no route is taken by {controller.serve_coil}; name the coil that kicks a ball "
            "out, or name it at the route",
            about=(controller.serve_coil,),
        )


def served_elsewhere(subject: Subject) -> Iterator[Found]:
    controller = subject.profile.controller
    if controller is None or None in (controller.serve_coil, controller.served_sensor):
        return
    sensor = subject.profile.row("sensor", controller.served_sensor)
    serves = [route for route in subject.profile.route if route.coil == controller.serve_coil]
    if sensor.at is None or not serves:
        return
    on_the_way = {route.id for route in serves}
    on_the_way |= subject.beyond(frozenset(name for route in serves for name in route.to)) & {
        name for route in serves for name in route.to
    }
    spots = [subject.profile.spots[spot] for spot in sensor.spots]
    if not any((spot.place or spot.route) in on_the_way for spot in spots):
        yield Found(
            path=("controller", "served_sensor"),
            message=f"{sensor.id} is not where {controller.serve_coil} kicks a ball "
            f"({listed(sorted(on_the_way))}); name the sensor that a served ball works",
            about=(sensor.id,),
        )


def jam_elsewhere(subject: Subject) -> Iterator[Found]:
    controller = subject.profile.controller
    if controller is None or controller.jam_sensor is None:
        return
    sensor = subject.profile.row("sensor", controller.jam_sensor)
    if sensor.at is not None and not any(spot.endswith(".jam") for spot in sensor.spots):
        yield Found(
            path=("controller", "jam_sensor"),
            message=f"{sensor.id} is at no jam position; name the sensor at PLACE.jam",
            about=(sensor.id,),
        )


def never_shows(subject: Subject) -> Iterator[Found]:
    if subject.bench is None or subject.profile.begun is not None:
        return
    many, frame = subject.bench
    lost = {place.id for place in subject.unreached}
    for index, sensor in enumerate(subject.profile.sensor):
        resting = subject.resting(sensor)
        if not resting or {subject.profile.spots[spot].place for spot in resting} & lost:
            continue
        worked = many.works(sensor)
        cell = frame.cells[sensor.id]
        if cell.surely != cell.maybe or worked.surely not in (0, many.everything):
            continue
        has = "always" if worked.surely else "never"
        place = subject.profile.row("place", subject.profile.spots[resting[0]].place)
        mend = (
            "a captive ball stays: silence this" if place.captive else "add the phase that shows it"
        )
        yield Found(
            path=("sensor", index),
            message=f"in every phase, with any number of balls, {resting[0]} {has} holds a ball: a "
            f"sensor that stays as it is would never show; {mend}",
            about=(sensor.id, resting[0]),
        )


def always_alike(subject: Subject) -> Iterator[Found]:
    if subject.bench is None:
        return
    many, frame = subject.bench
    groups: dict[tuple[int, int], dict[tuple[str, ...], str]] = {}
    for sensor in subject.profile.sensor:
        worked = many.works(sensor)
        cell = frame.cells[sensor.id]
        if subject.resting(sensor) and worked.surely not in (0, many.everything):
            # Those at the very same positions are told by another rule.
            alike = groups.setdefault((cell.surely, cell.maybe), {})
            alike.setdefault(tuple(sorted(sensor.spots)), sensor.id)
    for group in (list(alike.values()) for alike in groups.values()):
        if len(group) > 1:
            yield Found(
                path=("sensor", subject.index("sensor", group[1])),
                message=f"{listed(group)} read alike in every phase, with any number of balls: "
                "exchanged leads between them never show; add a phase in which they differ",
                about=tuple(group),
            )


RULES: Final = (
    Rule(
        code="ROLL-01",
        name="too-fast-to-see",
        level="error",
        what="A ball at the speed stated is seen by some sensor of each point that it passes.",
        why="Otherwise speed, beam or scan is stated wrong, or the sensor is of no use.",
        example="entry_speed_mm_s = 18000",
        mend="Measure the speed; look the scan up.",
        limits="Optos with known height only; the ball at its slowest, the beam thin: a chord of "
        "the ball over its speed, against n equal readings in a row (derived).",
        look=never_seen,
    ),
    Rule(
        code="ROLL-02",
        name="may-be-missed",
        level="note",
        what="A ball at its fastest is surely seen at each point that it passes.",
        why="A pulse that the scan may miss is an optional event: a log without it shows no fault.",
        example="entry_speed_mm_s = 9000",
        mend="Nothing at the machine; people should know it.",
        limits="As for too-fast-to-see; the fastest is at the end of the way where slope and length "
        "are known.",
        look=may_be_missed,
    ),
    Rule(
        code="COUNT-01",
        name="start-needs-too-much",
        level="error",
        what="The controller wants no more balls at home than there are, or than it can count.",
        why="No game would ever start.",
        example="start_needs = 4",
        mend="Look the figure up; name the sensors it counts at.",
        limits="That a sensor has failed is another matter.",
        look=start_needs,
    ),
    Rule(
        code="COUNT-02",
        name="home-sensor-elsewhere",
        level="warning",
        what="The sensors at which balls are counted home see places where they are at home.",
        why="A wrong one makes every count wrong.",
        example='home_sensors = ["trough-1", "launcher-ball"]',
        mend="Take it out, or mend what it sees.",
        limits="Home is where balls lie in the phase called idle, else in the first.",
        look=home_elsewhere,
    ),
    Rule(
        code="COUNT-03",
        name="serve-coil-kicks-nothing",
        level="error",
        what="The coil that serves a ball takes it along some route.",
        why="Proving a repair ends with the machine serving all balls.",
        example='serve_coil = "light"',
        mend="Name the coil at its route, or mend it here.",
        limits="It does not ask where the route ends.",
        look=serves_nothing,
    ),
    Rule(
        code="COUNT-04",
        name="served-sensor-elsewhere",
        level="warning",
        what="The sensor that tells of a served ball is on the way of one.",
        why="The controller would kick again and again, or never.",
        example='served_sensor = "trough-1"',
        mend="Name the sensor at the launcher, or on the way to it.",
        limits="The way is the routes of the serving coil and the places where they end.",
        look=served_elsewhere,
    ),
    Rule(
        code="COUNT-05",
        name="jam-sensor-elsewhere",
        level="warning",
        what="The controller's jam sensor is at a jam position.",
        why="Two balls stacked at the kicker are seen there and nowhere else.",
        example='jam_sensor = "trough-1"',
        mend="Name the sensor at PLACE.jam.",
        limits="Looked at where it is stated what works the sensor.",
        look=jam_elsewhere,
    ),
    Rule(
        code="TELL-01",
        name="failure-never-shows",
        level="warning",
        what="Every sensor at a position where balls rest changes in some phase, with some number "
        "of balls.",
        why="One that never changes can fail unseen, and no check by balls finds it.",
        example="# no phase has a ball in the hold",
        mend="Add the phase that puts a ball there, or takes it away.",
        limits="Sensors on routes change only as balls pass; they are left aside. Captive balls "
        "stay: silence it for their sensors. Past 20,000 ways to lie the rule is silent, and "
        "while [begun] stands in a profile: it still lacks phases.",
        look=never_shows,
    ),
    Rule(
        code="TELL-02",
        name="never-told-apart",
        level="note",
        what="Two sensors at positions where balls rest differ in some phase, with some number of "
        "balls.",
        why="Where they always read alike, exchanged leads between them never show at rest.",
        example='at = ["trough.1", "trough.2"]',
        mend="Add a phase in which they differ; feed one ball by hand to tell them apart.",
        limits="A ball fed by hand to one of them tells at the bench; balls that pass are left "
        "aside. Past 20,000 ways to lie the rule is silent.",
        look=always_alike,
    ),
)
