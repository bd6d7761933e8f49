"""Which cells lost the most time, by their own fault or in all?

A 120-second loss in an hour of planned time is 2 own minutes, so 200 per 100 hours:

>>> from oee.ledger.sums import cell_shift
>>> columns = {"scheduled_s": 3600, "setup_s": 120}
>>> b = cell_shift(columns, counted=False)
>>> row, tied = rank_cells({"B": b, "A": b}, by="own")
>>> row.rank, row.cell, row.per_100_h, tied.rank, tied.cell
(1, 'A', 200.0, 2, 'B')
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from oee.ledger.sums import Sums


@dataclass(frozen=True, kw_only=True)
class RankedCell:
    """A cell's place in the ranking."""

    rank: int  # 1 for the cell that lost most
    cell: str  # code
    sums: Sums

    @property
    def own_lost_us(self) -> int:
        """Own microseconds, also of cell-shifts without a count."""
        return self.sums.own_lost_us

    @property
    def slow_us(self) -> int | None:
        """Unexplained microseconds; None where nothing was counted."""
        return self.sums.slow_us

    @property
    def all_lost_us(self) -> int | None:
        """All lost microseconds; None where nothing was counted."""
        return self.sums.all_lost_us

    @property
    def busy_s(self) -> int:
        """Planned seconds, also of cell-shifts without a count."""
        return self.sums.expected_busy_s

    @property
    def per_100_h(self) -> float:
        """Own minutes per 100 planned hours."""
        # us / 60e6 own minutes over s / 3600 hours, times 100: 6 / 1000 of us over s.
        return self.own_lost_us * 6 / (self.busy_s * 1000)


def rank_cells(
    cells: Mapping[str, Sums], *, by: Literal["own", "all"]
) -> list[RankedCell]:
    """The cells in order of the time lost, most first; ties by code.

    ``cells`` gives the roll-up of each cell by its code. A cell without planned time is
    left out. By ``all``, a cell of which nothing was counted stands at the end: what it
    lost in all is not known.
    """

    def place(cell: str) -> tuple[bool, int, str]:
        lost = cells[cell].own_lost_us if by == "own" else cells[cell].all_lost_us
        return lost is None, -(lost or 0), cell

    planned = sorted((cell for cell in cells if cells[cell].expected), key=place)
    return [
        RankedCell(rank=rank, cell=cell, sums=cells[cell])
        for rank, cell in enumerate(planned, start=1)
    ]
