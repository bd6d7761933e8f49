"""Break texts, and breaks against the minutes of their shift, walked one by one."""

from datetime import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells.working_time.breaks import (
    BreakTime,
    check_breaks,
    format_breaks,
    parse_breaks,
)

DAY = 24 * 60
clocks = st.integers(0, DAY // 10 - 1).map(
    lambda tens: time(tens * 10 // 60, tens * 10 % 60)
)
breaks = st.builds(BreakTime, clocks, clocks).filter(lambda one: one.start != one.end)


def minutes_from(start, end):
    """The slow and obvious reading: the minutes until the clock shows the end."""
    minute, last = (clock.hour * 60 + clock.minute for clock in (start, end))
    walked = [minute]
    while (minute := (minute + 1) % DAY) != last:
        walked.append(minute)
    return walked


def are_right(entered, start, end):
    shift = minutes_from(start, end)
    taken = []
    for one in entered:
        minutes = minutes_from(one.start, one.end)
        if minutes[0] not in shift:
            return False
        first = shift.index(minutes[0])
        if shift[first : first + len(minutes)] != minutes:
            return False
        taken += minutes
    return len(taken) == len(set(taken))


@given(st.lists(breaks, max_size=3), clocks, clocks)
def test_breaks_are_taken_just_when_they_fit_the_minutes_of_the_shift(
    entered, start, end
):
    if are_right(entered, start, end):
        check_breaks(entered, start, end)
    else:
        with pytest.raises(ValueError, match=r"overlap|does not lie within"):
            check_breaks(entered, start, end)


@given(st.lists(breaks, max_size=4))
def test_breaks_survive_the_way_out_and_back(entered):
    assert list(parse_breaks(format_breaks(entered))) == entered


def test_an_empty_text_names_no_break():
    assert parse_breaks("") == ()


@pytest.mark.parametrize(
    "text",
    ["09:00", "9:00-9:10", "09:00-09:10;", "09:00 - 09:10", "09:00-25:00", "lunch"],
)
def test_a_text_that_is_no_break_is_refused_with_its_value(text):
    with pytest.raises(ValueError, match="is not a break: write breaks like") as caught:
        parse_breaks(text)
    assert repr(text) in str(caught.value)


def test_a_break_without_length_is_refused():
    with pytest.raises(ValueError, match="has no length: remove it"):
        parse_breaks("09:00-09:00")


def test_breaks_may_touch_each_other_and_the_ends_of_the_shift():
    check_breaks(parse_breaks("09:10-09:20;06:00-09:10"), time(6), time(9, 20))


def test_a_break_across_midnight_lies_in_a_night_shift():
    check_breaks(parse_breaks("23:50-00:10"), time(22), time(6))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "05:30-06:30",
            "The break 05:30-06:30 does not lie within the shift 06:00-14:00: change "
            "one.",
        ),
        (
            "13:50-14:10",
            "The break 13:50-14:10 does not lie within the shift 06:00-14:00: change "
            "one.",
        ),
        (
            "09:05-09:20;09:00-09:10",
            "The breaks 09:00-09:10 and 09:05-09:20 overlap: end the first before the "
            "second starts.",
        ),
    ],
)
def test_breaks_that_do_not_fit_are_named(text, sentence):
    with pytest.raises(ValueError, match="break") as caught:
        check_breaks(parse_breaks(text), time(6), time(14))
    assert str(caught.value) == sentence


def test_a_break_with_parts_of_a_second_is_refused():
    odd = BreakTime(time(9, 0, 0, 500), time(9, 10))
    with pytest.raises(ValueError, match="parts of a second"):
        check_breaks([odd], time(6), time(14))
