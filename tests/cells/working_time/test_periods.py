"""Weeks, months and dates months apart."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells.working_time.periods import add_months, month_of, week_of


# Source: ISO 8601 (week 1 holds the year's first Thursday), recomputed.
@pytest.mark.parametrize(
    ("day", "week"),
    [
        ("2005-01-01", "2004-W53"),
        ("2005-12-31", "2005-W52"),
        ("2007-12-31", "2008-W01"),
        ("2008-12-29", "2009-W01"),
        ("2010-01-03", "2009-W53"),
        ("2020-12-31", "2020-W53"),
        ("2021-01-04", "2021-W01"),
    ],
)
def test_a_week_is_that_of_iso_8601(day, week):
    assert week_of(date.fromisoformat(day)) == week


@given(st.dates(date(2, 1, 1), date(9998, 1, 1)))
def test_the_fourth_of_january_is_always_in_week_one(day):
    assert week_of(day.replace(month=1, day=4)) == f"{day.year:04d}-W01"


# Month arithmetic counted from the origin. Source: own arithmetic with the calendar.
@pytest.mark.parametrize(
    ("origin", "months", "day"),
    [
        ("2026-01-31", 1, "2026-02-28"),
        ("2026-01-31", 3, "2026-04-30"),
        ("2024-02-29", 12, "2025-02-28"),
        ("2026-03-31", -1, "2026-02-28"),
        ("2026-01-15", -1, "2025-12-15"),
    ],
)
def test_months_are_counted_from_the_origin(origin, months, day):
    assert add_months(date.fromisoformat(origin), months) == date.fromisoformat(day)


def test_two_single_steps_drift_where_one_double_step_does_not():
    origin = date(2026, 1, 31)
    assert add_months(add_months(origin, 1), 1) == date(2026, 3, 28)
    assert add_months(origin, 2) == date(2026, 3, 31)


@given(st.dates(date(1970, 1, 1), date(2100, 1, 1)), st.integers(-600, 600))
def test_the_month_moves_by_just_the_months_given(origin, months):
    moved = add_months(origin, months)
    steps = (moved.year - origin.year) * 12 + moved.month - origin.month
    assert steps == months
    assert moved.day <= origin.day
    assert month_of(moved) == moved.isoformat()[:7]
