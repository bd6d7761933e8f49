"""The queue's app and what runs by the clock.

Three processes: the worker (celery -A config worker), beat (celery -A config beat),
and whoever publishes. Never "worker -B": its beat outlives a killed worker.
"""

import os
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from celery import Celery
from celery.schedules import crontab, schedstate, schedule

from cells import clock
from config import heartbeats

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")


#: Real seconds: no job is sent more often, however fast a demo's clock runs.
LEAST_S = 1.0


class ByThePlantsClock:
    """Of a schedule: it waits by the clock on the plant's wall.

    Beat sleeps in real seconds, of which a demo that runs faster has fewer.
    """

    def now(self) -> datetime:
        return clock.now()

    def is_due(self, last_run_at: datetime) -> schedstate:
        state = super().is_due(last_run_at)  # type: ignore[misc]
        return schedstate(state.is_due, clock.real_seconds(state.next, least=LEAST_S))


class PlantInterval(ByThePlantsClock, schedule):
    """Every so many seconds of the plant."""


class PlantNight(ByThePlantsClock, crontab):
    """A time of day, over both clock changes."""

    @cached_property
    def tz(self) -> ZoneInfo:
        # The apps are not loaded yet when this module is.
        from cells.models import Plant

        return Plant.current().zone


app = Celery("config")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(related_name="jobs")
heartbeats.register()

app.conf.beat_schedule = {
    # Closes what shift ends, late corrections and lost messages left stale. Without an
    # expiry, by which a worker whose clock is ahead would throw every one away.
    "sweep": {"task": "oee.jobs.sweep", "schedule": PlantInterval(60)},
    # Keeps the shifts stored eight weeks ahead.
    "extend shifts": {
        "task": "cells.jobs.extend_shifts",
        "schedule": PlantNight(hour=1, minute=10),
    },
    "forget sign-ins": {
        "task": "config.jobs.forget_sign_ins",
        "schedule": PlantNight(hour=3, minute=20),
    },
    "update tasks": {
        "task": "maintenance.jobs.update_tasks",
        "schedule": PlantNight(hour=2, minute=0),
    },
}
