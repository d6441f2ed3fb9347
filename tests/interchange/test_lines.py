"""Cutting pieces into lines, and collecting problems."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.errors import InputError
from simrig.interchange.lines import LONGEST_LINE, MOST_PROBLEMS, Faults, lines


@given(st.binary(max_size=200), st.lists(st.integers(1, 9), min_size=1, max_size=5))
def test_cuts_do_not_matter(data, sizes):
    """However a file is cut, its lines are those of a file in one piece."""
    pieces, rest = [], data
    while rest:
        for size in sizes:
            pieces.append(rest[:size])
            rest = rest[size:]
    plain = data.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    wanted = [line + b"\n" for line in plain[:-1]] + ([plain[-1]] if plain[-1] else [])
    assert list(lines(pieces)) == wanted


def test_a_line_without_end_is_not_kept():
    """Of a line that is too long one byte more than allowed comes, and the next is whole."""
    found = list(lines([b"x" * 50_000] * 40 + [b"y\n", b"next\n"]))
    assert [len(line) for line in found] == [LONGEST_LINE + 1, 5]
    assert found[1] == b"next\n"


def test_problems_beyond_the_bound_are_counted():
    """The first problems are kept, and one more says how many follow."""
    faults = Faults("log.csv")
    for number in range(MOST_PROBLEMS + 7):
        faults.add(number + 1, "row", "found nothing; wanted something")
    with pytest.raises(InputError) as caught:
        faults.raise_any()
    problems = caught.value.problems
    assert len(problems) == MOST_PROBLEMS + 1
    assert str(problems[0]) == "log.csv:1: row: found nothing; wanted something"
    assert str(problems[-1]).startswith(f"log.csv:{MOST_PROBLEMS}: log: and 7 more;")


def test_no_problem_raises_nothing():
    """A file without problems passes."""
    Faults("log.csv").raise_any()
