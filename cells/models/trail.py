"""Who changed what, and which cell-shifts wait to be computed again."""

from django.conf import settings
from django.db import models

from cells.models.calendar import Shift
from cells.models.floor import Cell
from cells.moments import MomentField


class Change(models.Model):
    """One field of one record, before and after. Only ever added to."""

    at = MomentField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True
    )
    door = models.CharField(
        max_length=20, default="page", help_text="page, import, job or admin"
    )
    kind = models.CharField(max_length=40, help_text="The model, like stop.")
    record_id = models.BigIntegerField()
    record = models.CharField(max_length=200, help_text="What people call it.")
    field = models.CharField(max_length=40)
    old = models.TextField(blank=True)
    new = models.TextField(blank=True)
    why = models.TextField(blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [
            # A record's own trail, and the newest changes of all.
            models.Index(fields=["kind", "record_id", "at"], name="change_record"),
            models.Index(fields=["at"], name="change_at"),
        ]

    def __str__(self) -> str:
        return f"{self.record} {self.field}: {self.old} → {self.new}"


class StaleMark(models.Model):
    """An input of this cell-shift changed. Only added, then removed by its id.

    A mark that is added while the ledger computes has an id the ledger has not
    read, so it stays and the cell-shift is computed once more.
    """

    # The index below serves both; one more would make marking slower.
    cell = models.ForeignKey(Cell, on_delete=models.CASCADE, db_index=False)
    shift = models.ForeignKey(Shift, on_delete=models.CASCADE, db_index=False)
    marked_at = MomentField()

    class Meta:
        # The sweep joins marks to shifts that have ended.
        indexes = [models.Index(fields=["shift", "cell"], name="stale_shift_cell")]

    def __str__(self) -> str:
        return f"{self.cell} {self.shift}"
