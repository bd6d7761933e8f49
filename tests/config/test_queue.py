"""The queue's app finds its jobs, and its jobs find their time."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine

from cells import attempts
from cells.models import Plant
from config.celery import PlantNight, app
from config.processes import Child
from tests.config.fragile import die_then_write
from tests.live import start_worker, wait_until
from tests.services import Services

SCHEDULE = app.conf.beat_schedule


def test_every_scheduled_job_exists() -> None:
    app.loader.import_default_modules()

    for entry in SCHEDULE.values():
        assert entry["task"] in app.tasks


@pytest.mark.django_db
@pytest.mark.parametrize(
    "name",
    # The sweep counts by line and date instead: tests/oee/test_pieces.py.
    sorted(entry["task"] for key, entry in SCHEDULE.items() if key != "sweep"),
)
def test_a_job_of_the_night_that_failed_three_times_is_set_aside(name: str) -> None:
    app.loader.import_default_modules()
    for _ in range(attempts.TRIES):
        attempts.begin({name: "It kills its worker"})

    app.tasks[name]()

    assert attempts.set_aside().get().piece == name


# Europe/Berlin goes to summer time on 2026-03-29 and back on 2026-10-25 (tzdata).
@pytest.mark.parametrize(
    ("now", "due"),
    [
        pytest.param("2026-03-28 12:00", "2026-03-29 00:10", id="before spring"),
        pytest.param("2026-03-29 12:00", "2026-03-29 23:10", id="after spring"),
        pytest.param("2026-10-24 12:00", "2026-10-24 23:10", id="before autumn"),
        pytest.param("2026-10-25 12:00", "2026-10-26 00:10", id="after autumn"),
    ],
)
@pytest.mark.django_db
def test_a_night_job_follows_the_plants_clock(now: str, due: str) -> None:
    Plant.objects.create(pk=1, name="Testwerk", time_zone="Europe/Berlin")
    began = datetime.fromisoformat(now).replace(tzinfo=UTC)
    with time_machine.travel(began, tick=False):
        left = PlantNight(hour=1, minute=10).remaining_estimate(began)

    assert (began + left).strftime("%Y-%m-%d %H:%M") == due


@pytest.mark.django_db
def test_a_night_job_follows_the_clock_of_a_demo(settings: Any) -> None:
    """Shifted to 23:00 UTC and 60 times as fast: 70 minutes in 70 real seconds."""
    Plant.objects.create(pk=1, name="Testwerk", time_zone="UTC")
    settings.CLOCK_OFFSET, settings.CLOCK_SPEED = 11 * 3600, 60
    real = datetime(2026, 3, 3, 12, tzinfo=UTC)
    settings.CLOCK_SINCE = int(real.timestamp())
    night = PlantNight(hour=0, minute=10)
    with time_machine.travel(real, tick=False) as clock:
        opened = night.now()
        waits = night.is_due(opened)
        clock.shift(70)
        comes = night.is_due(opened)

    assert opened == datetime(2026, 3, 3, 23, tzinfo=UTC)
    assert (waits.is_due, waits.next) == (False, 70)
    assert (comes.is_due, comes.next) == (True, 24 * 60)


def test_the_sweep_comes_every_minute_of_the_plant(settings: Any) -> None:
    sweep = app.conf.beat_schedule["sweep"]["schedule"]
    began = sweep.now()
    assert sweep.is_due(began - timedelta(seconds=61)) == (True, 60)

    settings.CLOCK_SPEED, settings.CLOCK_SINCE = 20, int(began.timestamp())
    assert sweep.is_due(sweep.now() - timedelta(seconds=61)) == (True, 3)
    # Never more often than once a real second, however fast the demo.
    settings.CLOCK_SPEED = 600
    assert sweep.is_due(sweep.now() - timedelta(seconds=61)) == (True, 1)


@pytest.mark.live
def test_a_worker_answers(worker: Child) -> None:
    answers = app.control.ping(timeout=5)

    assert [list(answer.values()) for answer in answers] == [[{"ok": "pong"}]]


@pytest.mark.live
def test_a_job_whose_process_is_killed_is_done_again(
    transactional_db: None, services: Services, tmp_path: Path
) -> None:
    attempts = tmp_path / "attempts"
    worker = start_worker(services, "--include", "tests.config.fragile")
    try:
        die_then_write.delay(str(attempts))
        wait_until(lambda: attempts.exists() and "done" in attempts.read_text())
    finally:
        worker.stop()

    assert attempts.read_text() == "died\ndone\n"
