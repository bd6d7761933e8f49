"""The plant's "now". Nothing else in the product asks the machine for the time.

The demo plant lives on fixed days, so its processes set ``CLOCK_OFFSET`` and the
clock stands there and ticks on; everywhere else the offset is zero.
"""

from datetime import UTC, date, datetime, timedelta

from django.conf import settings
from django.utils import timezone


def now() -> datetime:
    """Aware UTC, whole seconds."""
    moment = timezone.now() + timedelta(seconds=settings.CLOCK_OFFSET)
    return moment.astimezone(UTC).replace(microsecond=0)


def today() -> date:
    """The calendar date in the plant's time zone."""
    from cells.models import Plant

    return now().astimezone(Plant.current().zone).date()
