"""Where the whole demo plant's weeks lie, whatever day it is."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from config.demo.plant.dates import WEEKS, dates

DAY = timedelta(days=1)
#: Every day of four years, a leap year among them.
TODAYS = [date(2026, 1, 1) + number * DAY for number in range(4 * 366)]
BERLIN = ZoneInfo("Europe/Berlin")


def hours_of(day: date) -> float:
    """Of the day on the wall, by the zone's own rules."""
    midnights = [
        datetime(one.year, one.month, one.day, tzinfo=BERLIN).astimezone(UTC)
        for one in (day, day + DAY)
    ]
    return (midnights[1] - midnights[0]) / timedelta(hours=1)


def test_thirteen_whole_weeks_end_before_today() -> None:
    for today in TODAYS:
        when = dates(today)
        assert when.first.weekday() == 0
        assert when.last - when.first == WEEKS * timedelta(weeks=1) - DAY
        assert when.last < today


def test_they_end_with_the_last_full_week_or_say_that_they_were_moved() -> None:
    for today in TODAYS:
        when = dates(today)
        since = today - when.last
        assert (since <= timedelta(weeks=1)) == (when.moved_weeks == 0)
        assert ("moved back" in when.words) == (when.moved_weeks > 0)


def test_a_clock_change_and_two_days_off_lie_inside() -> None:
    for today in TODAYS:
        when = dates(today)
        assert when.first < when.change <= when.last
        assert hours_of(when.change) in (23, 25)
        off = [day for day in when.days_off if when.first <= day <= when.last]
        assert len([day for day in off if day.weekday() < 5]) >= 2


def test_the_clock_stands_in_the_early_shift_of_the_tuesday_after() -> None:
    for today in TODAYS:
        when = dates(today)
        assert when.now.date() - when.last == 2 * DAY
        assert (when.now.hour, when.now.minute) == (13, 50)


def test_in_spring_of_2026_they_are_these() -> None:
    """Read off a calendar: the clocks went forward on 29 March, at Easter."""
    when = dates(date(2026, 5, 6))
    assert (when.first, when.last) == (date(2026, 2, 2), date(2026, 5, 3))
    assert when.change == date(2026, 3, 29)
    assert list(when.days_off) == [
        date(2026, 4, 3),
        date(2026, 4, 6),
        date(2026, 5, 1),
    ]
