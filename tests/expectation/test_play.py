"""Play by the hour: tables of edges against the flow, simpy, and a plain heap."""

import heapq

import simpy
from hypothesis import given
from hypothesis import strategies as st

import simrig
from simrig.expectation import play
from simrig.expectation.contacts import Contacts
from simrig.expectation.flow import Flow
from simrig.expectation.motions import Motions, sampling_of
from simrig.interchange.logs import read_log
from simrig.world.moves import start
from simrig.world.phases import Conditions, legal_placements

PROFILE = simrig.load("tidal-clockwork")
TABLES = play.Tables(Motions(PROFILE, sampling=sampling_of(PROFILE)))
MASK = (1 << play.SHIFT) - 1


def drawn(seed, seconds=120.0):
    return play.draw(TABLES, seconds=seconds, hits_each_s=4.0, decision_each_s=0.4, seed=seed)


def test_the_edges_of_a_move_are_the_typical_events_of_the_flow():
    """The same model: a serve from five, edge by edge."""
    idle = start(PROFILE, legal_placements(PROFILE, Conditions())[0])
    flow = Flow.of(PROFILE, idle)
    _, events = flow.step("serve")
    delay = PROFILE.scan.period_ms * PROFILE.scan.debounce_readings - 5.0  # typical: 5 ms
    theirs = sorted(
        (round(1000 * (one.typical_ms + delay)), one.signal, one.reading == "closed")
        for one in events
        if one.reading in ("open", "closed")
    )
    edges, _ = TABLES.steps(TABLES.state({"trough": 5}))[0]
    ours = sorted(
        (edge >> play.SHIFT, TABLES.signals[(edge & MASK) >> 1], bool(edge & 1)) for edge in edges
    )
    assert [one[1:] for one in ours] == [one[1:] for one in theirs]
    assert all(abs(one[0] - other[0]) <= 2 for one, other in zip(ours, theirs, strict=True))


def test_an_hour_is_the_same_in_simpy():
    """Source: the same decisions and hits as processes in simpy, event for event."""
    hour = drawn(5)
    env = simpy.Environment()
    log = []

    def emit(edges, base):
        for edge in edges:
            due = base + (edge >> play.SHIFT)
            yield env.timeout(due - env.now)
            log.append(due << play.SHIFT | edge & MASK)

    def decide():
        state = TABLES.state({"trough": 5})
        for due, pick in hour.decisions:
            yield env.timeout(due - env.now)
            steps = TABLES.steps(state)
            edges, state = steps[pick % len(steps)]
            env.process(emit(edges, due))

    env.process(emit(hour.hits, 0))
    env.process(decide())
    env.run()
    assert sorted(log) == play.run(TABLES, {"trough": 5}, hour)
    assert len(log) > 800


def test_the_same_seed_draws_the_same_play():
    """And another another."""
    assert drawn(1) == drawn(1)
    assert drawn(1) != drawn(2)


@given(
    st.lists(st.integers(1, 10**6), max_size=60).map(sorted),
    st.dictionaries(st.integers(0, 20), st.lists(st.integers(0, 10**5), max_size=4), max_size=6),
)
def test_a_controller_meets_every_edge_in_order_as_with_a_plain_heap(stream, answers):
    """Reactions are merged in: the same as one heap of everything."""

    def reaction_for():
        left = dict(answers)

        def reaction(edge):
            more = left.pop(edge % 21, None)
            return None if more is None else sorted(edge + one for one in more)

        return reaction

    reaction = reaction_for()
    heap = list(stream)
    heapq.heapify(heap)
    theirs = []
    while heap:
        edge = heapq.heappop(heap)
        theirs.append(edge)
        for one in reaction(edge) or ():
            heapq.heappush(heap, one)
    assert play.react(stream, reaction_for()) == theirs


def test_the_rows_are_a_log_that_is_read_back():
    """Text for the shop's other tools: CSV with times in microseconds."""
    edges = play.run(TABLES, {"trough": 5}, drawn(3, seconds=20.0))
    text = play.rows(edges, TABLES.readings(Contacts(PROFILE)))
    events = list(read_log([text.encode()], file="play"))
    assert [round(1000 * one.time_ms) for one in events] == [edge >> play.SHIFT for edge in edges]
    names = [TABLES.signals[(edge & MASK) >> 1] for edge in edges]
    assert [one.signal for one in events] == names
