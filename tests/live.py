"""A real worker, for the few tests that ask whether the parts find each other."""

import os
import sys
import time
from collections.abc import Callable, Iterator
from urllib.parse import quote

import pytest

from config.processes import Child
from tests.services import Services

WORKER = [
    *(sys.executable, "-m", "celery", "-A", "config", "worker"),
    *("--pool", "prefork", "--concurrency", "1", "--loglevel", "INFO"),
    *("--without-gossip", "--without-mingle"),
]


def database_url() -> str:
    """The database that the running test writes, as a child process names it."""
    from django.db import connection

    where = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{where['NAME']}"
    host = quote(where["HOST"], safe="")
    return f"postgresql://{where['USER']}@{host}/{where['NAME']}"


def child_environment() -> dict[str, str]:
    return {**os.environ, "DATABASE_URL": database_url(), "PYTHONUNBUFFERED": "1"}


def wait_until(question: Callable[[], bool], seconds: float = 60) -> None:
    """Ask again until it is so. For what other processes do, not for the clock."""
    deadline = time.monotonic() + seconds
    while not question():
        assert time.monotonic() < deadline, f"It was not so within {seconds} s."
        time.sleep(0.05)


def start_worker(services: Services, *options: str) -> Child:
    """A worker on the test database and the test broker, ready for messages."""
    log = services.directory / f"worker-{len(list(services.directory.iterdir()))}.log"
    worker = Child(
        "worker", [*WORKER, *options], log=log, environment=child_environment()
    )
    wait_until(lambda: " ready." in worker.last_words(200) or not worker.runs)
    assert worker.runs, worker.last_words()
    return worker


@pytest.fixture
def worker(transactional_db: None, services: Services) -> Iterator[Child]:
    child = start_worker(services)
    yield child
    child.stop()
