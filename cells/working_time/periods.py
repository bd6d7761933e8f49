"""Which week and month a production date falls in, and dates months apart.

>>> week_of(date(2026, 3, 2)), month_of(date(2026, 3, 2))
('2026-W10', '2026-03')
"""

from calendar import monthrange
from datetime import date


def week_of(day: date) -> str:
    """Return the ISO 8601 week; week 1 holds the year's first Thursday.

    >>> week_of(date(2008, 12, 29))
    '2009-W01'
    """
    year, week, _ = day.isocalendar()
    return f"{year:04d}-W{week:02d}"


def month_of(day: date) -> str:
    """Return the month.

    >>> month_of(date(2026, 12, 31))
    '2026-12'
    """
    return f"{day.year:04d}-{day.month:02d}"


def add_months(origin: date, months: int) -> date:
    """Return the date months after an origin; a shorter month gives its last day.

    Count every step from the origin, as steps from step to step drift:

    >>> str(add_months(date(2026, 1, 31), 2))
    '2026-03-31'
    >>> str(add_months(add_months(date(2026, 1, 31), 1), 1))
    '2026-03-28'
    """
    year, month = divmod(origin.year * 12 + origin.month - 1 + months, 12)
    last = monthrange(year, month + 1)[1]
    return date(year, month + 1, min(origin.day, last))
