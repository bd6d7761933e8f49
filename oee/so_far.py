"""The accounts of a period: the stored ones and, today, those of shifts that still run.

What is stored is kept in the cache until the ledger changes (``oee.freshness``).
"""

from collections import Counter
from collections.abc import Collection, Iterable
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.db.models import QuerySet

from cells.models import Cell, Plant, Shift
from oee.freshness import rows_of
from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.sums import Sums
from oee.models import CellShift
from oee.periods import Period
from oee.ranking import ReasonTotals, add_reasons, reason_totals
from oee.rollups import Basis, accounts, of_row, sums_by
from oee.running import RunningShift, running_rows, with_marks

DAY = timedelta(days=1)


class PeriodAccounts:
    """Of the plant, or of one area, line or cell (by id)."""

    def __init__(
        self,
        period: Period,
        *,
        now: datetime,
        area: int | None = None,
        line: int | None = None,
        cell: int | None = None,
        cells: Iterable[Cell] | None = None,
    ) -> None:
        """``cells``: all of the plant with their lines, where they have been read."""
        self.period, self.now, self._given = period, now, cells
        self.place = {"area": area, "line": line, "cell": cell}

    def stored(
        self, basis: Basis = "cells", first: date | None = None
    ) -> QuerySet[CellShift]:
        """``first``: an earlier date than the period's, to compare it with."""
        rows = accounts(
            first=first or self.period.first,
            last=self.period.last,
            area=self.place["area"],
            line=self.place["line"],
        )
        if basis == "counting":
            rows = rows.filter(cell__in=self._counting)
        if self.place["cell"] is not None:
            rows = rows.filter(cell=self.place["cell"])
        if self._unended:
            # One that ran on after it was stored is computed up to now instead.
            rows = rows.exclude(shift__in=[shift.pk for shift in self._unended])
        return rows

    @cached_property
    def _unended(self) -> list[Shift]:
        """Of the period: those that run, and those still to come."""
        if not self.period.reaches_today:
            return []
        dates = (self.period.first, self.period.last)
        shifts = Shift.objects.filter(
            production_date__range=dates, ends_at__gt=self.now
        )
        wanted = {
            "line__area": self.place["area"],
            "line": self.place["line"],
            "line__cells": self.place["cell"],
        }
        here = {field: pk for field, pk in wanted.items() if pk is not None}
        known = with_marks(shifts.filter(**here).select_related("line"))
        return list(known.order_by("pk"))

    @cached_property
    def running(self) -> list[CellShift]:
        """Rows that are not stored: the running shifts of all cells up to now."""
        rows = running_rows(self.begun, now=self.now)
        cell = self.place["cell"]
        return [row for row in rows if cell is None or row.cell_id == cell]

    @property
    def begun(self) -> list[RunningShift]:
        begun = [shift for shift in self._unended if shift.starts_at <= self.now]
        return [self._as_running(shift) for shift in begun]

    def _as_running(self, shift: Any) -> RunningShift:
        """``shift``: with what ``_unended`` knows of its marks."""
        on = shift.production_date
        return RunningShift(
            shift=shift.pk,
            line=shift.line_id,
            area=shift.line.area_id,
            production_date=on,
            marks=(shift.newest_mark, shift.marks),
            cells=tuple(
                cell.pk
                for cell in self._cells
                if cell.line_id == shift.line_id
                and (cell.retired_on is None or cell.retired_on > on)
            ),
        )

    @cached_property
    def _cells(self) -> list[Cell]:
        if self._given is not None:
            return sorted(self._given, key=lambda cell: cell.pk)
        cells = Cell.objects.order_by("pk").select_related("line")
        return list(cells.only("retired_on", "line__counting_cell"))

    @cached_property
    def _counting(self) -> list[int]:
        counting = {cell.line.counting_cell_id for cell in self._cells}
        return sorted(pk for pk in counting if pk is not None)

    def running_of(self, basis: Basis) -> list[CellShift]:
        if basis == "cells" or not self.running:
            return self.running
        counting = set(self._counting)
        return [row for row in self.running if row.cell_id in counting]

    def sums_by(self, *keys: str, basis: Basis = "cells") -> dict[tuple, Sums]:
        """``keys`` among area, line, cell, shift and production_date."""
        found = sums_by(self.stored(basis), *keys, read=rows_of)
        for row in self.running_of(basis):
            key = tuple(_value(row, name) for name in keys)
            found[key] = found.get(key, Sums()) + of_row(row)
        return {key: sums for key, sums in found.items() if sums.expected}

    def open_stops(
        self, *keys: str, basis: Basis = "cells"
    ) -> dict[tuple, Counter[str]]:
        """Stopped seconds by class of running shifts that have no count yet.

        A roll-up holds counted shifts only, so it says nothing of these.
        """
        found: dict[tuple, Counter[str]] = {}
        for row in self.running_of(basis):
            if not row.counted:
                key = tuple(_value(row, name) for name in keys)
                stopped = {c: getattr(row, f"{c}_s") for c in LOSS_CLASSES[1:]}
                found.setdefault(key, Counter()).update(stopped)
        return found

    def reasons(self, cells: Collection[int] | None = None) -> dict[int, ReasonTotals]:
        """By cell id; of these cells, or of all."""
        rows = self.stored()
        if cells is not None:
            rows = rows.filter(cell__in=sorted(cells))
        found = reason_totals(rows, read=rows_of)
        for row in self.running:
            if cells is None or row.cell_id in cells:
                add_reasons(found, row.cell_id, row.reasons)
        return found


def keep_ready(*, now: datetime, anew: bool) -> None:
    """Compute the running shifts before somebody asks for them.

    ``anew``: all of them; else only those that an entry has changed.
    """
    today = now.astimezone(Plant.current().zone).date()
    near = Period(first=today - DAY, last=today + DAY, today=today)
    running_rows(PeriodAccounts(near, now=now).begun, now=now, anew=anew)


def _value(row: CellShift, name: str) -> object:
    if name == "production_date":
        return row.production_date
    return getattr(row, f"{name}_id")
