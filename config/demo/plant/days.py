"""The days of a demo plant: which shifts are worked, and when their seconds are.

A day is all that runs without a pause but the breaks: Early and Late together, or a
night. Its working seconds lie end to end, without breaks.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import groupby, pairwise

import numpy as np

from cells.working_time.breaks import parse_breaks
from cells.working_time.patterns import OneOff, Pattern, PlannedShift, shifts_of
from cells.working_time.weekdays import parse_weekdays
from config.demo.plant.description import BREAKS, HOURS, ZONE, Line, OverTime, Plant
from config.demo.plant.flow import Floats, Ints

#: More working seconds than any day has: days apart, one search finds all.
APART = 1_000_000


def weekdays(name: str) -> str:
    return "mon-thu" if name == "Night" else "mon-fri"


def overtime_start(overtime: OverTime) -> datetime:
    return datetime.combine(overtime.day, HOURS[overtime.name][0], tzinfo=ZONE)


def overtime_end(overtime: OverTime) -> datetime:
    """Eight hours later on the clock of the wall."""
    start = overtime_start(overtime).replace(tzinfo=None)
    return (start + timedelta(hours=8)).replace(tzinfo=ZONE)


@dataclass(frozen=True)
class Days:
    plant: Plant
    nights: bool
    shifts: list[list[PlannedShift]]  # by day

    @classmethod
    def of(cls, plant: Plant, *, nights: bool) -> "Days":
        names = ("Night",) if nights else ("Early", "Late")
        found = _shifts(plant, names)
        by_date = groupby(found, key=lambda shift: shift.production_date)
        return cls(plant, nights, [list(shifts) for _, shifts in by_date])

    def __len__(self) -> int:
        return len(self.shifts)

    @cached_property
    def _standing(self) -> list[tuple[int, int]]:
        """When by night all lines that work then stand as planned."""
        lines = [line for line in self.plant.lines if "Night" in line.shifts]
        if not self.nights or not lines:
            return []
        spans = [set(planned_spans(self.plant, line)) for line in lines]
        return sorted(set.intersection(*spans))

    def _worked(self, shifts: Iterable[PlannedShift]) -> list[tuple[int, int]]:
        spans = _worked(shifts)
        for since, until in self._standing:
            spans = [
                (start, end)
                for span in spans
                for start, end in (
                    (span[0], min(span[1], since)),
                    (max(span[0], until), span[1]),
                )
                if start < end
            ]
        return spans

    @cached_property
    def dates(self) -> list[date]:
        return [shifts[0].production_date for shifts in self.shifts]

    @cached_property
    def index_of(self) -> dict[date, int]:
        return {day: index for index, day in enumerate(self.dates)}

    @cached_property
    def _spans(self) -> list[tuple[int, int, int, int]]:
        """Between breaks: the day, working seconds before, UTC second, length."""
        rows = []
        for day, shifts in enumerate(self.shifts):
            at = 0
            for start, end in self._worked(shifts):
                rows.append((day, at, start, end - start))
                at += end - start
        return rows

    @cached_property
    def length(self) -> Floats:
        """Working seconds of each day."""
        total = np.zeros(len(self))
        for day, _, _, seconds in self._spans:
            total[day] += seconds
        return total

    @cached_property
    def _keys(self) -> tuple[Ints, Ints]:
        keys = np.array([day * APART + at for day, at, _, _ in self._spans])
        return keys, np.array([start for _, _, start, _ in self._spans])

    def clock(self, day: Ints, at: Floats) -> Ints:
        """The UTC second of a working second."""
        keys, starts = self._keys
        key = day * APART + np.floor(at).astype(np.int64)
        span = np.searchsorted(keys, key, side="right") - 1
        return starts[span] + key - keys[span]

    def clock_end(self, day: Ints, at: Floats) -> Ints:
        """The same for an end: one that falls on a break lies before the break."""
        return self.clock(day, np.maximum(at - 1, 0)) + 1

    @cached_property
    def _shift_keys(self) -> Ints:
        keys = []
        for day, shifts in enumerate(self.shifts):
            at = 0
            for shift in shifts:
                keys.append(day * APART + at)
                at += sum(end - start for start, end in self._worked([shift]))
        return np.array(keys)

    @cached_property
    def flat(self) -> list[PlannedShift]:
        """All shifts, one after the other."""
        return [shift for shifts in self.shifts for shift in shifts]

    def shift(self, day: Ints, at: Floats) -> Ints:
        """The number, in `flat`, of the shift in which a working second lies."""
        key = day * APART + np.floor(at).astype(np.int64)
        return np.searchsorted(self._shift_keys, key, side="right") - 1

    @cached_property
    def shift_length(self) -> Ints:
        return np.array(
            [
                sum(end - start for start, end in self._worked([one]))
                for one in self.flat
            ]
        )

    @cached_property
    def shift_edges(self) -> tuple[Ints, Floats, Floats]:
        """Of each shift in `flat`: its day, and where it begins and ends in it."""
        day = np.repeat(np.arange(len(self)), [len(one) for one in self.shifts])
        start = self._shift_keys - day * APART
        return day, start.astype(float), (start + self.shift_length).astype(float)

    def is_worked(self, line: Line, shift: int) -> bool:
        """Whether this line is planned to work that shift."""
        one = self.flat[shift]
        overtime = self._overtime(one)
        if overtime is None:
            return one.name in line.shifts
        return line.code in overtime.lines - overtime.forgot

    def is_forgotten(self, line: Line, shift: int) -> bool:
        """Whether this line worked that shift and nobody entered it."""
        overtime = self._overtime(self.flat[shift])
        return overtime is not None and line.code in overtime.forgot

    def _overtime(self, shift: PlannedShift) -> OverTime | None:
        for one in self.plant.overtime:
            if (one.day, one.name) == (shift.production_date, shift.name):
                return one
        return None


def busy_s(plant: Plant, line: Line, shift: PlannedShift) -> int:
    """The shift's working seconds in which the line is not planned to stand."""
    worked, planned = _worked([shift]), planned_spans(plant, line)
    return sum(end - start for start, end in worked) - sum(
        max(0, min(end, until) - max(start, since))
        for since, until in planned
        for start, end in worked
    )


