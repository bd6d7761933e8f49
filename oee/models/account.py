"""The stored ledger: one row per cell and shift that has ended."""

from django.db import models

from cells.models import Area, Cell, Line, Shift
from cells.moments import MomentField


class CellShift(models.Model):
    """Seconds by owner. Written by the ledger's job only; pages read sums.

    What follows from these columns (busy, run, slow, reject, own lost, the
    factors) is derived from them in one place and never stored. Line, area and
    date are copies that let a roll-up read one index.
    """

    # Only the indexes below: every one more makes storing a year slower.
    cell = models.ForeignKey(
        Cell, on_delete=models.CASCADE, related_name="accounts", db_index=False
    )
    shift = models.ForeignKey(
        Shift, on_delete=models.CASCADE, related_name="accounts", db_index=False
    )
    line = models.ForeignKey(Line, on_delete=models.CASCADE, db_index=False)
    area = models.ForeignKey(Area, on_delete=models.CASCADE, db_index=False)
    production_date = models.DateField()

    scheduled_s = models.IntegerField()
    break_s = models.IntegerField()
    planned_s = models.IntegerField()
    planned_late_s = models.IntegerField()
    breakdown_s = models.IntegerField()
    setup_s = models.IntegerField()
    quality_hold_s = models.IntegerField()
    minor_s = models.IntegerField()
    people_s = models.IntegerField()
    supply_s = models.IntegerField()
    utilities_s = models.IntegerField()
    blocked_s = models.IntegerField()
    starved_s = models.IntegerField()
    counted = models.BooleanField(
        help_text="No: nothing was counted, or an ideal cycle is missing."
    )
    made = models.IntegerField()
    good = models.IntegerField()
    # Exact millionths of a second; 0 where not counted, and then unknown.
    ideal_total_us = models.BigIntegerField()
    ideal_good_us = models.BigIntegerField()
    flags = models.IntegerField(help_text="Bits of oee.ledger.flags.Flag.")
    # {reason id: [own seconds, stops begun + times tallied]}: lets a ranking name
    # the top reason from the same rows it sums.
    reasons = models.JSONField(default=dict)
    computed_at = MomentField()

    class Meta:
        ordering = ["production_date", "shift", "cell"]
        constraints = [
            # In the order in which the ledger's job writes them.
            models.UniqueConstraint(
                fields=["shift", "cell"], name="one_account_per_cell_and_shift"
            )
        ]
        indexes = [
            # Roll-ups of a period, of the plant, an area or a line.
            models.Index(
                fields=["production_date", "area", "line"], name="account_date_place"
            ),
            # A cell's own history.
            models.Index(fields=["cell", "production_date"], name="account_cell_date"),
        ]

    def __str__(self) -> str:
        return f"{self.cell} {self.shift}"
