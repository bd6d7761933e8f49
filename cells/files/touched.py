"""Which cell-shifts one load touches: gathered while it runs, marked once at its end.

A shift that the load itself made was marked for all its cells when it was made, so it
is not marked again.
"""

from array import array
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np
import pandas as pd

from cells import stale
from cells.models import Cell, Shift
from cells.moments import to_seconds


def _seconds() -> "array[int]":
    return array("q")


@dataclass
class Touched:
    new_shifts: set[int] = field(default_factory=set)
    pairs: set[tuple[int, int]] = field(default_factory=set)  # (cell id, shift id)
    lines: set[tuple[int, int]] = field(default_factory=set)  # (line id, shift id)
    since: dict[int, date] = field(default_factory=dict)  # by cell id
    # Spans of a million stops, so no more than three numbers each.
    _cells: "array[int]" = field(default_factory=_seconds)
    _starts: "array[int]" = field(default_factory=_seconds)
    _ends: "array[int]" = field(default_factory=_seconds)

    def span(self, cell_id: int, start: datetime, end: datetime) -> None:
        self._cells.append(cell_id)
        self._starts.append(to_seconds(start))
        self._ends.append(to_seconds(end))

    def from_date(self, cell_id: int, day: date) -> None:
        """Every shift of the cell from a production date on."""
        self.since[cell_id] = min(day, self.since.get(cell_id, day))

    def mark(self) -> int:
        pairs = self.pairs | self._of_spans() | self._of_lines() | self._since_dates()
        return stale.mark_cell_shifts(
            (cell, shift) for cell, shift in pairs if shift not in self.new_shifts
        )

    def _of_spans(self) -> set[tuple[int, int]]:
        columns = {"cell": self._cells, "start": self._starts, "end": self._ends}
        frame = {name: np.array(numbers) for name, numbers in columns.items()}
        return stale.touched_pairs(pd.DataFrame(frame))

    def _of_lines(self) -> set[tuple[int, int]]:
        cells = _cells_by_line({line for line, _ in self.lines})
        return {
            (cell, shift) for line, shift in self.lines for cell in cells.get(line, [])
        }

    def _since_dates(self) -> set[tuple[int, int]]:
        if not self.since:
            return set()
        lines = dict(
            Cell.objects.filter(pk__in=self.since).values_list("pk", "line_id")
        )
        found: dict[int, list[tuple[date, int]]] = {}
        shifts = Shift.objects.order_by().filter(
            line__in=set(lines.values()), production_date__gte=min(self.since.values())
        )
        for line, day, shift in shifts.values_list("line_id", "production_date", "pk"):
            found.setdefault(line, []).append((day, shift))
        return {
            (cell, shift)
            for cell, first in self.since.items()
            for day, shift in found.get(lines[cell], [])
            if day >= first
        }


def _cells_by_line(lines: set[int]) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    rows = Cell.objects.order_by().filter(line__in=lines)
    for cell, line in rows.values_list("pk", "line_id"):
        found.setdefault(line, []).append(cell)
    return found
