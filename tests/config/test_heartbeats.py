"""Real workers and a real beat say that they are there, and take their leave."""

import re
import sys
from collections.abc import Iterator

import pytest

from config.models import Heartbeat
from config.processes import Child
from tests.live import child_environment, start_worker, wait_until
from tests.services import Services

pytestmark = [pytest.mark.live, pytest.mark.django_db(transaction=True)]


def names(kind: str) -> list[str]:
    return list(Heartbeat.objects.filter(kind=kind).values_list("name", flat=True))


def test_a_worker_is_there_until_it_is_stopped(services: Services) -> None:
    worker = start_worker(services, "--hostname", "worker7@line-host")
    try:
        wait_until(lambda: names("worker") == ["worker7@line-host"])
        said = Heartbeat.objects.get()
        assert re.fullmatch("[0-9a-f]{8}", said.version)
        assert abs(said.clock_error_s) < 2
    finally:
        worker.stop()

    assert names("worker") == []


@pytest.fixture
def beat(services: Services) -> Iterator[Child]:
    command = [
        *(sys.executable, "-m", "celery", "-A", "config", "beat"),
        *("--pidfile", "", "--schedule", str(services.directory / "beat-schedule")),
    ]
    child = Child(
        "beat",
        command,
        log=services.directory / "beat.log",
        environment=child_environment(),
    )
    yield child
    child.stop()


def test_beat_is_there_until_it_is_stopped(beat: Child) -> None:
    wait_until(lambda: len(names("beat")) == 1 or not beat.runs)
    assert beat.runs, beat.last_words()
    [name] = names("beat")
    assert name.startswith("beat@")

    beat.stop()

    assert names("beat") == []
