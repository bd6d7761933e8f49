"""The plant's "now". For the plant's time nothing else asks the machine.

The demo plant lives on fixed days, so its processes set ``CLOCK_OFFSET`` and the clock
stands there and ticks on; with ``CLOCK_SPEED`` it runs faster, counted from the real
second ``CLOCK_SINCE``, so that all of them show the same time. Everywhere else the
plant's clock is the machine's.
"""

from datetime import UTC, date, datetime, timedelta

from django.conf import settings
from django.db import connection
from django.utils import timezone


def now() -> datetime:
    """Aware UTC, whole seconds."""
    return _at(timezone.now())


def agreed_now() -> datetime:
    """The same by the clock that all workers share, whatever their own ones show.

    For what cannot be taken back by itself: a worker whose clock is an hour ahead
    would close shifts that still run. SQLite has no clock but this machine's.
    """
    if connection.vendor != "postgresql":
        return now()
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        return _at(cursor.fetchone()[0])


def _at(real: datetime) -> datetime:
    gained = (real.timestamp() - settings.CLOCK_SINCE) * (settings.CLOCK_SPEED - 1)
    moment = real + timedelta(seconds=settings.CLOCK_OFFSET + gained)
    return moment.astimezone(UTC).replace(microsecond=0)


def today() -> date:
    """The calendar date in the plant's time zone."""
    from cells.models import Plant

    return now().astimezone(Plant.current().zone).date()


def real_seconds(plant_seconds: float, *, least: float = 0) -> float:
    """How long to wait for so many seconds of the plant; never under ``least``."""
    return max(least, plant_seconds / settings.CLOCK_SPEED)
