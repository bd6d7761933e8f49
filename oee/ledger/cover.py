"""How many seconds of an interval does a set of other intervals cover?

All shifts are laid end to end on one line of seconds, so that one sorted array serves
every cell-shift at once: a position is the seconds of all earlier shifts plus the
seconds since this shift's start. Intervals of different shifts can touch there but
never overlap.

>>> cover = Cover.of(np.array([10, 15, 40]), np.array([20, 30, 50]))
>>> cover.seconds_between(np.array([0, 18]), np.array([60, 45])).tolist()
[30, 17]

By hand: the union is [10, 30) and [40, 50), so 20 + 10; and [18, 30) and [40, 45), so
12 + 5.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Timeline:
    """Shifts laid end to end."""

    starts: IntArray  # UTC seconds, one per shift
    ends: IntArray  # UTC seconds, one per shift
    edges: IntArray  # positions, one more than shifts: where each begins, then the end

    @classmethod
    def of(cls, starts: IntArray, ends: IntArray, until: int | None) -> Self:
        """Lay shifts end to end, each only as far as ``until`` (UTC seconds).

        >>> Timeline.of(np.array([100, 200]), np.array([150, 290]), 210).edges.tolist()
        [0, 50, 60]
        """
        if until is not None:
            starts, ends = np.minimum(starts, until), np.minimum(ends, until)
        edges = np.zeros(len(starts) + 1, np.int64)
        np.cumsum(ends - starts, out=edges[1:])
        return cls(starts=starts, ends=ends, edges=edges)

    def place(self, shift: IntArray, moments: IntArray) -> IntArray:
        """Positions of moments, each first drawn into its shift.

        >>> line = Timeline.of(np.array([100, 200]), np.array([150, 290]), None)
        >>> line.place(np.array([0, 1, 1]), np.array([90, 210, 999])).tolist()
        [0, 60, 140]
        """
        start = self.starts[shift]
        inside = np.clip(moments, start, self.ends[shift])
        inside -= start
        inside += self.edges[shift]
        return inside


@dataclass(frozen=True, kw_only=True)
class Cover:
    """A union of half-open intervals of positions."""

    starts: IntArray  # sorted; the intervals neither overlap nor touch
    ends: IntArray  # sorted
    before: IntArray  # covered seconds before each interval; then those of all

    @classmethod
    def of(cls, starts: IntArray, ends: IntArray) -> Self:
        """The union of any intervals, in any order; empty ones cover nothing.

        Starts and ends are sorted apart: the union breaks before the i-th start exactly
        where the i-th smallest ends all lie before it.
        """
        # The stable sort merges runs, and plus() hands over two sorted ones.
        starts, ends = np.sort(starts, kind="stable"), np.sort(ends, kind="stable")
        breaks = ends[:-1] < starts[1:]
        edge = np.ones(min(1, len(starts)), np.bool_)
        starts = starts[np.concatenate((edge, breaks))]
        ends = ends[np.concatenate((breaks, edge))]
        before = np.zeros(len(starts) + 1, np.int64)
        np.cumsum(ends - starts, out=before[1:])
        return cls(starts=starts, ends=ends, before=before)

    def plus(self, starts: IntArray, ends: IntArray) -> "Cover":
        """The union of this cover and more intervals."""
        return Cover.of(
            np.concatenate((self.starts, starts)), np.concatenate((self.ends, ends))
        )

    def seconds_before(self, positions: IntArray) -> IntArray:
        """Covered seconds that lie before each position.

        >>> Cover.of(np.array([10]), np.array([20])).seconds_before(
        ...     np.array([0, 14, 99])
        ... ).tolist()
        [0, 4, 10]
        """
        if not len(self.starts):
            return np.zeros(len(positions), np.int64)
        begun = np.searchsorted(self.starts, positions, side="right")
        last = np.maximum(begun - 1, 0)
        return self.before[begun] - np.where(
            begun > 0, np.maximum(self.ends[last] - positions, 0), 0
        )

    def seconds_between(self, starts: IntArray, ends: IntArray) -> IntArray:
        """Covered seconds within each interval [start, end)."""
        return self.seconds_before(ends) - self.seconds_before(starts)
