"""The drill's processes. Each can be killed and started again."""

import contextlib
import os
import shutil
import signal
import sys
import time
from collections.abc import Callable
from http import HTTPStatus
from pathlib import Path

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection

from config import broker
from config.drill import home
from config.drill.browser import Browser, NoAnswer
from config.postgresql import start_postgresql
from config.processes import Child, free_port

CELERY = (sys.executable, "-m", "celery")
WORKER = (
    *("-A", "config", "worker"),
    *("--concurrency", "1"),
    *("--loglevel", "INFO"),
    *("--include", "config.drill.poison"),
)


class Servers:
    """Use as a context: on the way out, whatever happened, all of them are stopped."""

    def __init__(self) -> None:
        self.port = free_port()
        self._children: dict[str, Child] = {}
        self._logs = 0
        self.fell: list[str] = []  # who ended by itself

    def __enter__(self) -> "Servers":
        return self

    def __exit__(self, *_: object) -> None:
        for name in ("web", "beat", *self._workers(), "broker", "database"):
            self.stop(name)

    def start(self, name: str) -> None:
        self._children[name] = self._starts(name)()

    def stop(self, name: str) -> None:
        if child := self._children.pop(name, None):
            child.stop()

    def kill(self, name: str) -> None:
        """At once, with its own children."""
        self._children.pop(name).kill()

    def kill_a_child_of(self, name: str) -> None:
        """The process in which a job or a request runs; its parent lives on."""
        pid = self._children[name].pid
        born = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        for number in born[:1]:
            with contextlib.suppress(ProcessLookupError):
                os.kill(int(number), signal.SIGKILL)

    def empty_the_broker(self) -> None:
        self.kill("broker")
        shutil.rmtree(home.FOLDER / "broker")

    def crash_the_database(self) -> None:
        """As a kill, but for its own children: they end too, and nothing is written."""
        child = self._children.pop("database")
        os.kill(child.pid, signal.SIGQUIT)
        child.stop()

    def start_again_who_fell(self) -> None:
        """As a supervisor does; and they are named in the end."""
        for name, child in list(self._children.items()):
            if not child.runs:
                self.fell.append(f"{name}: {child.last_words(3)}")
                self.start(name)

    def wait_until_open(self, patience: float = 60) -> None:
        deadline = time.monotonic() + patience
        while time.monotonic() < deadline:
            with contextlib.suppress(NoAnswer):
                if Browser(self.port).get("/sign-in/").status == HTTPStatus.OK:
                    return
            time.sleep(0.1)
        raise CommandError(f"The web server did not answer within {patience:.0f} s.")

    def _workers(self) -> list[str]:
        return [name for name in self._children if "worker" in name]

    def _starts(self, name: str) -> Callable[[], Child]:
        if name == "database":
            folder = home.socket_folder()
            return lambda: start_postgresql(folder, hasty=False)[0]
        if name == "broker":
            where = home.FOLDER / "broker"
            return lambda: broker.start_broker(where, settings.REDIS_URL)
        # Each start has a log of its own, or the last would hide why another fell.
        self._logs += 1
        log = home.FOLDER / f"{name.replace(' ', '-')}-{self._logs}.log"
        return lambda: Child(name, self._command(name), log=log, environment=os.environ)

    def _command(self, name: str) -> tuple[str, ...]:
        host = ("--hostname", f"{name.replace(' ', '-')}@%h")
        if name == "web":
            return (
                *(sys.executable, "-m", "gunicorn", "config.wsgi"),
                *("--bind", f"127.0.0.1:{self.port}"),
                *("--workers", "2", "--threads", "4"),
                *("--preload", "--no-control-socket"),
            )
        if name == "beat":
            schedule = ("--schedule", str(home.FOLDER / "beat-schedule"))
            return (*CELERY, "-A", "config", "beat", *schedule, "--pidfile", "")
        if name == "wrong worker":
            hour = (sys.executable, "-m", "config.drill.wrong_clock", "3600")
            return (*hour, *WORKER, *host)
        return (*CELERY, *WORKER, *host)


def has_a_server() -> bool:
    return connection.vendor == "postgresql"
