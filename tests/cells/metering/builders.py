"""One meter, one area's calendar and plain dates, for whatever goes by them."""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from cells.metering.history import MeterHistory, MeterReading
from cells.working_time.production_calendar import ProductionCalendar

MONDAY_TO_FRIDAY = frozenset(range(5))
KNOWN_FROM = date(2026, 1, 1)
KNOWN_TO = date(2026, 4, 30)


def moment(day: date, hour: int = 12) -> int:
    """UTC seconds of an hour of a day; the tests' plant keeps UTC."""
    return int(datetime(day.year, day.month, day.day, hour, tzinfo=UTC).timestamp())


def read(day: date, value: int | str, *, hour: int = 12) -> MeterReading:
    return MeterReading(at=moment(day, hour), on=day, value=Decimal(value))


def history(*readings: tuple[date, int]) -> MeterHistory:
    return MeterHistory(read(day, value) for day, value in readings)


def calendar(
    weekdays: Iterable[int] = MONDAY_TO_FRIDAY, days_off: Iterable[date] = ()
) -> ProductionCalendar:
    """The weekdays, less the days off, which lie in the range that is known."""
    producing = frozenset(weekdays)
    off = frozenset(days_off)
    known = (KNOWN_TO - KNOWN_FROM).days + 1
    days = (KNOWN_FROM + timedelta(days=step) for step in range(known))
    return ProductionCalendar(
        [day for day in days if day.weekday() in producing and day not in off],
        known_from=KNOWN_FROM,
        known_to=KNOWN_TO,
        weekdays_after=producing,
    )
