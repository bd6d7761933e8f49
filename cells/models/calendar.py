"""When cells are meant to run: patterns, days off, and the shifts they make."""

from django.db import models
from django.db.models.functions import Coalesce

from cells.models.floor import Area, Cell, Line
from cells.moments import MomentField


class ShiftPattern(models.Model):
    """A weekly shift of an area; a line's own patterns replace all of its area's."""

    area = models.ForeignKey(
        Area, on_delete=models.PROTECT, related_name="shift_patterns"
    )
    line = models.ForeignKey(
        Line,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="shift_patterns",
    )
    name = models.CharField(max_length=40)
    weekdays = models.CharField(max_length=40, help_text="Like mon-fri or sat,sun.")
    start = models.TimeField(help_text="On the clock of the plant.")
    end = models.TimeField(help_text="Not after the start: ends the next day.")
    breaks = models.CharField(
        max_length=200, blank=True, help_text="Like 09:00-09:10;11:30-12:00."
    )
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True, help_text="Last day it holds.")
    date_offset = models.SmallIntegerField(
        default=0,
        help_text="1: a shift that starts Sunday 22:00 belongs to Monday.",
    )

    class Meta:
        ordering = ["area", "line", "valid_from", "start", "name"]
        constraints = [
            models.UniqueConstraint(
                "area",
                Coalesce("line", 0),
                "name",
                "weekdays",
                "start",
                "valid_from",
                name="one_pattern_of_a_kind",
                violation_error_message=(
                    "This pattern exists already: change that one."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(date_offset__gte=-1, date_offset__lte=1),
                name="a_pattern_moves_by_a_day_at_most",
                violation_error_message="A pattern moves its date by a day at most.",
            ),
            models.CheckConstraint(
                condition=models.Q(valid_to=None)
                | models.Q(valid_to__gte=models.F("valid_from")),
                name="a_pattern_ends_after_it_begins",
                violation_error_message="Valid to lies before valid from.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line or self.area} {self.name} {self.weekdays}"


class DayOff(models.Model):
    """No pattern's shift starts on this date; a one-off shift still does."""

    date = models.DateField()
    area = models.ForeignKey(
        Area, on_delete=models.PROTECT, null=True, blank=True, related_name="days_off"
    )
    line = models.ForeignKey(
        Line, on_delete=models.PROTECT, null=True, blank=True, related_name="days_off"
    )
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["date"]
        verbose_name_plural = "days off"
        constraints = [
            models.UniqueConstraint(
                "date",
                Coalesce("area", 0),
                Coalesce("line", 0),
                name="one_day_off_of_a_place_and_date",
                violation_error_message="This date is already a day off there.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.date} {self.name}"


class OneOffShift(models.Model):
    """Overtime, a shift at other hours, or (no length) a cancelled shift."""

    area = models.ForeignKey(
        Area, on_delete=models.PROTECT, related_name="one_off_shifts"
    )
    line = models.ForeignKey(
        Line,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="one_off_shifts",
    )
    name = models.CharField(max_length=40)
    starts_on = models.DateField(help_text="The plant's date at its start.")
    starts_at = MomentField()
    ends_at = MomentField(help_text="The same as the start: the shift is cancelled.")
    breaks = models.CharField(
        max_length=200, blank=True, help_text="Like 09:00-09:10;11:30-12:00."
    )

    class Meta:
        ordering = ["starts_at", "area", "line"]
        constraints = [
            models.UniqueConstraint(
                "area",
                Coalesce("line", 0),
                "name",
                "starts_on",
                name="one_one_off_shift_of_a_name_and_date",
                violation_error_message=(
                    "There is already a one-off shift of that name on that date: "
                    "change that one."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(ends_at__gte=models.F("starts_at")),
                name="a_one_off_shift_ends_after_it_starts",
                violation_error_message="A shift cannot end before it starts.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line or self.area} {self.name} on {self.starts_on}"


class ShiftQuerySet(models.QuerySet["Shift"]):
    def overlapping(self, start: object, end: object) -> "ShiftQuerySet":
        return self.filter(starts_at__lt=end, ends_at__gt=start)

    def worked(self) -> "ShiftQuerySet":
        """Without the cancelled ones, which have no length."""
        return self.filter(ends_at__gt=models.F("starts_at"))

    def ended(self, now: object) -> "ShiftQuerySet":
        return self.filter(ends_at__lte=now)


class Shift(models.Model):
    """One shift of one line. No length: cancelled, kept for what hangs on it."""

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="shifts")
    production_date = models.DateField()
    name = models.CharField(max_length=40)
    starts_at = MomentField()
    ends_at = MomentField()

    objects = ShiftQuerySet.as_manager()

    class Meta:
        ordering = ["production_date", "starts_at", "line"]
        constraints = [
            models.UniqueConstraint(
                fields=["line", "production_date", "name"],
                name="one_shift_of_a_name_per_line_and_date",
            ),
            models.CheckConstraint(
                condition=models.Q(ends_at__gte=models.F("starts_at")),
                name="a_shift_ends_after_it_starts",
                violation_error_message="A shift cannot end before it starts.",
            ),
        ]
        indexes = [
            # Marking and the shift page ask which shifts of a line touch a span.
            models.Index(fields=["line", "starts_at", "ends_at"], name="shift_span"),
            # The sweep asks which shifts have ended.
            models.Index(fields=["ends_at"], name="shift_ended"),
            # Roll-ups by date.
            models.Index(fields=["production_date", "line"], name="shift_date"),
        ]

    def __str__(self) -> str:
        return f"{self.line} {self.production_date} {self.name}"

    @property
    def is_cancelled(self) -> bool:
        return self.starts_at == self.ends_at


class ShiftBreak(models.Model):
    shift = models.ForeignKey(Shift, on_delete=models.CASCADE, related_name="breaks")
    starts_at = MomentField()
    ends_at = MomentField()

    class Meta:
        ordering = ["shift", "starts_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["shift", "starts_at"], name="one_break_of_a_shift_at_a_moment"
            ),
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")),
                name="a_break_ends_after_it_starts",
                violation_error_message="A break ends after it starts.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.shift} {self.starts_at}"


class WorkedBreak(models.Model):
    """This cell worked through this break, so it is planned time for it."""

    cell = models.ForeignKey(
        Cell, on_delete=models.PROTECT, related_name="worked_breaks"
    )
    shift = models.ForeignKey(
        Shift, on_delete=models.PROTECT, related_name="worked_breaks"
    )
    break_start = MomentField()
    withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["shift", "cell", "break_start"]
        constraints = [
            models.UniqueConstraint(
                fields=["cell", "shift", "break_start"],
                name="a_break_is_worked_through_once",
            )
        ]
        indexes = [models.Index(fields=["shift", "cell"], name="worked_break_shift")]

    def __str__(self) -> str:
        return f"{self.cell} {self.shift} {self.break_start}"
