from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells.working_time.production_calendar import ProductionCalendar
from tests.cells.metering.builders import KNOWN_FROM, KNOWN_TO, calendar

EASTER = frozenset({date(2026, 4, 3), date(2026, 4, 6)})


def test_weekends_and_days_off_are_skipped() -> None:
    plant = calendar(days_off=EASTER)
    # Thursday 2 April; Friday and Monday are off, so the next is Tuesday.
    assert plant.nth(1, after=date(2026, 4, 2)) == date(2026, 4, 7)
    assert plant.count(after=date(2026, 4, 2), up_to=date(2026, 4, 7)) == 1


def test_past_the_known_days_the_weekdays_go_on() -> None:
    # Thursday 30 April is the last known day: Friday, then Monday.
    assert calendar().nth(2, after=KNOWN_TO) == date(2026, 5, 4)


def test_with_nothing_planned_there_is_no_further_date() -> None:
    assert calendar(weekdays=()).nth(1, after=date(2026, 3, 2)) is None


def test_a_date_past_the_year_9999_is_no_date() -> None:
    assert calendar().nth(3_000_000, after=date(2026, 3, 2)) is None


def test_days_before_the_calendar_are_unknown_and_not_idle() -> None:
    early = KNOWN_FROM - timedelta(days=2)
    with pytest.raises(ValueError, match="starts on 2026-01-01"):
        calendar().count(after=early, up_to=KNOWN_TO)
    with pytest.raises(ValueError, match="cannot say what ran after 2025-12-30"):
        calendar().nth(1, after=early)


def test_faulty_arguments_are_named() -> None:
    day = date(2026, 3, 2)
    with pytest.raises(ValueError, match=r"n \(0\)"):
        calendar().nth(0, after=day)
    with pytest.raises(ValueError, match=r"up_to \(2026-03-01\)"):
        calendar().count(after=day, up_to=date(2026, 3, 1))
    with pytest.raises(ValueError, match="2026-03-02 lies outside"):
        ProductionCalendar([day], known_from=KNOWN_TO, known_to=KNOWN_TO)
    with pytest.raises(ValueError, match="weekdays_after"):
        calendar(weekdays=[7])
    with pytest.raises(ValueError, match=r"known_to \(2026-01-01\)"):
        ProductionCalendar([], known_from=KNOWN_TO, known_to=KNOWN_FROM)


@given(
    weekdays=st.frozensets(st.integers(0, 6), min_size=1),
    off=st.frozensets(st.dates(date(2026, 3, 1), KNOWN_TO), max_size=20),
    after=st.dates(KNOWN_FROM, date(2026, 7, 1)),
    n=st.integers(1, 60),
)
def test_the_nth_date_is_found_by_walking(
    weekdays: frozenset[int], off: frozenset[date], after: date, n: int
) -> None:
    walked, left = after, n
    while left:
        walked += timedelta(days=1)
        left -= walked.weekday() in weekdays and walked not in off
    plant = calendar(weekdays, off)
    assert plant.nth(n, after=after) == walked
    assert plant.count(after=after, up_to=walked) == n
