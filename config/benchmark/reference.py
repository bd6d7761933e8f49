"""What the same work costs at the least: DuckDB over the same file, and a bare write.

DuckDB scans the stops in the benchmark's own database, by its extension for it, and
computes who owns which second, class by class. Its sums are compared with the stored
ones, so the reference cannot be cheap by being wrong.
"""

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

import numpy as np
from django.db import connection

from config.benchmark.scanning import scan
from config.benchmark.timing import Took
from maintenance.models import Tally
from oee.inputs.reading import fetch
from oee.ledger.classes import LOSS_CLASSES
from oee.models import CellShift
from oee.results import COLUMNS

#: Breaks come before everything, then the classes in their order.
LEVELS = range(len(LOSS_CLASSES) + 1)

CLAIMS = """
WITH places AS MATERIALIZED (
  SELECT cell.id AS cell, shift.id AS shift, shift.starts_at AS a, shift.ends_at AS b,
         row_number() OVER (PARTITION BY cell.id ORDER BY shift.starts_at) AS n
  FROM plant.cells_cell AS cell JOIN plant.cells_shift AS shift USING (line_id)
), reasons AS (
  SELECT id AS reason_id, list_position({classes}, loss_class) AS level
  FROM plant.maintenance_reason
), claims AS (
  SELECT cell_id AS cell, started_at AS a, ended_at AS b, level
  FROM plant.maintenance_stop JOIN reasons USING (reason_id) WHERE NOT withdrawn
  UNION ALL
  SELECT cell, rest.starts_at, rest.ends_at, 0
  FROM plant.cells_shiftbreak AS rest JOIN places ON rest.shift_id = shift
  WHERE NOT EXISTS (
    SELECT 1 FROM plant.cells_workedbreak AS worked
    WHERE NOT worked.withdrawn AND worked.cell_id = cell
      AND worked.shift_id = shift AND worked.break_start = rest.starts_at
  )
  UNION ALL
  SELECT cell.id, stop.starts_at, stop.ends_at, 1
  FROM plant.maintenance_plannedstop AS stop
  JOIN plant.cells_line AS line ON line.id = stop.line_id OR line.area_id = stop.area_id
  JOIN plant.cells_cell AS cell ON cell.line_id = line.id
  WHERE NOT stop.withdrawn
), begun AS (
  SELECT claims.cell, claims.a, claims.b, level, n, shift, place.b AS until
  FROM claims ASOF JOIN places AS place
    ON claims.cell = place.cell AND claims.a >= place.a
), parts AS (
  SELECT cell, shift, a, least(b, until) AS b, level FROM begun WHERE a < until
  UNION ALL
  SELECT later.cell, later.shift, later.a, least(over.b, later.b), level
  FROM begun AS over JOIN places AS later
    ON later.cell = over.cell AND later.n > over.n AND later.a < over.b
  WHERE over.b > until
), looked AS (
  SELECT *, max(b) OVER before AS reached,
         lead(a) OVER (PARTITION BY cell, shift ORDER BY a) AS following
  FROM parts
  WINDOW before AS (PARTITION BY cell, shift ORDER BY a
                    ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING)
), judged AS (
  SELECT cell, shift, a, b, level,
         coalesce(reached <= a, true) AND coalesce(following >= b, true) AS alone
  FROM looked
), joined AS (
  SELECT cell, shift, {unions}
  FROM judged WHERE NOT alone
  WINDOW before AS (PARTITION BY cell, shift ORDER BY a
                    ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING)
), owned AS (
  SELECT cell, shift, {of_alone} FROM judged WHERE alone
  UNION ALL
  SELECT cell, shift, {of_joined} FROM joined
)
SELECT cell, shift, {sums} FROM owned GROUP BY cell, shift ORDER BY shift, cell
"""
# What a claim adds to the union of all claims up to a level.
ADDS = (
    "CASE WHEN level <= {k} THEN greatest(0, b - greatest(a, coalesce("
    "max(CASE WHEN level <= {k} THEN b END) OVER before, 0))) ELSE 0 END AS u{k}"
)


def ownership_query() -> str:
    """Claims that overlap no other own all they cover: only the rest is compared."""
    return CLAIMS.format(
        classes=list(LOSS_CLASSES),
        unions=", ".join(ADDS.format(k=k) for k in LEVELS),
        of_alone=", ".join(
            f"CASE WHEN level = {k} THEN b - a ELSE 0 END AS s{k}" for k in LEVELS
        ),
        of_joined=", ".join(f"u{k} - u{k - 1}" if k else "u0" for k in LEVELS),
        sums=", ".join(f"sum(s{k})::BIGINT AS s{k}" for k in LEVELS),
    )


def owned() -> tuple[Took, dict[str, Any]]:
    """Columns: cell, shift and the seconds of each level; and how long that took.

    In a process of its own: two SQLites in one process take each other's locks away.
    """
    sqlite = connection.vendor == "sqlite"
    name = "sqlite_scanner" if sqlite else "postgres_scanner"
    where = connection.settings_dict
    source = f"host={where['HOST']} user={where['USER']} dbname={where['NAME']}"
    attach = (
        f"ATTACH '{where['NAME'] if sqlite else source}' AS plant "
        f"(TYPE {'sqlite' if sqlite else 'postgres'}, READ_ONLY)"
    )
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as apart:
        return apart.submit(scan, name, attach, ownership_query()).result()


def insist_on_equal_sums(sums: dict[str, Any]) -> int:
    """The reference has the stored seconds, all of them. Returns how many rows.

    But for minor stops of cell-shifts with a tally, which is of that class here.
    """
    columns = [
        "cell_id",
        "shift_id",
        "break_s",
        *(f"{name}_s" for name in LOSS_CLASSES),
    ]
    rows = CellShift.objects.order_by("shift_id", "cell_id").values_list(*columns)
    stored = np.array(list(rows), np.int64)
    found = np.column_stack(
        [sums["cell"], sums["shift"], *(sums[f"s{k}"] for k in LEVELS)]
    )
    tallied = set(Tally.objects.values_list("cell_id", "shift_id"))
    minor = columns.index("minor_s")
    for row in np.flatnonzero(stored[:, minor] != found[:, minor]):
        if tuple(stored[row, :2].tolist()) in tallied:
            found[row, minor] = stored[row, minor]
    if not np.array_equal(stored, found):
        raise AssertionError("The reference and the stored ledger differ.")
    return len(stored)


def stored_rows() -> list[tuple]:
    """All result rows, plain enough to be written as they are."""
    rows = fetch(CellShift.objects.all(), COLUMNS).astype({"production_date": str})
    if connection.vendor == "sqlite":
        rows["counted"] = rows["counted"].astype("int64")
    return list(zip(*(rows[name].tolist() for name in COLUMNS), strict=True))


def make_bare_table() -> None:
    """The columns of the stored ledger, without key, index or condition."""
    names = ", ".join(COLUMNS)
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS bare")
        cursor.execute(
            f"CREATE TABLE bare AS SELECT {names} FROM oee_cellshift WHERE 1 = 0"
        )


def write_bare(rows: Any) -> None:
    names = ", ".join(COLUMNS)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY bare ({names}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join("?" * len(COLUMNS))
            cursor.connection.executemany(f"INSERT INTO bare VALUES ({marks})", rows)
