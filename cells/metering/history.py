"""What does a meter's history say: how much is used, when is a threshold reached?

Common practice, own arithmetic: 7,488 spots a production date (9 × 832), 232,000 left,
so 31 production dates (30.98…, rounded up).

>>> every_day = ProductionCalendar(
...     (), known_from=date(2026, 1, 1), known_to=date(2026, 1, 1),
...     weekdays_after=range(7),
... )
>>> history = MeterHistory([
...     MeterReading(at=0, on=date(2026, 2, 2), value=Decimal(1_268_000 - 28 * 7_488)),
...     MeterReading(at=28 * 86_400, on=date(2026, 3, 2), value=Decimal(1_268_000)),
... ])
>>> use = history.usual_use(every_day, stop=2)
>>> use.dates_for(Decimal(232_000))
31

Decimals are exact here as long as values have at most 18 digits.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from cells.working_time.production_calendar import ProductionCalendar

USE_OVER = timedelta(days=28)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterReading:
    """One confirmed reading, with or without a completion."""

    at: int  # UTC seconds
    on: date  # the plant's date of it
    value: Decimal  # units of the meter, replaced meters already added up


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualUse:
    """Units used over a number of production dates; both are above 0."""

    units: Decimal
    dates: int  # production dates

    def dates_for(self, units: Decimal) -> int:
        """Whole production dates that `units` (above 0) last, rounded up, exactly."""
        whole, rest = divmod(units * self.dates, self.units)
        return int(whole) + (1 if rest else 0)


class MeterHistory:
    """The confirmed readings of one meter, in order of time, shared by its routines.

    A reading given with a completion is a reading like any other and belongs in here.
    Raises ValueError when two have the same moment, when dates run against moments,
    or when a value is no number.
    """

    __slots__ = ("ats", "dates", "values")

    def __init__(self, readings: Iterable[MeterReading] = ()) -> None:
        ordered = sorted(readings, key=lambda reading: reading.at)
        for earlier, later in pairwise(ordered):
            if earlier.at == later.at:
                raise ValueError(f"Two readings at the same moment ({later.at} s).")
            if earlier.on > later.on:
                raise ValueError(
                    f"A reading dated {earlier.on} was taken before one of {later.on}."
                )
        self.ats: Sequence[int] = [reading.at for reading in ordered]
        self.dates: Sequence[date] = [reading.on for reading in ordered]
        self.values: Sequence[Decimal] = [reading.value for reading in ordered]
        for value in self.values:
            if not value.is_finite():
                raise ValueError(f"The reading {value} is not a number.")

    def __len__(self) -> int:
        return len(self.values)

    def count_on(self, day: date) -> int:
        """How many readings are dated `day` or earlier."""
        return bisect_right(self.dates, day)

    def count_at(self, moment: int) -> int:
        """How many readings were taken at `moment` (UTC seconds) or earlier."""
        return bisect_right(self.ats, moment)

    def first_from(self, day: date) -> int:
        """Index of the first reading dated `day` or later."""
        return bisect_left(self.dates, day)

    def usual_use(
        self, production: ProductionCalendar, *, stop: int
    ) -> UsualUse | None:
        """Use between the latest of the first `stop` readings and an earlier one.

        The earlier one is the last dated at least 28 days before the latest, else the
        oldest. None with one reading only, no production date between, or no use; a
        meter that has run backwards shows no use either.
        """
        if stop < 2:
            return None
        latest = stop - 1
        last_day = self.dates[latest]
        earlier = max(0, bisect_right(self.dates, last_day - USE_OVER, 0, stop) - 1)
        units = self.values[latest] - self.values[earlier]
        dates = production.count(after=self.dates[earlier], up_to=last_day)
        if units <= 0 or dates == 0:
            return None
        return UsualUse(units=units, dates=dates)

    def threshold_dates(
        self,
        thresholds: Sequence[Decimal],
        production: ProductionCalendar,
        *,
        start: int,
        stop: int,
    ) -> list[date | None]:
        """The date of each of the rising `thresholds`, None where there is none.

        It is the date of the first reading in [start, stop) that reaches it; if none
        does, the n-th production date after the latest of the first `stop` readings,
        n = ceil((threshold − latest) ÷ use). Without use there is no forecast. Nor is
        there one when the latest reading, though not in [start, stop), is already at
        the threshold: then history and completion contradict each other.
        """
        days: list[date | None] = []
        index = start
        for threshold in thresholds:
            while index < stop and self.values[index] < threshold:
                index += 1
            if index >= stop:
                break
            days.append(self.dates[index])
        ahead = thresholds[len(days) :]
        use = self.usual_use(production, stop=stop) if ahead else None
        for threshold in ahead:
            left = threshold - self.values[stop - 1] if stop else Decimal(0)
            if use is None or left <= 0:
                days.append(None)
            else:
                days.append(
                    production.nth(use.dates_for(left), after=self.dates[stop - 1])
                )
        return days
