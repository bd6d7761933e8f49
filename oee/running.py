"""The accounts of shifts that still run, computed up to now and never stored.

They go through the same seam as the stored ledger, so "today so far" and tomorrow's
"yesterday" follow one rule. A line's running shift is computed once a minute for
everybody, by the sweep or else by the first who asks, and at once when one of its
inputs changes: whatever changes one marks the cell-shift, and a running shift keeps its
marks.
"""

import hashlib
from collections.abc import Collection, Iterable
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from django.core.cache import cache
from django.db.models import Count, OuterRef, QuerySet, Subquery

from cells.models import Cell, Shift, StaleMark
from oee.freshness import LONGEST_S
from oee.inputs import gather
from oee.ledger.account import compute_accounts
from oee.ledger.sums import Sums
from oee.live import CellAccount, Rest, Span, UsedCount, accounts_of
from oee.models import CellShift
from oee.results import FIGURES, reason_seconds


@dataclass(frozen=True, kw_only=True)
class RunningShift:
    shift: int  # id
    line: int  # id
    area: int  # id
    production_date: date
    #: The newest mark of its inputs, and how many there are. Their number counts too:
    #: a mark that was made before the newest one may be committed after it.
    marks: tuple[int | None, int | None]
    cells: tuple[int, ...]  # ids of those that stand in its line


#: What the cache keeps of one cell's account: its id, FIGURES, reasons.
Kept = tuple[Any, ...]

#: An account is not shown when it is older. The sweep makes a new one each minute.
OLDEST = timedelta(seconds=75)


def running_rows(
    shifts: Iterable[RunningShift], *, now: datetime, anew: bool = False
) -> list[CellShift]:
    """One row per cell of their lines. They are not stored.

    ``anew``: computed up to now, however young the one is that is kept.
    """
    names = {_digest(one, FIGURES): one for one in shifts}
    if not names:
        return []
    kept = {} if anew else _young(cache.get_many(list(names)), now)
    missing = {name: one for name, one in names.items() if name not in kept}
    if missing:
        computed = _computed(missing.values(), now)
        fresh = {name: computed[one.shift] for name, one in missing.items()}
        stamped = {name: (now, rows) for name, rows in fresh.items()}
        cache.set_many(stamped, timeout=OLDEST.seconds)
        kept |= fresh
    return [_row(one, row) for name, one in names.items() for row in kept[name]]


def _young(
    stamped: dict[str, tuple[datetime, list[Kept]]], now: datetime
) -> dict[str, list[Kept]]:
    return {
        name: rows
        for name, (computed, rows) in stamped.items()
        if now - OLDEST < computed <= now
    }


def with_marks(shifts: QuerySet[Shift]) -> QuerySet[Shift]:
    """Each shift with ``newest_mark`` and ``marks``, see ``RunningShift``."""
    marks = StaleMark.objects.filter(shift=OuterRef("pk")).order_by()
    number = marks.values("shift").annotate(number=Count("pk")).values("number")
    return shifts.annotate(
        newest_mark=Subquery(marks.order_by("-pk").values("pk")[:1]),
        marks=Subquery(number),
    )


def live_accounts(
    shift: Any, cells: Collection[Cell], *, now: datetime
) -> dict[int, CellAccount]:
    """By cell id: all that the page of a shift shows of it, kept while it runs.

    ``shift``: one ``with_marks``. ``cells``: all that stand in its line.
    """
    if not shift.starts_at <= now < shift.ends_at:
        return accounts_of(shift, cells, now=now)
    marks = (shift.newest_mark, shift.marks)
    ids = sorted(cell.pk for cell in cells)
    name = _digest(shift.pk, marks, ids, now.replace(second=0), _SHAPE)
    accounts: dict[int, CellAccount] | None = cache.get(name)
    if accounts is None:
        accounts = accounts_of(shift, cells, now=now)
        cache.set(name, accounts, timeout=LONGEST_S)
    return accounts


#: What an account is made of: a new release must not read what an old one kept.
_SHAPE = [
    field.name
    for kept in (CellAccount, Rest, Span, UsedCount, Sums)
    for field in fields(kept)
]


def _digest(*parts: object) -> str:
    return "running-" + hashlib.blake2b(repr(parts).encode()).hexdigest()[:40]


def _computed(shifts: Collection[RunningShift], now: datetime) -> dict[int, list[Kept]]:
    pairs = [(cell, one.shift) for one in shifts for cell in one.cells]
    found: dict[int, list[Kept]] = {one.shift: [] for one in shifts}
    gathered = gather(pairs, until=now)
    computed = compute_accounts(gathered.inputs)
    reasons = reason_seconds(gathered, computed)
    figures = [np.asarray(getattr(computed, name)).tolist() for name in FIGURES]
    keys = gathered.cell_shifts[["cell", "shift"]].itertuples(index=False, name=None)
    for place, ((cell, shift), *values) in enumerate(zip(keys, *figures, strict=True)):
        found[shift].append((cell, *values, reasons.get(place, {})))
    return found


def _row(of: RunningShift, kept: Kept) -> CellShift:
    cell, *figures, reasons = kept
    return CellShift(
        cell_id=cell,
        shift_id=of.shift,
        line_id=of.line,
        area_id=of.area,
        production_date=of.production_date,
        reasons=reasons,
        **dict(zip(FIGURES, figures, strict=True)),
    )
