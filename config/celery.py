"""The queue's app and what runs by the clock.

Three processes: the worker (celery -A config worker), beat (celery -A config beat),
and whoever publishes. Never "worker -B": its beat outlives a killed worker.
"""

import os
from functools import cached_property
from zoneinfo import ZoneInfo

from celery import Celery
from celery.schedules import crontab

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")


class PlantNight(crontab):
    """A time of day on the plant's own clock, over both clock changes."""

    @cached_property
    def tz(self) -> ZoneInfo:
        # The apps are not loaded yet when this module is.
        from cells.models import Plant

        return Plant.current().zone


app = Celery("config")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(related_name="jobs")

app.conf.beat_schedule = {
    # Closes what shift ends, late corrections and lost messages left stale.
    "sweep": {"task": "oee.jobs.sweep", "schedule": 60.0, "options": {"expires": 55}},
    # Keeps the shifts stored eight weeks ahead.
    "extend shifts": {
        "task": "cells.jobs.extend_shifts",
        "schedule": PlantNight(hour=1, minute=10),
    },
    "update tasks": {
        "task": "maintenance.jobs.update_tasks",
        "schedule": PlantNight(hour=2, minute=0),
    },
}
