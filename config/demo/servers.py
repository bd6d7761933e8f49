"""The demo's processes: web server, worker, beat and, where none is named, a broker.

The broker starts first and stops last, so that none asks for one that is gone.
"""

import os
import signal
import sys
import time
from collections.abc import Sequence
from http import HTTPStatus
from http.client import HTTPConnection, HTTPException

from django.conf import settings
from django.core.management.base import CommandError
from django.urls import reverse

from config import broker
from config.demo.home import FOLDER
from config.processes import Child, free_port, is_free

CELERY = (sys.executable, "-m", "celery", "-A", "config")


class Servers:
    """Use as a context: on the way out, whatever happened, all of them are stopped."""

    def __init__(self) -> None:
        self.port = 0  # none yet
        self._children: list[Child] = []
        self._environment: dict[str, str] = {}
        self._broker: Child | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def __enter__(self) -> "Servers":
        return self

    def __exit__(self, *_: object) -> None:
        # A second Ctrl-C would leave behind whoever was not stopped yet.
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_IGN)
        for child in self._children:
            child.say_farewell()
        for child in self._children:
            child.stop()
        if self._broker:
            self._broker.stop()

    def start_broker(self) -> None:
        """At the address that home.environment() chose, unless one answers there."""
        if not broker.answers(settings.REDIS_URL):
            self._broker = broker.start_broker(FOLDER / "broker", settings.REDIS_URL)

    def start_web(self, port: int, *, speed: int = 1) -> None:
        """Listen on the port, or on the next one after it that is free.

        From now on the plant's clock runs at this speed, for whoever is started here.
        """
        self.port = next_free(port)
        self._environment = {
            **os.environ,
            "BASE_ADDRESS": self.address,
            "CLOCK_SINCE": str(int(time.time())),
            "CLOCK_SPEED": str(speed),
            "PYTHONUNBUFFERED": "1",
        }
        self._start("web", web_command(self.port))

    def start_jobs(self) -> None:
        """Once the plant is built: they would ask for it at once."""
        self._start("worker", worker_command(self.port))
        self._start("beat", BEAT)

    def start_life(self, which: str) -> None:
        """`which` plant, as ``config.demo.plants`` names it."""
        self._start("life", (sys.executable, "-m", "config.demo.life", which))

    def _start(self, name: str, command: Sequence[str]) -> None:
        log = FOLDER / f"{name}.log"
        child = Child(name, command, log=log, environment=self._environment)
        self._children.append(child)

    def wait_until_open(self, patience: float = 60) -> None:
        deadline = time.monotonic() + patience
        while not _answers(self.port):
            self.insist_that_all_run()
            if time.monotonic() > deadline:
                raise CommandError(
                    f"{self.address} did not answer within {patience:.0f} s. Its "
                    f"words are in {FOLDER / 'web.log'}."
                )
            time.sleep(0.1)

    def insist_that_all_run(self) -> None:
        for child in filter(None, [self._broker, *self._children]):
            if not child.runs:
                raise CommandError(
                    f"The {child.name} stopped. It said, in {child.log}:\n"
                    f"{child.last_words()}"
                )


def worker_command(port: int) -> tuple[str, ...]:
    return (
        *(*CELERY, "worker"),
        *("--concurrency", "1"),
        *("--loglevel", "INFO"),
        *("--hostname", f"demo-{port}@%h"),
    )


BEAT = (
    *(*CELERY, "beat"),
    *("--schedule", str(FOLDER / "beat-schedule")),
    *("--pidfile", ""),
    *("--loglevel", "INFO"),
)


def web_command(port: int) -> tuple[str, ...]:
    return (
        *(sys.executable, "-m", "gunicorn", "config.wsgi"),
        *("--config", "python:config.web_server"),
        *("--bind", f"127.0.0.1:{port}"),
    )


def next_free(port: int) -> int:
    """The port, or the first one after it that nobody listens on."""
    for candidate in range(port, min(port + 100, 65_536)):
        if is_free(candidate):
            return candidate
    return free_port()


def _answers(port: int) -> bool:
    """The sign-in page is there. A fault of the page's own is no answer."""
    connection = HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", reverse("login"))
        return connection.getresponse().status == HTTPStatus.OK
    except (OSError, HTTPException):
        return False
    finally:
        connection.close()
