"""The accounts of a period: the stored ones and, today, those of shifts that still run.

A running shift is computed up to now through the same seam as the stored ledger and
never stored, so "today so far" and tomorrow's "yesterday" follow one rule.
"""

from collections import Counter
from datetime import date, datetime
from functools import cached_property

import numpy as np
from django.db.models import F, Q, QuerySet

from cells.models import Shift
from oee.inputs import gather
from oee.ledger.account import compute_accounts
from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.sums import Sums
from oee.models import CellShift
from oee.periods import Period
from oee.ranking import ReasonTotals, add_reasons, reason_totals
from oee.results import FIGURES, reason_seconds
from oee.rollups import Basis, accounts, counting_cells, of_row, sums_by


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
    ) -> None:
        self.period, self.now = period, now
        self.place = {"area": area, "line": line, "cell": cell}

    def stored(
        self, basis: Basis = "cells", first: date | None = None
    ) -> QuerySet[CellShift]:
        """``first``: an earlier date than the period's, to compare it with."""
        rows = accounts(
            first=first or self.period.first,
            last=self.period.last,
            basis=basis,
            area=self.place["area"],
            line=self.place["line"],
        )
        if self.place["cell"] is not None:
            rows = rows.filter(cell=self.place["cell"])
        if self.period.reaches_today:
            # One that ran on after it was stored is computed up to now instead.
            rows = rows.exclude(shift__ends_at__gt=self.now)
        return rows

    @cached_property
    def running(self) -> list[CellShift]:
        """Rows that are not stored: the running shifts of all cells up to now."""
        if not self.period.reaches_today:
            return []
        return [
            row
            for row in running_rows(now=self.now, **self.place)
            if self.period.first <= row.production_date <= self.period.last
        ]

    @cached_property
    def _counting(self) -> set[int]:
        return set(counting_cells().values_list("counting_cell", flat=True))

    def running_of(self, basis: Basis) -> list[CellShift]:
        if basis == "cells" or not self.running:
            return self.running
        return [row for row in self.running if row.cell_id in self._counting]

    def sums_by(self, *keys: str, basis: Basis = "cells") -> dict[tuple, Sums]:
        """``keys`` among area, line, cell, shift and production_date."""
        found = sums_by(self.stored(basis), *keys)
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

    def reasons(self) -> dict[int, ReasonTotals]:
        """By cell id."""
        found = reason_totals(self.stored())
        for row in self.running:
            add_reasons(found, row.cell_id, row.reasons)
        return found


def _value(row: CellShift, name: str) -> object:
    if name == "production_date":
        return row.production_date
    return getattr(row, f"{name}_id")


def running_rows(
    *,
    now: datetime,
    area: int | None = None,
    line: int | None = None,
    cell: int | None = None,
) -> list[CellShift]:
    """One row per cell whose shift runs now, computed up to now and not stored."""
    standing = Q(line__cells__retired_on=None) | Q(
        line__cells__retired_on__gt=F("production_date")
    )
    wanted = {"line__area": area, "line": line, "line__cells": cell}
    running = Shift.objects.filter(
        standing,
        starts_at__lte=now,
        ends_at__gt=now,
        line__cells__isnull=False,
        **{field: pk for field, pk in wanted.items() if pk is not None},
    )
    pairs = running.values_list("line__cells", "pk", "production_date", "line__area")
    known = {(cell, shift): (date, of) for cell, shift, date, of in pairs}
    if not known:
        return []
    gathered = gather(known, until=now)
    computed = compute_accounts(gathered.inputs)
    reasons = reason_seconds(gathered, computed)
    figures = {name: np.asarray(getattr(computed, name)).tolist() for name in FIGURES}
    keys = gathered.cell_shifts[["cell", "shift", "line"]]
    rows = []
    for place, (cell_id, shift_id, line_id) in enumerate(
        keys.itertuples(index=False, name=None)
    ):
        production_date, area_id = known[cell_id, shift_id]
        rows.append(
            CellShift(
                cell_id=cell_id,
                shift_id=shift_id,
                line_id=line_id,
                area_id=area_id,
                production_date=production_date,
                reasons=reasons.get(place, {}),
                **{name: values[place] for name, values in figures.items()},
            )
        )
    return rows
