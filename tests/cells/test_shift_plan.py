"""Rows into planned shifts, and the production dates that forecasts count."""

from datetime import date, time, timedelta

import pytest

from cells import shift_plan
from cells.models import DayOff, OneOffShift
from cells.working_time.patterns import Pattern
from tests import builders
from tests.builders import MONDAY, Cast, at

FAR_MONDAY = date(2026, 9, 7)


def pattern(name: str, valid_from: date, valid_to: date | None = None) -> Pattern:
    return Pattern(
        name=name,
        weekdays=frozenset(range(5)),
        start=time(6),
        end=time(14),
        valid_from=valid_from,
        valid_to=valid_to,
    )


def test_the_areas_patterns_hold_where_none_of_the_lines_own_does() -> None:
    area = pattern("Early", date(2026, 1, 1))
    own = pattern("Day", date(2026, 3, 1), date(2026, 3, 31))

    found = shift_plan.patterns_for_line([own], [area])

    assert [(one.name, one.valid_from, one.valid_to) for one in found] == [
        ("Day", date(2026, 3, 1), date(2026, 3, 31)),
        ("Early", date(2026, 1, 1), date(2026, 2, 28)),
        ("Early", date(2026, 4, 1), None),
    ]


def test_own_patterns_without_an_end_replace_for_good() -> None:
    area = pattern("Early", date(2026, 1, 1))
    own = pattern("Day", date(2026, 1, 1))
    assert shift_plan.patterns_for_line([own], [area]) == (own,)


@pytest.mark.django_db
def test_the_lines_of_an_area_share_one_calculation(cast: Cast) -> None:
    builders.make_line("L2", area=cast.area, order=2)

    plans = dict(
        shift_plan.planned_shifts(
            cast.area.lines.all(), MONDAY, MONDAY + timedelta(days=6)
        )
    )

    first, second = plans.values()
    assert first is second
    assert len(first) == 10


@pytest.mark.django_db
def test_production_dates_are_the_stored_ones_and_then_the_planned(cast: Cast) -> None:
    # Stored is Monday only; Saturday is overtime, Wednesday is off.
    DayOff.objects.create(date=date(2026, 3, 4), area=cast.area, name="Off")
    OneOffShift.objects.create(
        area=cast.area,
        line=cast.line,
        name="Early",
        starts_on=date(2026, 3, 7),
        starts_at=at("06:00", date(2026, 3, 7)),
        ends_at=at("14:00", date(2026, 3, 7)),
    )

    dates = shift_plan.production_dates(cast.area, MONDAY, date(2026, 3, 9))

    assert [day.day for day in dates] == [2, 3, 5, 6, 7, 9]


@pytest.mark.django_db
def test_a_cancelled_shift_makes_no_production_date(cast: Cast) -> None:
    for shift in (cast.early, cast.late):
        shift.ends_at = shift.starts_at
        shift.save()
    assert shift_plan.production_dates(cast.area, MONDAY, MONDAY) == []


@pytest.mark.django_db
def test_the_production_calendar_goes_on_by_the_week(cast: Cast) -> None:
    DayOff.objects.create(date=FAR_MONDAY, area=cast.area, name="Off")

    production = shift_plan.production_calendar(cast.area, MONDAY)

    friday = FAR_MONDAY - timedelta(days=3)
    assert production.nth(1, after=friday) == FAR_MONDAY + timedelta(days=1)
    # Two years on, no date is known one by one: 5 a week.
    later = date(2028, 3, 6)
    assert production.count(after=later, up_to=later + timedelta(days=28)) == 20


@pytest.mark.django_db
def test_an_area_without_patterns_has_no_further_production_date(cast: Cast) -> None:
    production = shift_plan.production_calendar(cast.other_line.area, MONDAY)
    assert production.nth(1, after=MONDAY) is None
