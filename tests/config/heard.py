"""Heartbeats as if the processes had written them."""

from datetime import timedelta

from django.db.models.functions import Now

from config import heartbeats
from config.models import Heartbeat

WORKER, BEAT = "worker1@line-host", "beat@office-host"


def heard(kind: str, name: str, ago_s: float = 1, *, clock_ahead_s: float = 0) -> None:
    """As if this process had said so itself so long ago."""
    heartbeats.say(kind, name)
    ago = timedelta(seconds=ago_s)
    Heartbeat.objects.filter(name=name).update(
        heard_at=Now() - ago,
        said_at=Now() - ago + timedelta(seconds=clock_ahead_s),
    )


def everyone_is_there() -> None:
    heard("worker", WORKER)
    heard("beat", BEAT)
