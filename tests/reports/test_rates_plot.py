"""The drawing of what fails: every number is there to read, and none hangs on colour."""

import re
from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from simrig.history.dates import months_between
from simrig.reports.rates_plot import rates_plot

SVG = "{http://www.w3.org/2000/svg}"
MONTHS = months_between("2025-11", "2026-02")
rows = st.tuples(
    st.sampled_from([*MONTHS, "2020-01"]),
    st.sampled_from(("resistor", "emitter", "<wire> & pin")),
    st.integers(1, 400),
)


@given(st.lists(rows, max_size=30))
def test_every_number_is_written_over_its_bar(failures):
    """The labels over the bars and the totals beside the strips are the counts, and the bars stay
    inside the drawing; other months are left out."""
    root = ElementTree.fromstring(rates_plot(failures, MONTHS))
    texts = [text.text for text in root.iter(f"{SVG}text")]
    counts, totals = {}, {}
    for month, kind, number in failures:
        if month in MONTHS:
            counts[month, kind] = counts.get((month, kind), 0) + number
            totals[kind] = totals.get(kind, 0) + number
    labels = sorted(int(text) for text in texts if re.fullmatch(r"[1-9]\d*", text))
    months = [12, 11]
    years = [2025, 2026] if totals else []
    assert labels == sorted([*counts.values(), *years, *(months if totals else [])])
    assert [text for text in texts if text.startswith("=")] == [
        f"= {total}" for total in sorted(totals.values(), reverse=True)
    ]
    assert {kind for kind in totals if kind in texts} == set(totals)
    assert f"{sum(totals.values())} failures, by kind of part and month" in texts
    width, height = float(root.get("width")), float(root.get("height"))
    bars = [bar for bar in root.iter(f"{SVG}rect") if bar.get("fill") == "black"]
    assert len(bars) == len(counts)
    for bar in bars:
        assert 0 <= float(bar.get("x")) <= width - float(bar.get("width"))
        assert 0 <= float(bar.get("y")) <= height - float(bar.get("height"))


def test_only_black_and_white():
    """Nothing is drawn in a colour."""
    drawn = rates_plot([("2026-01", "resistor", 3), ("2026-02", "emitter", 1)], MONTHS)
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', drawn)) == {"black", "white"}


def test_twice_the_failures_is_a_bar_twice_as_tall():
    """All strips share one scale."""
    drawn = rates_plot([("2026-01", "resistor", 30), ("2026-02", "emitter", 15)], MONTHS)
    tall, short = (
        float(bar.get("height"))
        for bar in ElementTree.fromstring(drawn).iter(f"{SVG}rect")
        if bar.get("fill") == "black"
    )
    assert tall == 2 * short


def test_nothing_on_record_is_said():
    """An empty drawing says so."""
    assert "No failure is on record" in rates_plot([], [])
