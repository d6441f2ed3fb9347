"""Tables keep every word, and fit where they are told to."""

from hypothesis import given
from hypothesis import strategies as st

from simrig.reports.tables import table

words = st.text("abcdefghij-", min_size=1, max_size=12)
cells = st.lists(words, max_size=8).map(" ".join)


@given(st.lists(st.tuples(cells, cells, cells, cells), min_size=1, max_size=5))
def test_a_table_fits_its_width(rows):
    """No line is wider than asked for, and no letter is lost."""
    drawn = table(rows, ("job", "opened", "machine", "complaint"), 60)
    assert max(len(line) for line in drawn.splitlines()) <= 60
    written = sorted("".join("".join(row) for row in rows).replace(" ", ""))
    body = "".join(drawn.splitlines()[2:]).replace(" ", "")
    assert sorted(body) == written


def test_a_word_is_not_broken_while_another_column_can_give_way():
    """An id stays in one piece beside a long sentence."""
    drawn = table([("tidal-clockwork", "hangs looking for a ball " * 5)], ("machine", "what"), 40)
    assert "tidal-clockwork" in drawn


def test_numbers_are_shown_as_written():
    """A serial with leading zeros is no number."""
    assert "007" in table([("007",)], ("serial",))
