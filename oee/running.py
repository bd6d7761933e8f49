"""The accounts of shifts that still run, computed up to now and never stored.

They go through the same seam as the stored ledger, so "today so far" and tomorrow's
"yesterday" follow one rule. A line's running shift is computed once a minute for
everybody, and at once when one of its inputs changes: whatever changes one marks the
cell-shift, and a running shift keeps its marks.
"""

import hashlib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from django.core.cache import cache

from oee.freshness import LONGEST_S
from oee.inputs import gather
from oee.ledger.account import compute_accounts
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
    marks: tuple[int | None, int]
    cells: tuple[int, ...]  # ids of those that stand in its line


#: What the cache keeps of one cell's account: its id, FIGURES, reasons.
Kept = tuple[Any, ...]


def running_rows(shifts: Iterable[RunningShift], *, now: datetime) -> list[CellShift]:
    """One row per cell of their lines. They are not stored."""
    minute = now.replace(second=0)
    names = {_digest(one, minute, FIGURES): one for one in shifts}
    if not names:
        return []
    kept = cache.get_many(list(names))
    missing = {name: one for name, one in names.items() if name not in kept}
    if missing:
        computed = _computed(missing.values(), now)
        fresh = {name: computed[one.shift] for name, one in missing.items()}
        cache.set_many(fresh, timeout=LONGEST_S)
        kept |= fresh
    return [_row(one, row) for name, one in names.items() for row in kept[name]]


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
