"""A routine: what is done, to which kind of machine, how often."""

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from cells.models import Machine
from cells.moments import MomentField


class Routine(models.Model):
    class Anchor(models.TextChoices):
        COMPLETION = "completion", "from when it was done (wear)"
        CALENDAR = "calendar", "from the calendar (tests, audits)"

    class Follows(models.TextChoices):
        MACHINE = "machine", "the machine, by serial number"
        PLACE = "place", "the place, whatever stands there"

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    kinds = models.JSONField(help_text="Kinds of machine it is for.")
    tags = models.JSONField(
        default=list,
        blank=True,
        help_text="Only machines that carry all of these tags.",
    )
    every_days = models.PositiveIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)]
    )
    every_units = models.DecimalField(
        max_digits=16, decimal_places=3, null=True, blank=True
    )
    meter = models.CharField(
        max_length=40, blank=True, help_text="Name of the meter for every units."
    )
    anchor = models.CharField(max_length=10, choices=Anchor.choices)
    minutes = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    heads = models.PositiveSmallIntegerField(
        default=1, help_text="People of each skill it needs."
    )
    skills = models.JSONField(help_text="It needs heads of each.")
    lockout = models.BooleanField(help_text="Done under lockout of the cell.")
    safety = models.BooleanField(
        default=False, help_text="A safety test: may be early, never late."
    )
    running_allowed = models.BooleanField(
        default=False, help_text="May be done from outside while the cell runs."
    )
    follows = models.CharField(
        max_length=10, choices=Follows.choices, default=Follows.MACHINE
    )
    hazards = models.TextField(blank=True, help_text="As the plant enters them.")
    valid_from = models.DateField(null=True, blank=True)
    rule_since = MomentField(
        null=True,
        blank=True,
        editable=False,
        help_text="When its rule last changed; what was done before keeps its verdict.",
    )
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(every_days__gte=1) | Q(every_units__gt=0),
                name="a_routine_has_an_interval",
                violation_error_message="Give every days, every units, or both.",
            ),
            models.CheckConstraint(
                condition=Q(every_units=None) | (Q(every_units__gt=0) & ~Q(meter="")),
                name="every_units_are_of_a_meter",
                violation_error_message="Every units needs the meter's name.",
            ),
            models.CheckConstraint(
                condition=~Q(lockout=True, running_allowed=True),
                name="no_lockout_while_running",
                violation_error_message=(
                    "Work under lockout cannot be allowed while the cell runs."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("routine", args=[self.code])

    @property
    def labour_minutes(self) -> int:
        """Of all the people it takes: heads of each skill."""
        return self.minutes * self.heads * len(self.skills)


class StepQuerySet(models.QuerySet["Step"]):
    def current(self) -> "StepQuerySet":
        return self.filter(retired_on=None)


class Step(models.Model):
    routine = models.ForeignKey(Routine, on_delete=models.CASCADE, related_name="steps")
    order = models.PositiveIntegerField()
    text = models.CharField(max_length=300)
    unit = models.CharField(max_length=20, blank=True)
    act_low = models.DecimalField(
        max_digits=14, decimal_places=4, null=True, blank=True
    )
    watch_low = models.DecimalField(
        max_digits=14, decimal_places=4, null=True, blank=True
    )
    watch_high = models.DecimalField(
        max_digits=14, decimal_places=4, null=True, blank=True
    )
    act_high = models.DecimalField(
        max_digits=14, decimal_places=4, null=True, blank=True
    )
    repeat = models.PositiveSmallIntegerField(
        default=1, help_text="Values to enter: per axis, per clamp."
    )
    retired_on = models.DateField(
        null=True, blank=True, help_text="Kept for the results that it has."
    )

    objects = StepQuerySet.as_manager()

    class Meta:
        ordering = ["routine", "order"]
        constraints = [
            models.UniqueConstraint(
                fields=["routine", "order"],
                condition=Q(retired_on=None),
                name="one_step_of_a_routine_in_a_place",
            ),
            models.CheckConstraint(
                condition=Q(repeat__gte=1),
                name="a_step_is_done_at_least_once",
                violation_error_message="Repeat is 1 or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.routine_id} {self.order}: {self.text}"

    @property
    def takes_values(self) -> bool:
        limits = (self.act_low, self.watch_low, self.watch_high, self.act_high)
        return bool(self.unit) or any(limit is not None for limit in limits)


class FirstDue(models.Model):
    """A planner spread a new routine: nothing counts as missed before this date."""

    routine = models.ForeignKey(
        Routine, on_delete=models.CASCADE, related_name="first_dues"
    )
    machine = models.ForeignKey(
        Machine, on_delete=models.PROTECT, related_name="first_dues"
    )
    due = models.DateField()
    why = models.CharField(max_length=200)

    class Meta:
        ordering = ["routine", "machine"]
        constraints = [
            models.UniqueConstraint(
                fields=["routine", "machine"],
                name="one_first_due_per_routine_and_machine",
            ),
            models.CheckConstraint(
                condition=~Q(why=""),
                name="a_first_due_date_has_a_reason",
                violation_error_message="Say why the first due date is set.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.routine} {self.machine} {self.due}"
