"""From a verb to the stored ledger: by message, by sweep, and with no broker at all."""

import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from threading import Event
from typing import Any

import pytest
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import connection, transaction

from cells.models import Cell, Line, Shift, StaleMark
from config.celery import app
from maintenance.models import Stop
from maintenance.stops import log_stop, withdraw_stop
from oee.jobs import recompute, sweep
from oee.management.commands import compute_oee
from oee.models import CellShift
from oee.recompute import mark_all, waiting
from tests.builders import at, make_area, make_cell, make_line, make_plant
from tests.live import child_environment, start_worker, wait_until
from tests.oee.worked import plan_shift, reason_of, said
from tests.services import Services

#: Long over, whatever the clock of the machine and of its worker says.
LONG_AGO = date(2024, 3, 4)


@pytest.fixture
def shift(transactional_db: None) -> Shift:
    """Of a line of two cells. What its verbs send waits at the real broker."""
    make_plant()
    line = make_line(area=make_area())
    for order in (10, 20):
        make_cell(f"L1-{order}", line=line, order=order)
    shift = plan_shift(line, at("06:00", LONG_AGO), at("14:00", LONG_AGO))
    app.control.purge()
    return shift


def stop_the_first_cell(shift: Shift) -> Stop:
    return log_stop(
        cell=Cell.objects.get(code="L1-10"),
        reason=reason_of("breakdown"),
        started_at=at("07:00", LONG_AGO),
        ended_at=at("07:20", LONG_AGO),
        by=None,
    )


def stored_breakdown_s() -> dict[str, int]:
    return dict(CellShift.objects.values_list("cell__code", "breakdown_s"))


def test_a_message_that_was_thrown_away_is_healed_by_the_sweep(shift: Shift) -> None:
    stop_the_first_cell(shift)
    assert app.control.purge() == 1
    assert stored_breakdown_s() == {}

    sweep()

    assert stored_breakdown_s() == {"L1-10": 1200, "L1-20": 0}
    assert waiting() == 0


def test_a_verb_that_fails_sends_no_message_and_leaves_no_mark(shift: Shift) -> None:
    stop_the_first_cell(shift)
    app.control.purge()
    sweep()
    with pytest.raises(ValidationError, match="is not after the start"):
        log_stop(
            cell=Cell.objects.get(code="L1-10"),
            reason=reason_of("breakdown"),
            started_at=at("08:00", LONG_AGO),
            ended_at=at("07:30", LONG_AGO),
            by=None,
        )
    assert app.control.purge() == 0
    assert not StaleMark.objects.exists()


def test_the_same_job_twice_at_once_changes_nothing(shift: Shift) -> None:
    stop_the_first_cell(shift)
    mark_all()
    recompute()
    once = list(CellShift.objects.order_by("id").values())
    mark_all()

    with ThreadPoolExecutor(2) as pool:
        computed = list(pool.map(in_a_thread, [recompute, recompute]))

    # What one of them finds locked or done, it leaves to the other.
    assert sorted(computed) == [0, 2]
    assert list(CellShift.objects.order_by("id").values()) == once
    assert waiting() == 0


def test_the_command_waits_for_a_line_that_a_worker_is_at(
    shift: Shift, monkeypatch: pytest.MonkeyPatch
) -> None:
    if connection.vendor == "sqlite":
        pytest.skip("SQLite has no lock on a row: it makes every writer wait.")
    locked, waited = Event(), Event()

    def hold_the_line() -> None:
        with transaction.atomic():
            Line.objects.select_for_update(no_key=True).get()
            locked.set()
            assert waited.wait(30)

    monkeypatch.setattr(compute_oee.time, "sleep", lambda _: waited.set())
    with ThreadPoolExecutor(1) as pool:
        worker = pool.submit(in_a_thread, hold_the_line)
        assert locked.wait(30)
        # Storing shifts to come asks for the same line; here it is not the question.
        monkeypatch.setattr(compute_oee.shifts, "extend", lambda today: [])
        words = said("compute_oee")
        worker.result()

    assert words.endswith("2 cell-shifts computed.\n")
    assert waiting() == 0


def in_a_thread(job: Callable[[], Any]) -> Any:
    try:
        return job()
    finally:
        connection.close()


@pytest.mark.live
def test_a_worker_sweeps_what_it_never_heard_of_and_hears_of_the_next(
    shift: Shift, services: Services
) -> None:
    stop = stop_the_first_cell(shift)
    assert app.control.purge() == 1
    worker = start_worker(services)
    try:
        sweep.apply_async()
        wait_until(lambda: stored_breakdown_s() == {"L1-10": 1200, "L1-20": 0})

        withdraw_stop(stop=stop, why="wrong cell", by=None)
        wait_until(lambda: stored_breakdown_s() == {"L1-10": 0, "L1-20": 0})
    finally:
        worker.stop()
    assert waiting() == 0


# Runs in a process of its own: this one knows a broker that answers.
WITHOUT_A_BROKER = """
import django
django.setup()
from django.core.management import call_command
from cells.models import Shift, StaleMark
from tests.oee.test_jobs import stop_the_first_cell
StaleMark.objects.all().delete()
stop_the_first_cell(Shift.objects.get())
print(*StaleMark.objects.values_list("cell__code", flat=True))
call_command("compute_oee")
"""


@pytest.mark.live
def test_without_a_broker_a_verb_and_a_command_still_succeed(shift: Shift) -> None:
    unreachable = {"REDIS_URL": "redis://127.0.0.1:1/0"}

    child = subprocess.run(
        [sys.executable, "-c", WITHOUT_A_BROKER],
        cwd=settings.BASE_DIR,
        env={**child_environment(), **unreachable},
        capture_output=True,
        text=True,
        check=False,
    )

    assert child.returncode == 0, child.stderr
    assert child.stdout == "L1-10\n"
    assert "the sweep computes what is stale." in child.stderr
    assert child.stderr.endswith("1 cell-shift computed.\n")
    assert stored_breakdown_s() == {"L1-10": 1200}
    assert waiting() == 0
