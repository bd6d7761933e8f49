"""Spans against the set of the seconds that they cover."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells.working_time.spans import Span, intersection, length, subtraction, union

spans = st.lists(st.builds(Span, st.integers(0, 40), st.integers(0, 40)), max_size=6)


def seconds(covered):
    """The slow and obvious reading: every second, one by one."""
    return {second for span in covered for second in range(span.start, span.end)}


def is_tidy(covered):
    """Sorted, and no span empty or touching the next."""
    edges = [edge for span in covered for edge in span]
    return edges == sorted(set(edges))


@given(spans, spans)
def test_every_operation_is_that_of_the_sets_of_seconds(first, second):
    a, b = seconds(first), seconds(second)
    for made, meant in (
        (union(first + second), a | b),
        (intersection(first, second), a & b),
        (subtraction(first, second), a - b),
    ):
        assert seconds(made) == meant
        assert is_tidy(made)
        assert length(made) == len(meant)


@given(spans, spans)
def test_what_is_taken_and_what_is_left_make_the_whole(first, second):
    taken, left = intersection(first, second), subtraction(first, second)
    assert length(taken) + length(left) == length(first)
    assert union(taken + left) == union(first)


@given(spans.flatmap(lambda made: st.tuples(st.just(made), st.permutations(made))))
def test_the_order_of_entry_changes_nothing(both):
    entered, shuffled = both
    assert union(entered) == union(shuffled)


# Source: own arithmetic on common practice (overlaps count once, each shift owns its
# minutes, a break costs nothing), in minutes of the day.
@pytest.mark.parametrize(
    ("stops", "shift", "breaks", "lost"),
    [
        pytest.param([(600, 620), (612, 630)], (360, 840), [], 30, id="union-not-sum"),
        pytest.param([(820, 865)], (360, 840), [], 20, id="early-owns-20"),
        pytest.param([(820, 865)], (840, 1320), [], 25, id="late-owns-25"),
        pytest.param([(650, 700)], (360, 840), [(660, 690)], 20, id="over-a-break"),
    ],
)
def test_a_stop_costs_a_shift_its_working_seconds(stops, shift, breaks, lost):
    def minutes(pairs):
        return [Span(start * 60, end * 60) for start, end in pairs]

    working = subtraction(minutes([shift]), minutes(breaks))
    assert length(intersection(minutes(stops), working)) == lost * 60
