"""On which dates does an area produce: how many between two, which is the n-th?

A production date is one on which the area starts a shift. Up to `known_to` the caller
names them one by one (stored shifts, then patterns less days off); after it they are
the same weekdays for ever, which is what patterns say once no day off and no change
of pattern lies ahead. One calendar serves all machines of its area.

>>> weekdays = ProductionCalendar(
...     [date(2026, 3, 2), date(2026, 3, 3)],
...     known_from=date(2026, 3, 1),
...     known_to=date(2026, 3, 8),
...     weekdays_after={0, 1, 2, 3, 4},
... )
>>> weekdays.count(after=date(2026, 3, 2), up_to=date(2026, 3, 10))  # 3, 9, 10 March
3
>>> weekdays.nth(2, after=date(2026, 3, 2))
datetime.date(2026, 3, 9)
"""

from bisect import bisect_right
from collections.abc import Collection, Iterable
from datetime import date


class ProductionCalendar:
    """Production dates from `known_from` on, without an end.

    dates: the production dates in [known_from, known_to], in any order.
    weekdays_after: weekdays (Monday 0 … Sunday 6) that produce after `known_to`; empty
    when nothing is planned to run after it.

    Raises ValueError for a date outside that range or a weekday that is none. Asking
    about days before `known_from` raises too: they are unknown, not idle.
    """

    __slots__ = ("_first", "_last", "_offsets", "_ordinals")

    def __init__(
        self,
        dates: Iterable[date],
        *,
        known_from: date,
        known_to: date,
        weekdays_after: Collection[int] = (),
    ) -> None:
        if known_to < known_from:
            raise ValueError(f"known_to ({known_to}) is before known_from.")
        if not set(weekdays_after) <= set(range(7)):
            raise ValueError(f"weekdays_after ({weekdays_after}) must lie in 0 to 6.")
        self._first = known_from.toordinal()
        self._last = known_to.toordinal()
        self._ordinals = sorted({day.toordinal() for day in dates})
        for ordinal in self._ordinals[:1] + self._ordinals[-1:]:
            if not self._first <= ordinal <= self._last:
                raise ValueError(
                    f"The production date {date.fromordinal(ordinal)} lies outside "
                    f"{known_from} to {known_to}."
                )
        # Days after known_to, 1 to 7, that produce; they repeat every 7 days.
        self._offsets = [
            days
            for days in range(1, 8)
            if (known_to.weekday() + days) % 7 in weekdays_after
        ]

    def count(self, *, after: date, up_to: date) -> int:
        """Production dates later than `after`, up to and including `up_to`."""
        if up_to < after:
            raise ValueError(f"up_to ({up_to}) is before after ({after}).")
        return self._rank(up_to) - self._rank(after)

    def nth(self, n: int, *, after: date) -> date | None:
        """The n-th production date later than `after`, n ≥ 1.

        None when there is none: nothing is planned to run that long, or the year
        would be past 9999.
        """
        if n < 1:
            raise ValueError(f"n ({n}) must be at least 1.")
        rank = self._rank(after) + n
        beyond = rank - len(self._ordinals)
        if beyond <= 0:
            return date.fromordinal(self._ordinals[rank - 1])
        if not self._offsets:
            return None
        weeks, index = divmod(beyond - 1, len(self._offsets))
        ordinal = self._last + 7 * weeks + self._offsets[index]
        if ordinal > date.max.toordinal():
            return None
        return date.fromordinal(ordinal)

    def _rank(self, day: date) -> int:
        """How many production dates lie in [known_from, day]."""
        ordinal = day.toordinal()
        if ordinal < self._first - 1:
            raise ValueError(
                f"The production calendar starts on {date.fromordinal(self._first)} "
                f"and cannot say what ran after {day}."
            )
        listed = bisect_right(self._ordinals, ordinal)
        if ordinal <= self._last:
            return listed
        weeks, days = divmod(ordinal - self._last, 7)
        return listed + weeks * len(self._offsets) + bisect_right(self._offsets, days)
