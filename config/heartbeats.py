"""Workers and the clock of the periodic jobs say that they are there.

Each writes a row of its own from the loop that does its work, so a loop that hangs
falls silent. It leaves its row when it is killed, and takes it along when it is
stopped.
"""

import logging
import socket
import time
from typing import Any

from celery.beat import PersistentScheduler
from celery.signals import beat_init, celeryd_init, heartbeat_sent, worker_shutdown
from django.core.exceptions import ImproperlyConfigured
from django.db import DatabaseError, connection
from django.db.models.functions import Now
from django.utils import timezone

from config import environment
from config.version import CODE

log = logging.getLogger(__name__)

PULSE_S = 15.0


class Pulse:
    """At most one row every PULSE_S seconds, however often it is asked."""

    def __init__(self) -> None:
        self._next = 0.0

    def beat(self, kind: str, name: str) -> None:
        if time.monotonic() < self._next:
            return
        self._next = time.monotonic() + PULSE_S
        try:
            say(kind, name)
        except DatabaseError as error:
            log.warning("The database does not take a heartbeat: %s", error)
        finally:
            # A worker's children must not inherit it.
            connection.close()


def say(kind: str, name: str) -> None:
    from config.models import Heartbeat

    Heartbeat.objects.bulk_create(
        [
            Heartbeat(
                kind=kind,
                name=name,
                host=socket.gethostname(),
                version=CODE,
                heard_at=Now(),
                said_at=timezone.now(),
            )
        ],
        update_conflicts=True,
        unique_fields=["name"],
        update_fields=["kind", "host", "version", "heard_at", "said_at"],
    )


def fall_silent(name: str) -> None:
    """On purpose: nobody has to wonder where it is."""
    from config.models import Heartbeat

    try:
        Heartbeat.objects.filter(name=name).delete()
    except DatabaseError as error:
        log.warning("The database does not take a farewell: %s", error)
    finally:
        connection.close()


class BeatingScheduler(PersistentScheduler):
    """Beat's own, with a pulse."""

    def __init__(self, *args: Any, **options: Any) -> None:
        self._pulse = Pulse()
        self._name = f"beat@{socket.gethostname()}"
        super().__init__(*args, **options)

    def tick(self, *args: Any, **options: Any) -> float:
        self._pulse.beat("beat", self._name)
        return min(super().tick(*args, **options), PULSE_S)

    def close(self) -> None:
        super().close()
        fall_silent(self._name)


_worker_pulse = Pulse()


def worker_is_there(sender: Any, **kwargs: Any) -> None:
    _worker_pulse.beat("worker", sender.eventer.hostname)


def worker_goes(sender: Any, **kwargs: Any) -> None:
    fall_silent(sender.hostname)


def insist_on_settings(**kwargs: Any) -> None:
    """Celery only logs an exception of a signal's, so this one ends the process."""
    try:
        environment.require_for_serving()
    except ImproperlyConfigured as error:
        raise SystemExit(f"Not started: {error}") from None


def register() -> None:
    """Called by the queue's app, which every one of these processes loads."""
    celeryd_init.connect(insist_on_settings)
    beat_init.connect(insist_on_settings)
    heartbeat_sent.connect(worker_is_there)
    worker_shutdown.connect(worker_goes)
