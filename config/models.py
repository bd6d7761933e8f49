"""What the installation knows of itself: who runs, and what was backed up."""

from django.db import models

from cells.moments import MomentField


class Heartbeat(models.Model):
    """A process that works in the background, by its own word of seconds ago.

    In the database, so that it outlives a queue that lost its data. Real time, to the
    fraction: this is about machines, whatever the plant's clock shows.
    """

    class Kind(models.TextChoices):
        WORKER = "worker", "worker"
        BEAT = "beat", "clock of the periodic jobs"

    kind = models.CharField(max_length=10, choices=Kind.choices)
    name = models.CharField(max_length=200, unique=True)
    host = models.CharField(max_length=200)
    version = models.CharField(max_length=20)
    heard_at = models.DateTimeField(help_text="By the database's clock.")
    said_at = models.DateTimeField(help_text="By its own clock, at the same moment.")

    class Meta:
        ordering = ["kind", "name"]

    def __str__(self) -> str:
        return self.name

    @property
    def clock_error_s(self) -> float:
        """How far its clock is ahead of the database's; behind is negative."""
        return (self.said_at - self.heard_at).total_seconds()


class Backup(models.Model):
    """A backup that was written from this database."""

    host = models.CharField(max_length=200)
    path = models.CharField(max_length=500)
    taken_at = MomentField()
    size = models.BigIntegerField(help_text="Bytes.")
    sha256 = models.CharField(max_length=64)
    restored_at = MomentField(
        null=True, help_text="When it was last restored on trial; empty: never."
    )

    class Meta:
        ordering = ["-taken_at", "-id"]

    def __str__(self) -> str:
        return f"{self.host}:{self.path}"
