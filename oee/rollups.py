"""Sums of stored cell-shifts by area, line, cell and period.

The database sums whole columns; the ledger's ``Sums`` divides once at the end.
"""

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any, Literal

from django.db.models import Count, F, QuerySet, Sum

from cells.models import Line
from oee.ledger.classes import OWN
from oee.ledger.sums import Sums, cell_shift
from oee.models import CellShift
from oee.results import FIGURES

Basis = Literal["counting", "cells"]
BASES: dict[Basis, str] = {
    "counting": "counting points: each line's counting cell",
    "cells": "all cells (diagnosis)",
}
#: How a question is put to the database: as it is, or by way of the cache.
Read = Callable[[QuerySet[Any, Any]], Iterable[Any]]
#: The columns of a stored row that the ledger sums.
SECONDS = tuple(name for name in FIGURES if name not in ("counted", "flags"))


def accounts(
    *,
    first: date,
    last: date,
    basis: Basis = "cells",
    area: int | None = None,
    line: int | None = None,
) -> QuerySet[CellShift]:
    """The stored cell-shifts of a range of production dates, both ends included."""
    rows = CellShift.objects.filter(production_date__range=(first, last))
    if area is not None:
        rows = rows.filter(area=area)
    if line is not None:
        rows = rows.filter(line=line)
    if basis == "counting":
        rows = rows.filter(cell__in=counting_cells())
    return rows


def counting_cells() -> list[int]:
    """Ids. As values in a question they let its answer be kept (``oee.freshness``)."""
    counting = Line.objects.exclude(counting_cell=None).order_by("counting_cell")
    return list(counting.values_list("counting_cell", flat=True))


def sums_by(
    rows: QuerySet[CellShift], *keys: str, read: Read = list
) -> dict[tuple, Sums]:
    """The roll-up of each group of rows, by the values of these fields.

    Only cell-shifts with planned busy time enter; of those without a count only
    their coverage and their own stops.
    """
    busy = F("scheduled_s") - F("break_s") - F("planned_s")
    own = sum((F(f"{name}_s") for name in OWN[1:]), start=F(f"{OWN[0]}_s"))
    groups = (
        rows.order_by()
        .annotate(busy_s=busy, own_s=own)
        .filter(busy_s__gt=0)
        .values(*keys, "counted")
        .annotate(
            rows=Count("id"),
            busy=Sum("busy_s"),
            own=Sum("own_s"),
            **{f"sum_{name}": Sum(name) for name in SECONDS},
        )
    )
    found: dict[tuple, Sums] = {}
    for group in read(groups):
        key = tuple(group[name] for name in keys)
        part = _sums(group)
        found[key] = found[key] + part if key in found else part
    return found


def total(rows: QuerySet[CellShift]) -> Sums:
    """The roll-up of all rows; empty sums where there are none."""
    return sums_by(rows).get((), Sums())


def of_row(row: CellShift) -> Sums:
    """One stored cell-shift as sums."""
    columns = {name: getattr(row, name) for name in SECONDS}
    return cell_shift(columns, counted=row.counted)


def combined(parts: Iterable[Sums]) -> Sums:
    return sum(parts, Sums())


def _sums(group: dict) -> Sums:
    if not group["counted"]:
        return Sums(
            expected=group["rows"],
            uncounted_busy_s=int(group["busy"]),
            uncounted_own_s=int(group["own"]),
        )
    # PostgreSQL answers sums of big integers as decimals.
    columns = {name: int(group[f"sum_{name}"]) for name in SECONDS}
    return Sums(**columns, counted=group["rows"], expected=group["rows"])
