"""What do a ranking and a table of OEE cost beside bare SQL over the same rows?

Measured in turns, each by its median, and without the cache that pages have.
"""

import time
from collections.abc import Callable
from datetime import date, timedelta
from statistics import median
from typing import Any

from django.db import connection
from django.utils import timezone

from cells.csv_files import write_rows
from config.benchmark import Say
from config.benchmark.plant import SMALL, YEAR, make_plant
from oee.models import CellShift
from oee.ranking import Ranked, Ranking, rank
from oee.recompute import bring_up_to_date, mark_all
from oee.reports import Rolled, roll_up
from oee.result_files import CELL_SHIFTS_HEADER, cell_shift_rows
from oee.rollups import SECONDS

TURNS = 7
TOP = 20
TABLE = CellShift._meta.db_table
DATES = "production_date BETWEEN %s AND %s"
COUNTING = "cell_id IN (SELECT counting_cell_id FROM cells_line)"
BUSY = "scheduled_s - break_s - planned_s > 0"


def run(say: Say, *, small: bool) -> None:
    size = SMALL if small else YEAR
    if CellShift.objects.count() != size.cell_shifts:
        make_plant(size)
        mark_all()
        bring_up_to_date()
    last = timezone.now().date() - timedelta(days=1)

    def since(days: int) -> dict[str, date]:
        return {"first": last - timedelta(days=days - 1), "last": last}

    def beside(name: str, ours: Callable, sql: str, days: int, turns: int) -> None:
        ours_s, bare_s = in_turns(ours, sql, list(since(days).values()), turns)
        say(
            f"{name}: {ours_s * 1000:.0f} ms, bare SQL {bare_s * 1000:.0f} ms, "
            f"{ours_s / bare_s:.1f} ×"
        )

    by_cell, by_area = sums_of("cell_id"), sums_of("area_id, production_date", COUNTING)
    every = f"SELECT * FROM {TABLE} WHERE {DATES}"
    beside("top 20 of 30 days", lambda: top(**since(30)), by_cell, 30, TURNS)
    beside(
        "area × day of 90 days",
        lambda: by_day(**since(90)),
        by_area,
        90,
        TURNS,
    )
    beside("top 20 of a year", lambda: top(**since(365)), by_cell, 365, 3)
    beside("rank_cells, a year", lambda: rank(**since(365)), by_cell, 365, 3)
    beside("export_cell_shifts, a year", lambda: export(**since(365)), every, 365, 1)


def in_turns(
    ours: Callable[[], Any], sql: str, values: list[Any], turns: int
) -> tuple[float, float]:
    """Seconds of both, after each was done once."""
    if turns > 1:
        ours()
        bare(sql, values)
    taken = [(clocked(ours), clocked(lambda: bare(sql, values))) for _ in range(turns)]
    return median(a for a, _ in taken), median(b for _, b in taken)


def clocked(work: Callable[[], Any]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def bare(sql: str, values: list[Any]) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.fetchall()


def sums_of(keys: str, only: str = "1 = 1") -> str:
    sums = ", ".join(f"SUM({name})" for name in SECONDS)
    return (
        f"SELECT {keys}, {sums} FROM {TABLE} WHERE {DATES} AND {only} AND {BUSY} "
        f"GROUP BY {keys}"
    )


def top(*, first: date, last: date) -> list[Ranked]:
    """With what each of them lost the time to, as the page shows it."""
    ranking = Ranking(first=first, last=last)
    return ranking.explained(ranking.placed()[:TOP])


def by_day(*, first: date, last: date) -> list[Rolled]:
    return roll_up(by="area", every="day", first=first, last=last)


class Nowhere:
    def write(self, text: str) -> object:
        return None


def export(*, first: date, last: date) -> None:
    write_rows(Nowhere(), CELL_SHIFTS_HEADER, cell_shift_rows(first=first, last=last))
