"""What will come of a day, as the plant's engine tells it: the leaders' rows ahead."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from typing import Any, NamedTuple

import numpy as np

from config.demo.plant.counted import Counted
from config.demo.plant.description import ZONE, Plant
from config.demo.plant.logbook import Log
from config.demo.plant.simulated import run
from config.demo.plant.stop_rows import COLUMNS as STOP_COLUMNS
from config.demo.plant.stop_rows import stop_rows

#: So many days are worked out at once: one costs about as much as a week.
AT_ONCE = 7
#: As the files' own draws of the account are numbered.
OF_THE_ACCOUNT = 3
DAY = timedelta(days=1)
#: A production date begins with its Early shift; it is planned an hour before.
DAY_BEGINS = timedelta(hours=5)


@dataclass(frozen=True, kw_only=True)
class StopRow:
    cell: str
    reason: str
    started_at: datetime
    ended_at: datetime
    position: str = ""
    note: str = ""
    moments: Mapping[str, datetime] = field(default_factory=dict)  # of the repair
    cause: str = ""


class TallyRow(NamedTuple):
    cell: str
    shift: str
    reason: str
    times: int
    seconds: int


class CountRow(NamedTuple):
    line: str
    leg: str
    shift: str
    variant: str
    total: int
    good: int
    rework: int
    scrap: int


@dataclass(frozen=True, kw_only=True)
class DayAhead:
    """Of one production date; all stops with the end that they will have."""

    day: date
    stops: list[StopRow] = field(default_factory=list)
    tallies: list[TallyRow] = field(default_factory=list)
    counts: list[CountRow] = field(default_factory=list)


class Ahead:
    """Worked out by the engine that made the weeks before, some days at a time."""

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self._known: dict[date, DayAhead] = {}

    def __call__(self, day: date) -> DayAhead:
        if day not in self._known:
            of_today = day == self._plant.today
            found = self._rest_of_today() if of_today else self._days_from(day)
            self._known = {one.day: one for one in found}
        return self._known[day]

    def _rest_of_today(self) -> Iterator[DayAhead]:
        """The day that the files tell of up to now goes on as it was drawn there."""
        today = self._plant.today
        yield _days(self._plant, known=_later(self._plant, today + DAY))[today]

    def _days_from(self, day: date) -> Iterator[DayAhead]:
        """Ordinary days: what was told of the weeks before is over."""
        plant = replace(
            _later(self._plant, day + AT_ONCE * DAY),
            seed=self._plant.seed + day.toordinal(),
            first_day=day,
            days_off={},
            overtime=(),
            events=(),
            told=(),
            slower=(),
            electric={},
        )
        found = _days(plant, known=plant)
        for number in range(AT_ONCE):
            # A day on which nobody works is a day too.
            of_day = day + number * DAY
            yield found.get(of_day, DayAhead(day=of_day))


def _later(plant: Plant, day: date) -> Plant:
    """The same, its clock standing just before the first shift of a later day."""
    return replace(plant, now=datetime.combine(day, time(5), tzinfo=ZONE))


def _days(plant: Plant, *, known: Plant) -> dict[date, DayAhead]:
    """What was drawn of the plant's days, as far as the clock of `known` tells it.

    In the order in which the files are drawn, so that their last day is the same.
    """
    rng = np.random.default_rng([plant.seed, OF_THE_ACCOUNT])
    runs = [run(plant, nights=nights) for nights in (False, True)]
    logs = [Log(plant, one, rng) for one in runs]
    for log in logs:
        log.plant, log.is_now = known, log.is_now & (known is plant)
    written = [log.rows() for log in logs]
    stops = stop_rows(known, [stops for stops, _ in written], rng)
    made = Counted(known)
    for one in runs:
        made.add(one, rng)
    days: dict[date, DayAhead] = {}

    def of(day: date) -> DayAhead:
        return days.setdefault(day, DayAhead(day=day))

    for row in stops:
        stop = _stop(dict(zip(STOP_COLUMNS, map(str, row), strict=True)))
        of(production_day(stop.started_at)).stops.append(stop)
    for day, tally in (_tally(row) for _, rows in written for row in rows):
        of(day).tallies.append(tally)
    for day, count in map(_count, made.counts):
        of(day).counts.append(count)
    return days


def _stop(row: dict[str, str]) -> StopRow:
    moments = {
        name: datetime.fromisoformat(row[name])
        for name in STOP_COLUMNS
        if name.endswith("_at") and row[name]
    }
    return StopRow(
        cell=row["cell"],
        reason=row["reason"],
        started_at=moments.pop("started_at"),
        ended_at=moments.pop("ended_at"),
        position=row["position"],
        note=row["note"],
        moments=moments,
        cause=row["cause"],
    )


def _tally(row: tuple[Any, ...]) -> tuple[date, TallyRow]:
    cell, day, *rest = row
    return day, TallyRow(cell, *rest)


def _count(row: tuple[Any, ...]) -> tuple[date, CountRow]:
    at, day, shift, _, _, *rest = row
    line, _, leg = at.partition("/")
    return day, CountRow(line, leg, shift, *rest)


def production_day(moment: datetime) -> date:
    """On which the shift began in which it lies: by six, people are there."""
    return (moment.astimezone(ZONE) - DAY_BEGINS).date()
