"""Two workers on one year: target at most 0.6 of the time that one of them takes."""

from django.db import connection

from config.benchmark import Say
from config.benchmark.home import manage
from config.benchmark.plant import SMALL, YEAR, make_plant
from config.benchmark.timing import run_apart
from oee.models import CellShift
from oee.recompute import mark_all, waiting


def run(say: Say, *, small: bool) -> None:
    if connection.vendor == "sqlite":
        say("SQLite has one writer at a time, so a second worker waits for the first.")
        return
    size = SMALL if small else YEAR
    make_plant(size)
    say(f"{size}")
    one, two = (_clock_s(workers) for workers in (1, 2))
    say(f"one worker: {one:.1f} s, two at once: {two:.1f} s, their start included")
    say(f"ratio: {two / one:.2f} (at most 0.6)")


def _clock_s(workers: int) -> float:
    """From nothing stored to all of it."""
    with connection.cursor() as cursor:
        cursor.execute(f"TRUNCATE {CellShift._meta.db_table}")
    mark_all()
    took = run_apart(*[manage("compute_oee")] * workers)
    if left := waiting():
        raise AssertionError(f"{left} cell-shifts are still to be computed.")
    return max(one.clock_s for one in took)
