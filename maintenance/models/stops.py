"""Reasons, stops, planned stops, tallies and the leader's confirmation."""

from django.conf import settings
from django.db import models
from django.db.models import ExpressionWrapper, F, Q, Value
from django.urls import reverse

from cells import clock
from cells.models import Area, Cell, Line, Shift
from cells.moments import MomentField
from cells.working_time.plant_time import elapsed_s


class LossClass(models.TextChoices):
    """In order of precedence: of two classes in one second, the first owns it."""

    PLANNED = "planned", "planned"
    BREAKDOWN = "breakdown", "breakdown"
    SETUP = "setup", "set-up"
    QUALITY_HOLD = "quality_hold", "quality hold"
    MINOR = "minor", "minor stop"
    PEOPLE = "people", "people"
    SUPPLY = "supply", "supply"
    UTILITIES = "utilities", "utilities"
    BLOCKED = "blocked", "blocked"
    STARVED = "starved", "starved"


class ReasonQuerySet(models.QuerySet["Reason"]):
    def in_use(self) -> "ReasonQuerySet":
        return self.filter(retired_on=None)

    def for_stops(self) -> "ReasonQuerySet":
        return self.in_use().exclude(loss_class=LossClass.PLANNED)


class Reason(models.Model):
    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    loss_class = models.CharField(max_length=20, choices=LossClass.choices)
    group = models.CharField(max_length=60, blank=True)
    subgroup = models.CharField(max_length=60, blank=True)
    retired_on = models.DateField(
        null=True, blank=True, help_text="Kept for what was logged; no longer offered."
    )

    objects = ReasonQuerySet.as_manager()

    class Meta:
        ordering = ["group", "subgroup", "name"]

    def __str__(self) -> str:
        return self.name


DAY_S = 86_400


def longer_than_a_day(start: str, end: str) -> Q:
    """Of a record with these two moments. An index and a query must say it alike."""
    a_day_later = ExpressionWrapper(
        F(start) + Value(DAY_S, output_field=models.BigIntegerField()),
        output_field=MomentField(),
    )
    return Q(**{f"{end}__gt": a_day_later})


class StopQuerySet(models.QuerySet["Stop"]):
    def standing(self) -> "StopQuerySet":
        """Not withdrawn."""
        return self.filter(withdrawn=False)

    def running(self) -> "StopQuerySet":
        return self.standing().filter(ended_at=None)

    def touching(self, start: object, end: object) -> "StopQuerySet":
        """Those that cover some of [start, end); a running one has no end yet."""
        return self.filter(Q(ended_at=None) | Q(ended_at__gt=start), started_at__lt=end)


class Stop(models.Model):
    ref = models.CharField(max_length=60, unique=True)
    # No index of its own: stop_span begins with it.
    cell = models.ForeignKey(
        Cell, on_delete=models.PROTECT, related_name="stops", db_index=False
    )
    position = models.CharField(
        max_length=40, blank=True, help_text="Which robot or equipment place."
    )
    reason = models.ForeignKey(Reason, on_delete=models.PROTECT, related_name="stops")
    started_at = MomentField()
    ended_at = MomentField(null=True, blank=True, help_text="Empty while it runs.")
    note = models.CharField(max_length=500, blank=True)
    called_at = MomentField(null=True, blank=True)
    arrived_at = MomentField(null=True, blank=True)
    cause_found_at = MomentField(null=True, blank=True)
    parts_wait_s = models.PositiveIntegerField(
        null=True,
        blank=True,
        help_text="Seconds of the repair spent waiting for parts.",
    )
    repaired_at = MomentField(null=True, blank=True)
    restarted_at = MomentField(null=True, blank=True)
    first_good_at = MomentField(null=True, blank=True)
    cause = models.CharField(
        max_length=200, blank=True, help_text="What maintenance found, not the symptom."
    )
    withdrawn = models.BooleanField(default=False)
    logged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True
    )
    logged_at = MomentField()

    objects = StopQuerySet.as_manager()

    #: The breakdown's moments in the order in which they happen.
    TIMELINE = (
        "started_at",
        "called_at",
        "arrived_at",
        "cause_found_at",
        "repaired_at",
        "restarted_at",
        "first_good_at",
    )

    class Meta:
        ordering = ["started_at", "ref"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at=None) | Q(ended_at__gt=F("started_at")),
                name="a_stop_ends_after_it_starts",
                violation_error_message="A stop ends after it starts.",
            ),
            models.UniqueConstraint(
                fields=["cell", "reason"],
                condition=Q(ended_at=None, withdrawn=False),
                name="one_running_stop_per_cell_and_reason",
                violation_error_message=(
                    "This cell already has a running stop with this reason: end that "
                    "one first."
                ),
            ),
        ]
        indexes = [
            # The ledger and the shift page read a cell's stops by their start;
            # all that the ledger needs is in the index.
            models.Index(
                fields=["cell", "started_at", "ended_at", "reason", "withdrawn"],
                name="stop_span",
            ),
            # The ledger looks back a day; of what began earlier, only these reach on,
            # and those that still run. With fewer columns SQLite would read all of a
            # cell's history in the index above instead.
            models.Index(
                fields=["cell", "started_at", "ended_at", "reason", "withdrawn"],
                condition=longer_than_a_day("started_at", "ended_at"),
                name="stop_long",
            ),
            # "Stopped now" and the carried-over stops.
            models.Index(
                fields=["cell", "started_at", "ended_at", "reason", "withdrawn"],
                condition=Q(ended_at=None, withdrawn=False),
                name="stop_running",
            ),
            # A whole period of the plant at once.
            models.Index(fields=["started_at"], name="stop_started"),
        ]

    def __str__(self) -> str:
        return f"{self.cell} {self.reason}"

    def get_absolute_url(self) -> str:
        return reverse("stop", args=[self.pk])

    @property
    def is_running(self) -> bool:
        return self.ended_at is None and not self.withdrawn

    @property
    def length_s(self) -> int:
        """Seconds by the clock, up to now while it has no end."""
        return elapsed_s(self.started_at, self.ended_at or clock.now())


