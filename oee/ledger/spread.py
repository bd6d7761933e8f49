"""Which intervals touch which cell-shifts?

A stop belongs to a cell and runs over as many of its shifts as it likes. The account
wants a row for each cell-shift that it touches.

Cell 7 has an early shift [0, 480) and a late one [480, 960); cell 8 has [0, 480). A
stop of cell 7 over [460, 505) touches both of its shifts and none of cell 8's.

>>> touches = spread(
...     shift_cells=np.array([7, 7, 8]),
...     shift_starts=np.array([0, 480, 0]),
...     shift_ends=np.array([480, 960, 480]),
...     cells=np.array([7]),
...     starts=np.array([460]),
...     ends=np.array([505]),
... )
>>> touches.cell_shift.tolist(), touches.interval.tolist()
([0, 1], [0, 0])
"""

from dataclasses import dataclass

import numpy as np

from oee.ledger.cover import IntArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Touches:
    """Pairs of a cell-shift and an interval that share at least one second."""

    cell_shift: IntArray  # place in the shifts that went in
    interval: IntArray  # place in the intervals that went in


def spread(
    *,
    shift_cells: IntArray,
    shift_starts: IntArray,
    shift_ends: IntArray,
    cells: IntArray,
    starts: IntArray,
    ends: IntArray,
) -> Touches:
    """Pairs of cell-shifts and intervals, by interval and then by time.

    Cells are any whole numbers; moments are UTC seconds, half-open. The shifts of one
    cell must not overlap, or their seconds would be counted twice: a ValueError. Empty
    shifts and empty intervals touch nothing.
    """
    shifts = np.lexsort((shift_starts, shift_cells))
    shifts = shifts[shift_ends[shifts] > shift_starts[shifts]]
    if not len(shifts):
        return Touches(cell_shift=np.empty(0, np.int64), interval=np.empty(0, np.int64))
    _refuse_overlap(shift_cells[shifts], shift_starts[shifts], shift_ends[shifts])
    # One number for cell and moment keeps a sorted search over all cells at once.
    origin, latest = shift_starts.min(), shift_ends.max()
    known = np.unique(shift_cells)
    shift_base = np.searchsorted(known, shift_cells[shifts]) * (latest - origin + 1)
    place = np.minimum(np.searchsorted(known, cells), len(known) - 1)
    base = place * (latest - origin + 1)
    begin = base + np.clip(starts, origin, latest) - origin
    finish = base + np.clip(ends, origin, latest) - origin
    first = np.searchsorted(shift_base + shift_ends[shifts] - origin, begin, "right")
    last = np.searchsorted(shift_base + shift_starts[shifts] - origin, finish, "left")
    touched = np.where((known[place] == cells) & (ends > starts), last - first, 0)
    interval = np.repeat(np.arange(len(cells)), touched)
    step = np.arange(len(interval)) - np.repeat(np.cumsum(touched) - touched, touched)
    return Touches(cell_shift=shifts[first[interval] + step], interval=interval)


def _refuse_overlap(cells: IntArray, starts: IntArray, ends: IntArray) -> None:
    overlap = (cells[1:] == cells[:-1]) & (starts[1:] < ends[:-1])
    if overlap.any():
        row = int(overlap.argmax())
        raise ValueError(
            f"Two shifts of cell {cells[row]} overlap: one ends at {ends[row]}, the "
            f"next starts at {starts[row + 1]}."
        )
