"""The cell-shifts that are asked for, and what bounds the questions about them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import pandas as pd
from django.db.models import Q

from cells.among import among
from cells.models import Cell, Shift
from cells.moments import from_seconds
from maintenance.models.stops import DAY_S, longer_than_a_day
from oee.inputs.reading import fetch
from oee.ledger.cover import IntArray


def whole(column: pd.Series) -> IntArray:
    return column.to_numpy(dtype=np.int64)


def cell_shifts(pairs: Iterable[tuple[int, int]]) -> pd.DataFrame:
    """The pairs with their line, area, leg, date and span; unknown ones fall out."""
    asked = pd.DataFrame(list(pairs), columns=["cell", "shift"], dtype=np.int64)
    cells = fetch(Cell.objects.all(), ["id", "line_id", "line__area_id", "leg"])
    cells.columns = pd.Index(["cell", "line", "area", "leg"])
    shifts = Shift.objects.filter(among("id", asked["shift"].unique().tolist()))
    columns = ["id", "line_id", "production_date", "starts_at", "ends_at"]
    spans = fetch(shifts, [*columns, "confirmation__id"])
    spans.columns = pd.Index(["shift", "of_line", "date", "start", "end", "confirmed"])
    spans["confirmed"] = spans["confirmed"].notna()
    known = asked.drop_duplicates().merge(cells, on="cell").merge(spans, on="shift")
    # A cell has an account in the shifts of its own line only.
    known = known[known["line"] == known["of_line"]].drop(columns="of_line")
    return known.sort_values(["shift", "cell"], ignore_index=True)


@dataclass(frozen=True, kw_only=True)
class Around:
    """The lines, cells and shifts, and the span from the first second to the last."""

    lines: list[int]
    cells: list[int]
    shifts: list[int]
    first: datetime
    last: datetime

    @classmethod
    def of(cls, wanted: pd.DataFrame) -> "Around":
        empty = wanted.empty
        return cls(
            lines=wanted["line"].unique().tolist(),
            cells=wanted["cell"].unique().tolist(),
            shifts=wanted["shift"].unique().tolist(),
            first=from_seconds(0 if empty else int(wanted["start"].min())),
            last=from_seconds(0 if empty else int(wanted["end"].max())),
        )

    def of_cells(self) -> Q:
        return among("cell_id", self.cells)

    def of_shifts(self) -> Q:
        return among("shift_id", self.shifts)

    def touching(self, start: str, end: str) -> tuple[Q, Q]:
        """What covers some of the span, in two questions that an index answers.

        A question for all that ends after the span's first second would read on from
        the beginning of history; most of what reaches in began within a day of it.
        """
        day_before = self.first - timedelta(seconds=DAY_S)
        reaches = Q(**{f"{end}__gt": self.first})
        recent = Q(**{f"{start}__gte": day_before, f"{start}__lt": self.last})
        older = Q(**{f"{start}__lt": day_before}) & longer_than_a_day(start, end)
        return recent & reaches, older & reaches


class Places:
    """Finds the cell-shift of a cell and a shift."""

    def __init__(self, wanted: pd.DataFrame) -> None:
        self._step = int(wanted["cell"].max()) + 1 if len(wanted) else 1
        self._keys = self._key(whole(wanted["cell"]), whole(wanted["shift"]))

    def _key(self, cell: IntArray, shift: IntArray) -> IntArray:
        return shift * self._step + cell

    def of(self, cell: IntArray, shift: IntArray) -> IntArray:
        """Its place among the wanted, or -1."""
        if not len(self._keys):
            return np.full(len(cell), -1, np.int64)
        keys = np.where(cell < self._step, self._key(cell, shift), -1)
        found = np.minimum(np.searchsorted(self._keys, keys), len(self._keys) - 1)
        return np.where(self._keys[found] == keys, found, -1)