def planned_spans(plant: Plant, line: Line) -> list[tuple[int, int]]:
    """UTC seconds of the planned stops of the line as a whole."""
    starts = [
        (int(one.start.timestamp()), one.minutes * 60)
        for one in plant.planned
        if one.at in (line.code, line.area)
    ]
    return [(start, start + seconds) for start, seconds in starts]


def _worked(shifts: Iterable[PlannedShift]) -> list[tuple[int, int]]:
    spans: list[tuple[int, int]] = []
    for shift in shifts:
        edges = [int(shift.starts_at.timestamp())]
        for start, end in shift.breaks:
            edges += [int(start.timestamp()), int(end.timestamp())]
        edges.append(int(shift.ends_at.timestamp()))
        spans += list(pairwise(edges))[::2]
    return spans


def _shifts(plant: Plant, names: tuple[str, ...]) -> list[PlannedShift]:
    """All of these names from the first day to the demo's today."""
    patterns = [
        Pattern(
            name=name,
            weekdays=parse_weekdays(weekdays(name)),
            start=HOURS[name][0],
            end=HOURS[name][1],
            breaks=parse_breaks(BREAKS[name]),
            valid_from=plant.first_day,
        )
        for name in names
    ]
    one_offs = [
        OneOff(
            name=one.name,
            starts_at=overtime_start(one),
            ends_at=overtime_end(one),
            breaks=parse_breaks(BREAKS[one.name]),
        )
        for one in plant.overtime
        if one.name in names
    ]
    days_off = set(plant.days_off)
    return shifts_of(patterns, days_off, one_offs, ZONE, plant.first_day, plant.today)