class PlannedStop(models.Model):
    """Declared by a planner or manager for a cell, a line or an area."""

    ref = models.CharField(max_length=60, unique=True)
    area = models.ForeignKey(Area, on_delete=models.PROTECT, null=True, blank=True)
    line = models.ForeignKey(Line, on_delete=models.PROTECT, null=True, blank=True)
    cell = models.ForeignKey(Cell, on_delete=models.PROTECT, null=True, blank=True)
    starts_at = MomentField()
    ends_at = MomentField()
    reason = models.ForeignKey(Reason, on_delete=models.PROTECT)
    declared_at = MomentField(
        help_text="Before a shift starts it is planned; after, it is shown as late."
    )
    declared_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True
    )
    withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["starts_at", "ref"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_at__gt=F("starts_at")),
                name="a_planned_stop_ends_after_it_starts",
                violation_error_message="A planned stop ends after it starts.",
            ),
            models.CheckConstraint(
                condition=(
                    Q(area__isnull=False, line=None, cell=None)
                    | Q(area=None, line__isnull=False, cell=None)
                    | Q(area=None, line=None, cell__isnull=False)
                ),
                name="a_planned_stop_is_for_one_place",
                violation_error_message="Give one of area, line or cell.",
            ),
        ]
        indexes = [
            # The ledger reads the planned stops of a span.
            models.Index(fields=["starts_at", "ends_at"], name="planned_stop_span"),
            # It looks back a day; of what began earlier, only these reach on.
            models.Index(
                fields=["starts_at"],
                condition=longer_than_a_day("starts_at", "ends_at"),
                name="planned_stop_long",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place} {self.reason}"

    @property
    def place(self) -> Area | Line | Cell:
        place = self.area or self.line or self.cell
        assert place is not None  # the constraint above
        return place


class Tally(models.Model):
    """“Tip stick, 7 times, about 9 min”: a reason without clock times."""

    cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="tallies")
    shift = models.ForeignKey(Shift, on_delete=models.PROTECT, related_name="tallies")
    reason = models.ForeignKey(Reason, on_delete=models.PROTECT, related_name="tallies")
    times = models.PositiveIntegerField()
    seconds = models.PositiveIntegerField()
    withdrawn = models.BooleanField(default=False)
    logged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True
    )
    logged_at = MomentField()

    class Meta:
        ordering = ["shift", "cell", "reason"]
        verbose_name_plural = "tallies"
        constraints = [
            models.UniqueConstraint(
                fields=["cell", "shift", "reason"],
                name="one_tally_of_a_reason_per_cell_and_shift",
                violation_error_message=(
                    "This cell already has a tally with this reason in this shift: "
                    "correct that one."
                ),
            ),
            models.CheckConstraint(
                condition=Q(times__gte=1),
                name="a_tally_happened_at_least_once",
                violation_error_message="A tally counts at least 1 time.",
            ),
        ]
        indexes = [
            # The ledger reads the tallies of a set of shifts.
            models.Index(fields=["shift", "cell"], name="tally_shift_cell")
        ]

    def __str__(self) -> str:
        return f"{self.cell} {self.reason} × {self.times}"


class ShiftConfirmation(models.Model):
    """The line's leader says: this is what happened in this shift."""

    shift = models.OneToOneField(
        Shift, on_delete=models.PROTECT, related_name="confirmation"
    )
    confirmed_at = MomentField()
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True
    )

    class Meta:
        ordering = ["shift"]

    def __str__(self) -> str:
        return f"{self.shift} confirmed"
