"""From a corrected stop to the stored ledger and its page, with a real worker.

Target: under 2 s, and the same on a month as on five years of history.
"""

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from statistics import median

from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from cells.models import Shift, StaleMark
from config.benchmark import Say
from config.benchmark.home import FOLDER
from config.benchmark.plant import Size, make_plant
from config.processes import Child
from maintenance.models import Stop
from maintenance.stops import correct_stop
from oee.recompute import bring_up_to_date, mark_all

CELLS = 30  # a cell's own history is what could be in the way
HISTORIES = (Size(cells=CELLS, days=30), Size(cells=CELLS, days=5 * 365))
SMALL = (Size(cells=10, days=5), Size(cells=10, days=10))
WORKER = (
    *(sys.executable, "-m", "celery", "-A", "config", "worker"),
    *("--concurrency", "1", "--loglevel", "INFO", "--hostname", "benchmark@%h"),
)
PATIENCE_S = 60


def run(say: Say, *, small: bool) -> None:
    short, long = (
        _latency(size, say, small) for size in (SMALL if small else HISTORIES)
    )
    say(f"ratio of the longer history to the shorter: {long / short:.2f}")


def _latency(size: Size, say: Say, small: bool) -> float:
    """Seconds to the stored ledger, the median of some stops all over the history."""
    make_plant(size)
    mark_all()
    bring_up_to_date()
    by = User.objects.create(username="benchmark", is_superuser=True, is_staff=True)
    stops = Stop.objects.filter(withdrawn=False).order_by("id")
    chosen = stops[:: max(1, size.stops // (3 if small else 20))]
    with _worker():
        found = [_follow(stop, by) for stop in chosen]
    stored, shown = (median(times) for times in zip(*found, strict=True))
    say(f"{size}")
    say(
        f"median of {len(found)} corrected stops: in the ledger after {stored:.3f} s, "
        f"on the page after {shown:.3f} s (at most 2); longest "
        f"{max(after for _, after in found):.3f} s"
    )
    return stored


def _follow(stop: Stop, by: User) -> tuple[float, float]:
    shift = Shift.objects.get(
        line=stop.cell.line,
        starts_at__lte=stop.started_at,
        ends_at__gt=stop.started_at,
    )
    page = Client()
    page.force_login(by, backend="django.contrib.auth.backends.ModelBackend")
    began = time.perf_counter()
    correct_stop(
        stop=stop,
        changes={"ended_at": stop.started_at + timedelta(seconds=stop.length_s + 1)},
        why="Measured anew",
        by=by,
    )
    while StaleMark.objects.filter(cell=stop.cell_id, shift=shift).exists():
        if time.perf_counter() - began > PATIENCE_S:
            raise AssertionError("The worker did not compute a corrected stop.")
        time.sleep(0.005)
    stored = time.perf_counter() - began
    address = reverse(
        "cell_shift",
        args=[stop.cell.code, shift.production_date, shift.name],
    )
    answer = page.get(address, headers={"host": "localhost"})
    if answer.status_code != 200:
        raise AssertionError(f"{address} answered {answer.status_code}.")
    return stored, time.perf_counter() - began


@contextmanager
def _worker() -> Iterator[None]:
    worker = Child("worker", WORKER, log=FOLDER / "worker.log")
    try:
        deadline = time.monotonic() + PATIENCE_S
        while " ready." not in worker.last_words(100):
            if not worker.runs or time.monotonic() > deadline:
                raise RuntimeError(f"No worker. It said:\n{worker.last_words()}")
            time.sleep(0.05)
        yield
    finally:
        worker.stop()
