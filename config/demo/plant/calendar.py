"""The demo plant's shifts, and its working time as one axis per line."""

from bisect import bisect_right
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from cells.working_time.breaks import parse_breaks
from cells.working_time.patterns import OneOff, Pattern, PlannedShift, shifts_of
from cells.working_time.weekdays import parse_weekdays
from config.demo.plant.layout import (
    BREAKS,
    DAY_OFF,
    FIRST_DAY,
    HOURS,
    TODAY,
    ZONE,
    DemoLine,
)

#: Overtime on the night the clocks go forward: 22:00 to 06:00 is seven hours.
OVERTIME = {
    "FR1": [("Early", datetime(2026, 3, 14, 6, tzinfo=ZONE))],
    "FR2": [("Early", datetime(2026, 3, 14, 6, tzinfo=ZONE))],
    "CL1": [("Night", datetime(2026, 3, 28, 22, tzinfo=ZONE))],
}


def shifts(line: DemoLine) -> list[PlannedShift]:
    """All shifts of a line from the first day to the demo's today."""
    patterns = [
        Pattern(
            name=name,
            weekdays=parse_weekdays(weekdays(name)),
            start=HOURS[name][0],
            end=HOURS[name][1],
            breaks=parse_breaks(BREAKS[name]),
            valid_from=FIRST_DAY,
        )
        for name in line.shifts
    ]
    one_offs = [
        OneOff(
            name=name,
            starts_at=start,
            ends_at=overtime_end(start),
            breaks=parse_breaks(BREAKS[name]),
        )
        for name, start in OVERTIME.get(line.code, [])
    ]
    return shifts_of(patterns, {DAY_OFF}, one_offs, ZONE, FIRST_DAY, TODAY)


def weekdays(name: str) -> str:
    return "mon-thu" if name == "Night" else "mon-fri"


def overtime_end(start: datetime) -> datetime:
    """Eight hours later on the clock of the wall."""
    return (start.replace(tzinfo=None) + timedelta(hours=8)).replace(tzinfo=ZONE)


@dataclass(frozen=True, kw_only=True)
class Axis:
    """Working seconds of a line, laid end to end without breaks and nights."""

    spans: tuple[tuple[int, int], ...]  # UTC seconds, in order
    at: tuple[int, ...]  # working seconds before each span
    length: int

    def clock(self, second: float) -> int:
        """The UTC second of a working second."""
        index = min(bisect_right(self.at, second), len(self.spans)) - 1
        return int(self.spans[index][0] + second - self.at[index])

    def clock_end(self, second: float) -> int:
        """The same for an end: one that falls on a break lies before the break."""
        return self.clock(second - 1) + 1

    def working(self, moment: int) -> int:
        """The working second at (or next after) a UTC second."""
        for (start, end), before in zip(self.spans, self.at, strict=True):
            if moment < end:
                return before + max(moment - start, 0)
        return self.length


def axis(planned: list[PlannedShift]) -> Axis:
    spans: list[tuple[int, int]] = []
    for shift in planned:
        edges = [int(shift.starts_at.timestamp())]
        for start, end in shift.breaks:
            edges += [int(start.timestamp()), int(end.timestamp())]
        edges.append(int(shift.ends_at.timestamp()))
        spans += list(pairwise(edges))[::2]
    at, total = [], 0
    for begins, ends in spans:
        at.append(total)
        total += ends - begins
    return Axis(spans=tuple(spans), at=tuple(at), length=total)
