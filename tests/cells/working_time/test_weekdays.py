"""Weekday texts against the week, walked day by day."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells.working_time.weekdays import DAYS, format_weekdays, parse_weekdays


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("mon-fri", "mon tue wed thu fri"),
        ("sat,sun", "sat sun"),
        ("mon-wed,fri", "mon tue wed fri"),
        ("fri-mon", "fri sat sun mon"),
        ("sun-thu", "sun mon tue wed thu"),
        ("mon-sun", "mon tue wed thu fri sat sun"),
        ("wed", "wed"),
    ],
)
def test_a_text_names_its_days(text, names):
    assert {DAYS[day] for day in parse_weekdays(text)} == set(names.split())


@pytest.mark.parametrize(
    "text",
    ["", "mo", "Mon", "mon,", "mon fri", "mon-", "mon-wed-fri", "mon–fri", "weekend"],
)
def test_a_text_that_names_no_day_is_refused_with_its_value(text):
    with pytest.raises(ValueError, match="is not a day or a range") as caught:
        parse_weekdays(text)
    assert repr(text) in str(caught.value)


def test_a_day_named_twice_is_refused():
    with pytest.raises(ValueError, match="'mon-fri,wed' names wed twice"):
        parse_weekdays("mon-fri,wed")


def test_a_range_from_a_day_to_itself_is_refused():
    with pytest.raises(ValueError, match="starts and ends on one day"):
        parse_weekdays("mon-mon")


@pytest.mark.parametrize("days", [frozenset(), frozenset({7})])
def test_what_is_no_set_of_weekdays_has_no_text(days):
    with pytest.raises(ValueError, match="are not days of the week"):
        format_weekdays(days)


@given(st.frozensets(st.integers(0, 6), min_size=1))
def test_days_survive_the_way_out_and_back_in_the_shortest_text(days):
    text = format_weekdays(days)
    assert parse_weekdays(text) == days
    # Walked: a part for every run of three or more, and for every other day.
    if len(days) < 7:
        inside = [d for d in days if {(d - 1) % 7, (d + 1) % 7} <= days]
        edges = [
            d for d in days - set(inside) if {(d - 1) % 7, (d + 1) % 7} & set(inside)
        ]
        singles = len(days) - len(inside) - len(edges)
        assert text.count(",") + 1 == singles + len(edges) // 2
