"""Where the thirteen weeks of the whole demo plant lie: they end just before today.

A clock change of the plant's zone lies inside, whatever day it is: where the last
thirteen full weeks hold none, they are moved back until they do.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from config.demo.plant.description import ZONE

WEEKS = 13
WEEK, DAY = timedelta(weeks=1), timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class Dates:
    first: date  # a Monday
    change: date  # the Sunday on whose night the clocks change
    moved_weeks: int

    @property
    def last(self) -> date:
        return self.first + WEEKS * WEEK - DAY

    @property
    def now(self) -> datetime:
        """Ten minutes before the Early shift of the Tuesday after ends."""
        return datetime.combine(self.last + 2 * DAY, time(13, 50), tzinfo=ZONE)

    def day(self, week: int, weekday: int) -> date:
        """Week 1 is the first; Monday is 0."""
        return self.first + (week - 1) * WEEK + weekday * DAY

    def weekdays(self, week: int) -> list[date]:
        return [self.day(week, weekday) for weekday in range(5)]

    @property
    def days_off(self) -> dict[date, str]:
        return {
            self.day(9, 4): "plant holiday",
            self.day(10, 0): "plant holiday",
            self.day(13, 4): "bridge day",
        }

    @property
    def words(self) -> str:
        way = "forward" if is_forward(self.change) else "back"
        off = ", ".join(f"{day}" for day in self.days_off)
        moved = (
            " They were moved back "
            + ("a week" if self.moved_weeks == 1 else f"{self.moved_weeks} weeks")
            + ", because later ones hold no clock change."
            if self.moved_weeks
            else ""
        )
        return (
            f"The {WEEKS} weeks are {self.first} to {self.last}; the clocks go {way} "
            f"on {self.change}, and {off} are days off.{moved}"
        )


def dates(today: date) -> Dates:
    monday = today - today.weekday() * DAY
    first = monday - WEEKS * WEEK
    for moved in range(53):
        start = first - moved * WEEK
        for week in range(WEEKS):
            sunday = start + week * WEEK + 6 * DAY
            if _changes(sunday):
                return Dates(first=start, change=sunday, moved_weeks=moved)
    raise ValueError(f"{ZONE.key} has no clock change in the year before {today}.")


def _offset(day: date) -> timedelta:
    noon = datetime.combine(day, time(12), tzinfo=UTC).astimezone(ZONE)
    offset = noon.utcoffset()
    assert offset is not None
    return offset


def _changes(day: date) -> bool:
    return _offset(day) != _offset(day - DAY)


def is_forward(change: date) -> bool:
    return _offset(change) > _offset(change - DAY)
