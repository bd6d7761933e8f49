"""What do the seconds of a cell-shift, or of any number of them, come to?

Seconds are added first and divided once: OEE is good ideal time over planned busy time
at every level. None means unknown (nothing planned, nothing made, nothing counted);
0.0 means none.

Two cells with 350 good of 450 planned minutes and 78 of 200 (own arithmetic) come to
428 / 650, not to the mean of their percentages:

>>> a = cell_shift({"scheduled_s": 27000, "ideal_good_us": 21 * 10**9}, counted=True)
>>> b = cell_shift({"scheduled_s": 12000, "ideal_good_us": 468 * 10**7}, counted=True)
>>> (a + b).oee == 428 / 650
True

A cell-shift without a count is expected but not reported; of it a roll-up only takes
the own stops, which need no count:

>>> c = cell_shift({"scheduled_s": 28800, "breakdown_s": 600}, counted=False)
>>> both = a + c
>>> both.busy_s, both.oee == a.oee, both.reported, both.expected
(27000, True, 1, 2)
>>> seconds(c.own_lost_us), seconds(both.own_lost_us - a.own_lost_us)
(600.0, 600.0)
>>> c.oee is None
True
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from operator import attrgetter
from typing import overload

import numpy as np

from oee.ledger.account import CellShiftColumns
from oee.ledger.classes import DONE_TO, LOSS_CLASSES, OWN
from oee.ledger.cover import IntArray

MICROSECONDS = 1_000_000

# Fast, because an export asks for them of every cell-shift of a year.
_stopped_seconds = attrgetter(*(f"{name}_s" for name in LOSS_CLASSES[1:]))
_own_seconds = attrgetter(*(f"{name}_s" for name in OWN))
_done_to_seconds = attrgetter(*(f"{name}_s" for name in DONE_TO))


@dataclass(frozen=True, kw_only=True)
class Sums:
    """Sums over cell-shifts; ``a + b`` rolls up, and ``sum(parts, Sums())`` many.

    Made by ``cell_shift`` or ``roll_up``. In a roll-up all but the last three fields
    are over the reported cell-shifts only. One cell-shift shows its own seconds in any
    case; what it brings into a roll-up is decided when it is added.
    """

    scheduled_s: int = 0
    break_s: int = 0
    planned_s: int = 0
    planned_late_s: int = 0
    breakdown_s: int = 0
    setup_s: int = 0
    quality_hold_s: int = 0
    minor_s: int = 0
    people_s: int = 0
    supply_s: int = 0
    utilities_s: int = 0
    blocked_s: int = 0
    starved_s: int = 0
    ideal_total_us: int = 0  # microseconds
    ideal_good_us: int = 0  # microseconds
    made: int = 0  # bodies
    good: int = 0  # bodies, first time good
    counted: int = 0  # cell-shifts with a count and its ideal cycles
    expected: int = 0  # cell-shifts with busy time
    uncounted_busy_s: int = 0  # busy time of those expected but not reported
    uncounted_own_s: int = 0  # own stops of those expected but not reported

    def __add__(self, other: "Sums") -> "Sums":
        """The roll-up of both."""
        mine, theirs = self._rolled(), other._rolled()
        return Sums(
            **{
                field.name: getattr(mine, field.name) + getattr(theirs, field.name)
                for field in fields(Sums)
            }
        )

    def _rolled(self) -> "Sums":
        """What this brings into a roll-up: all, only coverage and stops, or nothing."""
        if self.reported:
            return self
        return Sums(
            expected=self.expected,
            uncounted_busy_s=self.uncounted_busy_s,
            uncounted_own_s=self.uncounted_own_s,
        )

    @property
    def reported(self) -> int:
        """Cell-shifts with busy time, a count and its ideal cycles."""
        return self.counted if self.expected else 0

    @property
    def busy_s(self) -> int:
        """Planned busy time."""
        return self.scheduled_s - self.break_s - self.planned_s

    @property
    def down_s(self) -> int:
        """All classes except minor, which the performance side carries."""
        down_s: int = sum(_stopped_seconds(self)) - self.minor_s
        return down_s

    @property
    def run_s(self) -> int:
        """Busy time that is not down."""
        return self.busy_s - self.down_s

    @property
    def own_stops_s(self) -> int:
        """Breakdown, setup, quality hold and minor."""
        own_s: int = sum(_own_seconds(self))
        return own_s

    @property
    def done_to_s(self) -> int:
        """People, supply, utilities, blocked and starved."""
        done_to_s: int = sum(_done_to_seconds(self))
        return done_to_s

    @property
    def expected_busy_s(self) -> int:
        """Planned busy time, that of cell-shifts without a count included."""
        return self.uncounted_busy_s + (self.busy_s if self.reported else 0)

    @property
    def slow_us(self) -> int | None:
        """Microseconds of speed loss and of all unexplained; may be negative."""
        if not self.counted:
            return None
        return (self.run_s - self.minor_s) * MICROSECONDS - self.ideal_total_us

    @property
    def reject_us(self) -> int | None:
        """Ideal microseconds of what was not good the first time."""
        return self.ideal_total_us - self.ideal_good_us if self.counted else None

    @property
    def own_lost_us(self) -> int:
        """Microseconds of own stops, those without a count included, and of rejects."""
        if self.reject_us is None:
            return self.uncounted_own_s * MICROSECONDS
        stops_s = self.own_stops_s + self.uncounted_own_s
        return stops_s * MICROSECONDS + self.reject_us

    @property
    def all_lost_us(self) -> int | None:
        """Microseconds of busy time that made nothing good."""
        if not self.counted:
            return None
        return self.busy_s * MICROSECONDS - self.ideal_good_us

    @property
    def availability(self) -> float | None:
        """Run time over busy time; needs no count."""
        return _ratio(self.run_s, self.busy_s)

    @property
    def performance(self) -> float | None:
        """Ideal time of all made over run time; above 1 it is shown as it is."""
        return self._counted_ratio(self.ideal_total_us, self.run_s * MICROSECONDS)

    @property
    def quality(self) -> float | None:
        """Ideal time of the good ones over that of all made."""
        return self._counted_ratio(self.ideal_good_us, self.ideal_total_us)

    @property
    def oee(self) -> float | None:
        """Ideal time of the good ones over busy time."""
        return self._counted_ratio(self.ideal_good_us, self.busy_s * MICROSECONDS)

    @property
    def stand_alone_oee(self) -> float | None:
        """OEE over the busy time that nobody else took from the cell."""
        left_s = self.busy_s - self.done_to_s
        return self._counted_ratio(self.ideal_good_us, left_s * MICROSECONDS)

    def _counted_ratio(self, part: int, whole: int) -> float | None:
        return _ratio(part, whole) if self.counted else None


def cell_shift(columns: Mapping[str, int], *, counted: bool) -> Sums:
    """The sums of one cell-shift, from its stored columns by the name of the field."""
    taken_s = columns.get("break_s", 0) + columns.get("planned_s", 0)
    busy_s = columns.get("scheduled_s", 0) - taken_s
    if counted or busy_s <= 0:
        return Sums(**columns, counted=int(counted), expected=int(busy_s > 0))
    return Sums(
        **columns,
        expected=1,
        uncounted_busy_s=busy_s,
        uncounted_own_s=sum(columns.get(f"{name}_s", 0) for name in OWN),
    )


def roll_up(columns: CellShiftColumns, group: IntArray, groups: int) -> list[Sums]:
    """The roll-up of each group of cell-shifts.

    ``group`` gives the group of each cell-shift, 0 to ``groups`` - 1. The same as
    adding up ``cell_shift`` of each one, for many at once.
    """
    busy_s = columns.busy_s
    reported = (busy_s > 0) & columns.counted
    uncounted = (busy_s > 0) & ~columns.counted
    own_s = sum((getattr(columns, f"{name}_s") for name in OWN), np.int64(0))
    parts = {
        "counted": reported.astype(np.int64),
        "expected": (busy_s > 0).astype(np.int64),
        "uncounted_busy_s": np.where(uncounted, busy_s, 0),
        "uncounted_own_s": np.where(uncounted, own_s, 0),
    }
    sums = {}
    for field in fields(Sums):
        part = parts.get(field.name)
        if part is None:
            part = np.where(reported, getattr(columns, field.name), 0)
        sums[field.name] = np.zeros(groups, np.int64)
        np.add.at(sums[field.name], group, part)
    return [
        Sums(**{name: int(values[i]) for name, values in sums.items()})
        for i in range(groups)
    ]


@overload
def seconds(microseconds: int) -> float: ...
@overload
def seconds(microseconds: None) -> None: ...
def seconds(microseconds: int | None) -> float | None:
    """Microseconds as seconds; unknown stays unknown."""
    return None if microseconds is None else microseconds / MICROSECONDS


def _ratio(part: int, whole: int) -> float | None:
    return part / whole if whole else None
