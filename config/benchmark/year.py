"""A whole year, from the database to stored rows, beside the least it could cost.

Target: at most twice a bare DuckDB query over the same stops plus a bare write of as
many rows; and never more than 1.5 GiB of memory.
"""

from django.db import transaction

from config.benchmark import Say
from config.benchmark.home import manage
from config.benchmark.plant import SMALL, YEAR, make_plant
from config.benchmark.reference import (
    insist_on_equal_sums,
    make_bare_table,
    owned,
    stored_rows,
    write_bare,
)
from config.benchmark.timing import Took, run_apart, timed
from oee.recompute import bring_up_to_date, mark_all


def run(say: Say, *, small: bool) -> None:
    size = SMALL if small else YEAR
    make_plant(size)
    say(f"{size}")
    marking, marks = timed(mark_all)
    say(f"marking {marks:,} cell-shifts: {marking}")
    query, _ = owned()
    computing, done = timed(bring_up_to_date)
    again, sums = owned()
    if again.clock_s < query.clock_s:  # in its favour
        query = again
    rows = insist_on_equal_sums(sums)
    say(f"bringing {done:,} cell-shifts up to date: {computing}")
    say(f"DuckDB, the same seconds in all {rows:,} rows: {query}")
    write = _bare_write()
    say(f"a bare write of as many rows: {write}")
    say(f"ratio: {computing.over(query + write)} (at most 2)")
    (apart,) = run_apart(manage("compute_oee", "--all"))
    say(f"all of it once more, nothing changed: {apart.clock_s:.1f} s")
    say(f"peak memory of that process: {apart.peak_mib:,.0f} MiB (at most 1,536)")


def _bare_write() -> Took:
    rows = stored_rows()
    make_bare_table()
    with transaction.atomic():
        took, _ = timed(lambda: write_bare(rows))
    return took
