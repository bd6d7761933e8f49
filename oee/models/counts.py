"""What is built, how fast at best, and how many were."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils.http import urlencode

from cells.models import Cell, Line, Shift
from cells.moments import MomentField


class Variant(models.Model):
    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class IdealCycle(models.Model):
    """Seconds per body of a variant in a cell, from a date until the next one."""

    cell = models.ForeignKey(
        Cell, on_delete=models.PROTECT, related_name="ideal_cycles"
    )
    variant = models.ForeignKey(
        Variant, on_delete=models.PROTECT, related_name="ideal_cycles"
    )
    seconds = models.DecimalField(max_digits=12, decimal_places=6)
    valid_from = models.DateField()

    class Meta:
        ordering = ["cell", "variant", "valid_from"]
        constraints = [
            models.UniqueConstraint(
                fields=["cell", "variant", "valid_from"],
                name="one_ideal_cycle_per_cell_variant_and_date",
            ),
            models.CheckConstraint(
                condition=Q(seconds__gt=0),
                name="an_ideal_cycle_takes_time",
                violation_error_message="An ideal cycle takes more than 0 s.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.cell} {self.variant} {self.seconds} s"


class Count(models.Model):
    """Bodies of one variant at a cell, a line, or a leg of a line.

    In a shift, or between two moments where no shift was planned.
    """

    cell = models.ForeignKey(
        Cell, on_delete=models.PROTECT, null=True, blank=True, related_name="counts"
    )
    line = models.ForeignKey(
        Line, on_delete=models.PROTECT, null=True, blank=True, related_name="counts"
    )
    leg = models.CharField(max_length=10, blank=True)
    shift = models.ForeignKey(
        Shift, on_delete=models.PROTECT, null=True, blank=True, related_name="counts"
    )
    starts_at = MomentField(null=True, blank=True)
    ends_at = MomentField(null=True, blank=True)
    variant = models.ForeignKey(
        Variant, on_delete=models.PROTECT, related_name="counts"
    )
    total = models.PositiveIntegerField(help_text="Bodies made.")
    good = models.PositiveIntegerField(help_text="Good the first time.")
    rework = models.PositiveIntegerField(null=True, blank=True)
    scrap = models.PositiveIntegerField(null=True, blank=True)
    withdrawn = models.BooleanField(default=False)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True
    )
    entered_at = MomentField()

    class Meta:
        ordering = ["shift", "line", "cell", "variant"]
        constraints = [
            models.CheckConstraint(
                condition=Q(good__lte=F("total")),
                name="no_more_good_than_made",
                violation_error_message="First-time good cannot be above the total.",
            ),
            models.CheckConstraint(
                condition=(Q(cell=None) ^ Q(line=None)) & (Q(leg="") | Q(cell=None)),
                name="a_count_is_of_a_cell_or_a_line",
                violation_error_message="Give a cell, a line, or a leg of a line.",
            ),
            models.CheckConstraint(
                condition=Q(shift__isnull=False, starts_at=None, ends_at=None)
                | Q(shift=None, ends_at__gt=F("starts_at")),
                name="a_count_is_of_a_shift_or_a_span",
                violation_error_message=(
                    "Give a shift, or a start and a later end where none was planned."
                ),
            ),
            models.UniqueConstraint(
                Coalesce("shift", 0),
                Coalesce("cell", 0),
                Coalesce("line", 0),
                "leg",
                "variant",
                # No shift: the moment stands in for it.
                Coalesce("starts_at", 0, output_field=models.BigIntegerField()),
                name="one_count_of_a_variant_per_place_and_shift",
                violation_error_message=(
                    "This variant is already counted there: correct that count."
                ),
            ),
        ]
        indexes = [
            # The ledger reads the counts of a set of shifts.
            models.Index(fields=["shift", "cell", "line"], name="count_shift")
        ]

    def __str__(self) -> str:
        return f"{self.at} {self.variant}: {self.good} good of {self.total}"

    def get_absolute_url(self) -> str:
        """Where it is corrected: on its shift's page, else on its own."""
        if self.shift is None:
            return reverse("count_between", args=[self.pk])
        shift, cell = self.shift, self.cell
        page = reverse(
            "shift", args=[shift.line.code, shift.production_date, shift.name]
        )
        of_cell = {"cell": cell.code, "log": "count"} if cell else {}
        return f"{page}?{urlencode({**of_cell, 'count': str(self.pk)})}#counts"

    @property
    def at(self) -> str:
        """As in the file: a cell, a line, or line/leg."""
        if self.cell is not None:
            return self.cell.code
        assert self.line is not None  # the constraint above
        return f"{self.line.code}/{self.leg}" if self.leg else self.line.code


class ProductionPlan(models.Model):
    """Bodies that a line is to build in a shift."""

    shift = models.OneToOneField(Shift, on_delete=models.PROTECT, related_name="plan")
    bodies = models.PositiveIntegerField()

    class Meta:
        ordering = ["shift"]

    def __str__(self) -> str:
        return f"{self.shift}: {self.bodies}"
