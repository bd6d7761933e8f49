"""The seam where the ledger's results become stored rows."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pandas as pd
from django.db import connection

from cells import clock
from cells.among import among
from cells.bulk import insert_rows, update_rows
from cells.moments import to_seconds
from oee.inputs import Gathered
from oee.inputs.reading import fetch
from oee.ledger.account import Accounts
from oee.ledger.cover import IntArray
from oee.models import CellShift

KEYS = ("cell_id", "shift_id")
COPIES = ("line_id", "area_id", "production_date")
FIGURES = (
    "scheduled_s",
    "break_s",
    "planned_s",
    "planned_late_s",
    "breakdown_s",
    "setup_s",
    "quality_hold_s",
    "minor_s",
    "people_s",
    "supply_s",
    "utilities_s",
    "blocked_s",
    "starved_s",
    "counted",
    "made",
    "good",
    "ideal_total_us",
    "ideal_good_us",
    "flags",
)
COMPARED = (*COPIES, *FIGURES, "reasons")
COLUMNS = (*KEYS, *COMPARED, "computed_at")


def store(gathered: Gathered, accounts: Accounts) -> int:
    """Write the accounts. A row that says the same already is left untouched.

    The caller holds the lock on their lines, so nobody else is writing them. Rows that
    are new are inserted as such: "or else update" costs SQLite twice as much for each.
    """
    now = to_seconds(clock.now())
    stored = _stored(gathered)
    new, changed = [], []
    for row in _rows(gathered, accounts):
        known = stored.get(row[:2])
        if known is None:
            new.append((*row, now))
        elif known[1:] != row[2:]:
            changed.append((*row[2:], now, known[0]))
    insert_rows(CellShift, COLUMNS, new)
    update_rows(CellShift, (*COMPARED, "computed_at"), changed)
    return len(gathered.cell_shifts)


def reason_seconds(gathered: Gathered, accounts: Accounts) -> dict[int, dict]:
    """Per cell-shift: {reason id: [own seconds, stops begun and times tallied]}."""
    found: dict[int, dict] = {}
    columns = (part.tolist() for part in _reason_sums(gathered, accounts))
    for cell_shift, reason, seconds, times in zip(*columns, strict=True):
        found.setdefault(cell_shift, {})[str(reason)] = [seconds, times]
    return found


def _reason_sums(gathered: Gathered, accounts: Accounts) -> list[IntArray]:
    """Cell-shift, reason, own seconds and times, sorted by the first two."""
    stops, tallies = gathered.stops, gathered.tallies
    cell_shift, reason, times = (
        np.concatenate([stops[name].to_numpy(), tallies[name].to_numpy()])
        for name in ("cell_shift", "reason", "times")
    )
    seconds = np.concatenate([accounts.stop_owned_s, accounts.tally_owned_s])
    if not len(reason):
        return [cell_shift, reason, seconds, times]
    width = int(reason.max()) + 1
    keys = cell_shift * width + reason
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    first = np.flatnonzero(np.diff(keys, prepend=-1))
    sums = [np.add.reduceat(part[order], first) for part in (seconds, times)]
    told = (sums[0] > 0) | (sums[1] > 0)
    keys = keys[first][told]
    return [keys // width, keys % width, *(part[told] for part in sums)]


def _reason_texts(gathered: Gathered, accounts: Accounts) -> list[str]:
    """As JSON, in the order of the cell-shifts."""
    cell_shift, *told = _reason_sums(gathered, accounts)
    entries = [
        f'"{reason}": [{seconds}, {times}]'
        for reason, seconds, times in zip(*(p.tolist() for p in told), strict=True)
    ]
    edges = np.searchsorted(cell_shift, np.arange(len(gathered.cell_shifts) + 1))
    return [
        f"{{{', '.join(entries[begin:end])}}}"
        for begin, end in pairwise(edges.tolist())
    ]


def _rows(gathered: Gathered, accounts: Accounts) -> Iterator[tuple]:
    """Values of the keys and of what is compared, as the database takes them."""
    rows = gathered.cell_shifts
    keys = [rows[name].tolist() for name in ("cell", "shift", "line", "area")]
    figures = [_plain(getattr(accounts, name)).tolist() for name in FIGURES]
    return zip(
        *(*keys, _dates(rows["date"]), *figures, _reason_texts(gathered, accounts)),
        strict=True,
    )


def _plain(values: np.ndarray) -> np.ndarray:
    """SQLite has no yes and no: a 1 costs it less than a True."""
    as_number = values.dtype == bool and connection.vendor == "sqlite"
    return values.astype(np.int64) if as_number else values


def _dates(days: pd.Series) -> list[str]:
    """As text at once: a date is turned into one for each row."""
    texts = {day: str(day) for day in days.unique()}
    return [texts[day] for day in days]


def _stored(gathered: Gathered) -> dict[tuple, tuple]:
    """By the keys: the id, and what is compared."""
    rows = fetch(
        CellShift.objects.filter(
            among("shift_id", gathered.cell_shifts["shift"].unique().tolist())
        ),
        (*KEYS, "id", *COMPARED),
    )
    rows["production_date"] = _dates(rows["production_date"])
    return {row[:2]: row[2:] for row in rows.itertuples(index=False, name=None)}
