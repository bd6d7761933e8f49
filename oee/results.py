"""The seam where the ledger's results become stored rows."""

from collections.abc import Iterable, Iterator
from itertools import pairwise, repeat

import numpy as np
from django.db import connection

from cells import clock
from cells.moments import to_seconds
from oee.inputs import Gathered
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
COLUMNS = (*KEYS, *COPIES, *FIGURES, "reasons", "computed_at")


def store(gathered: Gathered, accounts: Accounts) -> int:
    """Write the accounts. A row that says the same already is left untouched."""
    rows = _rows(gathered, accounts)
    if connection.vendor == "postgresql":
        _copy(rows)
    else:
        marks = ", ".join(["%s"] * len(COLUMNS))
        with connection.cursor() as cursor:
            cursor.executemany(_upsert(f"VALUES ({marks})"), list(rows))
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
    keys = [
        gathered.cell_shifts[name].tolist()
        for name in ("cell", "shift", "line", "area", "date")
    ]
    figures = [np.asarray(getattr(accounts, name)).tolist() for name in FIGURES]
    reasons = _reason_texts(gathered, accounts)
    return zip(*keys, *figures, reasons, repeat(to_seconds(clock.now())), strict=False)


def _upsert(source: str) -> str:
    table = CellShift._meta.db_table
    new = [name for name in COLUMNS if name not in KEYS]
    compared = [*COPIES, *FIGURES, "reasons"]
    # Fixed names only, no value of anybody's goes into the text.
    return (
        f"INSERT INTO {table} ({', '.join(COLUMNS)}) {source} "
        f"ON CONFLICT ({', '.join(KEYS)}) DO UPDATE SET "
        + ", ".join(f"{name} = excluded.{name}" for name in new)
        + " WHERE "
        + " OR ".join(f"{table}.{name} <> excluded.{name}" for name in compared)
    )


def _copy(rows: Iterable[tuple]) -> None:
    """PostgreSQL: stream into a scratch table, then upsert from it."""
    table = CellShift._meta.db_table
    names = ", ".join(COLUMNS)
    with connection.cursor() as cursor:
        cursor.execute(
            f"CREATE TEMPORARY TABLE fresh_account ON COMMIT DROP AS "
            f"SELECT {names} FROM {table} WITH NO DATA"
        )
        with cursor.copy(f"COPY fresh_account ({names}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        cursor.execute(_upsert(f"SELECT {names} FROM fresh_account"))
        cursor.execute("DROP TABLE fresh_account")
