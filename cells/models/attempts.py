"""What jobs have begun and not finished."""

from django.db import models

from cells.moments import MomentField


class Attempt(models.Model):
    """A piece of work that is being tried or that failed; removed once it is done.

    Its moments are real ones: how a process fares is nothing of the plant's.
    """

    piece = models.CharField(max_length=100, unique=True)
    words = models.CharField(max_length=200, help_text="What people call it.")
    tries = models.PositiveSmallIntegerField()
    began_at = MomentField(help_text="The last try.")
    process = models.CharField(max_length=200, help_text="Host and process.")
    server = models.CharField(
        max_length=40, blank=True, help_text="Since when the database's server ran."
    )
    fault = models.TextField(blank=True, help_text="What the last try said, if it did.")
    set_aside_at = MomentField(null=True, blank=True)

    class Meta:
        ordering = ["began_at", "piece"]

    def __str__(self) -> str:
        return self.words
