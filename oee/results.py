"""The seam where the ledger's results become stored rows."""

import json
from collections.abc import Iterator

import numpy as np
import pandas as pd
from django.db import connection

from cells import clock
from cells.moments import to_seconds
from oee.inputs import Gathered
from oee.ledger.account import Accounts
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
    rows = list(_rows(gathered, accounts))
    if not rows:
        return 0
    if connection.vendor == "postgresql":
        _copy(rows)
    else:
        marks = ", ".join(["%s"] * len(COLUMNS))
        with connection.cursor() as cursor:
            cursor.executemany(_upsert(f"VALUES ({marks})"), rows)
    return len(rows)


def reason_seconds(gathered: Gathered, accounts: Accounts) -> dict[int, dict]:
    """Per cell-shift: {reason id: [own seconds, stops begun and times tallied]}."""
    stops = gathered.stops[["cell_shift", "reason", "times"]].assign(
        seconds=accounts.stop_owned_s
    )
    tallies = gathered.tallies[["index", "reason", "times"]].assign(
        seconds=accounts.tally_owned_s
    )
    both = pd.concat([stops, tallies.rename(columns={"index": "cell_shift"})])
    sums = both.groupby(["cell_shift", "reason"], sort=True)[["seconds", "times"]].sum()
    found: dict[int, dict] = {}
    for (cell_shift, reason), seconds, times in zip(
        sums.index, sums["seconds"].tolist(), sums["times"].tolist(), strict=True
    ):
        if seconds or times:
            found.setdefault(cell_shift, {})[str(reason)] = [int(seconds), int(times)]
    return found


def _rows(gathered: Gathered, accounts: Accounts) -> Iterator[tuple]:
    reasons = reason_seconds(gathered, accounts)
    moment = to_seconds(clock.now())
    keys = gathered.cell_shifts[["cell", "shift", "line", "area", "date"]]
    figures = [np.asarray(getattr(accounts, name)).tolist() for name in FIGURES]
    for index, (key, *values) in enumerate(
        zip(keys.itertuples(index=False, name=None), *figures, strict=True)
    ):
        yield (*key, *values, json.dumps(reasons.get(index, {})), moment)


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


def _copy(rows: list[tuple]) -> None:
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
