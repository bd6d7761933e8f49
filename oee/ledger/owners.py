"""Who owns a second that a break, a planned stop and several stops claim at once?

>>> line = Timeline.of(np.array([0]), np.array([100]), None)
>>> stops = Stops.of([(0, 2, 0, 30, 0), (0, 1, 20, 40, 1), (0, 1, 35, 60, 2)])
>>> owned_by_stops(stops, line, Cover.of(np.array([50]), np.array([100]))).tolist()
[20, 20, 10]

By hand: from 50 on the time is planned. Both breakdowns come before the set-up, so that
keeps [0, 20); the first of them owns [20, 40), the other what is left, [40, 50).
"""

from dataclasses import dataclass

import numpy as np

from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.cover import Cover, IntArray, Timeline
from oee.ledger.inputs import Breaks, PlannedStops, Stops, Tallies


@dataclass(frozen=True, kw_only=True, eq=False)
class PlannedTime:
    """The time that is not busy, per cell-shift, and where it lies."""

    break_s: IntArray  # the union of the breaks
    planned_s: IntArray  # planned stops outside the breaks
    planned_late_s: IntArray  # of these, what only late declared ones cover
    cover: Cover  # all of it


def planned_time(breaks: Breaks, planned: PlannedStops, line: Timeline) -> PlannedTime:
    """Break and planned seconds; no second of one is counted for the other.

    >>> line = Timeline.of(np.array([0]), np.array([100]), None)
    >>> planned = PlannedStops.of([(0, 5, 20, False), (0, 15, 40, True)])
    >>> time = planned_time(Breaks.of([(0, 0, 10)]), planned, line)
    >>> int(time.break_s[0]), int(time.planned_s[0]), int(time.planned_late_s[0])
    (10, 30, 20)
    """
    starts = line.place(planned.cell_shift, planned.starts)
    ends = line.place(planned.cell_shift, planned.ends)
    late = planned.late
    at_break = Cover.of(
        line.place(breaks.cell_shift, breaks.starts),
        line.place(breaks.cell_shift, breaks.ends),
    )
    in_time = at_break.plus(starts[~late], ends[~late])
    cover = in_time.plus(starts[late], ends[late])
    break_s, in_time_s, all_s = (
        np.diff(part.seconds_before(line.edges)) for part in (at_break, in_time, cover)
    )
    return PlannedTime(
        break_s=break_s,
        planned_s=all_s - break_s,
        planned_late_s=all_s - in_time_s,
        cover=cover,
    )


def owned_by_stops(stops: Stops, line: Timeline, taken: Cover) -> IntArray:
    """Seconds that each stop owns of the time that is not taken.

    Class by class: what the stops of higher classes own is taken for the lower ones.
    """
    starts = line.place(stops.cell_shift, stops.starts)
    ends = line.place(stops.cell_shift, stops.ends)
    by_start = _by_start(stops, starts)
    classes = stops.loss_class[by_start]
    owned = np.zeros(len(stops), np.int64)
    for loss_class in range(1, len(LOSS_CLASSES)):
        rows = by_start[classes == loss_class]
        begin, end = _first_come(starts[rows], ends[rows])
        owned[rows] = end - begin - taken.seconds_between(begin, end)
        taken = taken.plus(begin, end)
    return owned


def _by_start(stops: Stops, starts: IntArray) -> IntArray:
    """The stops by place, then by own start (places are drawn in), then by order.

    Few stops share a place, and sorting only those by all three is twice as fast.
    """
    by_start = np.argsort(starts)
    sorted_starts = starts[by_start]
    same = sorted_starts[1:] == sorted_starts[:-1]
    tied = np.zeros(len(stops), np.bool_)
    tied[1:] |= same
    tied[:-1] |= same
    rows = by_start[tied]
    keys = (stops.order[rows], stops.starts[rows], starts[rows])
    rows = rows[np.lexsort(keys)]
    _refuse_same_order(stops, rows, stops.starts)
    by_start[tied] = rows
    return by_start


def _refuse_same_order(table: Stops | Tallies, rows: IntArray, by: IntArray) -> None:
    """Refuse neighbours that only the order of entry would tell apart."""
    same = np.ones(max(len(rows) - 1, 0), np.bool_)
    for column in (table.cell_shift, by, table.order):
        same &= column[rows[1:]] == column[rows[:-1]]
    if same.any():
        row = int(rows[int(same.argmax()) + 1])
        raise ValueError(
            f"{table.title()} row {row}: order ({table.order[row]}) must differ from "
            "that of every other row which it is compared with."
        )


def _first_come(starts: IntArray, ends: IntArray) -> tuple[IntArray, IntArray]:
    """What sorted intervals add one by one: only what lies after all before."""
    reach = np.maximum.accumulate(ends)
    begin = starts.copy()
    np.maximum(starts[1:], reach[:-1], out=begin[1:])
    return begin, reach


def owned_by_tallies(tallies: Tallies, free_s: IntArray) -> IntArray:
    """Seconds that each tally gets of the free seconds of its cell-shift.

    >>> starved, minor = LOSS_CLASSES.index("starved"), LOSS_CLASSES.index("minor")
    >>> tallies = Tallies.of([(0, starved, 400, 0), (0, minor, 540, 1)])
    >>> owned_by_tallies(tallies, np.array([600])).tolist()
    [60, 540]
    """
    served = np.lexsort((tallies.order, tallies.loss_class, tallies.cell_shift))
    _refuse_same_order(tallies, served, tallies.loss_class)
    cell_shift, wanted = tallies.cell_shift[served], tallies.seconds[served]
    before = np.cumsum(wanted) - wanted
    before -= before[np.searchsorted(cell_shift, cell_shift)]
    owned = np.zeros(len(tallies), np.int64)
    owned[served] = np.clip(free_s[cell_shift] - before, 0, wanted)
    return owned
