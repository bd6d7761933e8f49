"""A task: one routine due on one machine or place; done, it is the record."""

from datetime import date

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from cells.models import Cell, Machine
from cells.moments import MomentField
from maintenance.models.routines import Routine, Step


class TaskQuerySet(models.QuerySet["Task"]):
    def open(self) -> "TaskQuerySet":
        return self.filter(done_at=None, closed_why="")

    def done(self) -> "TaskQuerySet":
        return self.filter(done_at__isnull=False, closed_why="")

    def accounted(self) -> "TaskQuerySet":
        """All but records that were a mistake and done ones without a verdict."""
        return self.filter(Q(done_at=None) | Q(closed_why="") & ~Q(verdict=""))

    def late(self, on: date) -> "TaskQuerySet":
        return self.filter(latest__lt=on)


class Task(models.Model):
    """Open until it is done or closed with a cause. Dates follow the facts.

    ``machine`` is what the clock follows (or, where the routine follows the
    place, what stood there, if anything did); ``cell`` and ``position`` are where
    it is to be done.
    """

    class Found(models.TextChoices):
        AS_NEW = "as_new", "as new"
        NORMAL = "normal", "normal wear"
        WORN = "worn", "worn, would have lasted"
        WORN_OUT = "worn_out", "worn out"
        FAILED = "failed", "failed"

    class Verdict(models.TextChoices):
        ON_TIME = "on_time", "on time"
        EARLY = "early", "early"
        LATE = "late", "late"
        EXTRA = "extra", "extra: it served no date"

    routine = models.ForeignKey(Routine, on_delete=models.PROTECT, related_name="tasks")
    machine = models.ForeignKey(
        Machine, on_delete=models.PROTECT, null=True, blank=True, related_name="tasks"
    )
    cell = models.ForeignKey(
        Cell, on_delete=models.PROTECT, null=True, blank=True, related_name="tasks"
    )
    position = models.CharField(max_length=40, blank=True)
    #: What the clock follows, in one column, so that one constraint holds:
    #: "m:<machine id>" or "p:<cell id>:<position>".
    clock = models.CharField(max_length=80, editable=False)
    opened_on = models.DateField()
    # As the facts say while it is open; as they stood when it was done.
    due = models.DateField(null=True, blank=True)
    earliest = models.DateField(null=True, blank=True)
    latest = models.DateField(null=True, blank=True)
    bound_by = models.CharField(max_length=10, blank=True)
    meter_limit = models.DecimalField(
        max_digits=18,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="The value of the routine's meter at which it is due.",
    )
    meter_not_read = models.BooleanField(
        default=False, help_text="It goes by a meter that gives no forecast."
    )
    window_closed_on = models.DateField(
        null=True,
        blank=True,
        help_text="Set when its window first closed; stays there.",
    )
    missed = models.JSONField(
        default=list, blank=True, help_text="Grid dates that passed while it was open."
    )
    done_at = MomentField(null=True, blank=True)
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="tasks_done",
    )
    entered_at = MomentField(null=True, blank=True)
    minutes = models.PositiveIntegerField(null=True, blank=True)
    found = models.CharField(max_length=10, choices=Found.choices, blank=True)
    reading = models.DecimalField(
        max_digits=16,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="Of the routine's meter, at completion.",
    )
    verdict = models.CharField(
        max_length=10,
        choices=Verdict.choices,
        blank=True,
        help_text="By the window that stood when it was done; empty: none stood.",
    )
    lockout_sheet = models.CharField(
        max_length=80, blank=True, help_text="Sheet number and revision as entered."
    )
    note = models.CharField(max_length=500, blank=True)
    closed_why = models.CharField(
        max_length=200,
        blank=True,
        help_text="Closed without being done, or recorded by mistake, and why.",
    )

    objects = TaskQuerySet.as_manager()

    class Meta:
        ordering = ["due", "routine", "machine"]
        constraints = [
            models.UniqueConstraint(
                fields=["routine", "clock"],
                condition=Q(done_at=None, closed_why=""),
                name="one_open_task_per_routine_and_machine",
                violation_error_message="This routine is already open there.",
            ),
            models.UniqueConstraint(
                fields=["routine", "clock", "done_at"],
                condition=Q(done_at__isnull=False, closed_why=""),
                name="a_routine_is_done_once_at_a_moment",
                violation_error_message="It was already recorded done at that moment.",
            ),
        ]
        indexes = [
            # The due list, its counts and the crew's load are read from this alone.
            # SQLite uses it only where the query has the very words of the condition,
            # so what is compared with a value stands among the fields.
            models.Index(
                fields=["closed_why", "due", "latest", "earliest", "routine", "cell"],
                condition=Q(done_at=None),
                name="task_open_dates",
            ),
            # The last completion of each clock.
            models.Index(fields=["routine", "clock", "done_at"], name="task_last_done"),
            # PM compliance of a period.
            models.Index(fields=["window_closed_on"], name="task_window_closed"),
            # What was done since a date.
            models.Index(fields=["done_at"], name="task_done_at"),
            # The cell page.
            models.Index(fields=["cell", "due"], name="task_cell_due"),
        ]

    def __str__(self) -> str:
        return f"{self.routine} on {self.machine or self.position}"

    def get_absolute_url(self) -> str:
        return reverse("task", args=[self.pk])

    @property
    def is_open(self) -> bool:
        return self.done_at is None and not self.closed_why

    @property
    def is_done(self) -> bool:
        return self.done_at is not None and not self.closed_why


class StepResult(models.Model):
    task = models.ForeignKey(Task, on_delete=models.CASCADE, related_name="results")
    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="results")
    number = models.PositiveSmallIntegerField(
        default=1, help_text="Which of the step's values: axis 1, axis 2, …"
    )
    value = models.DecimalField(max_digits=14, decimal_places=4)

    class Meta:
        ordering = ["task", "step", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["task", "step", "number"], name="one_value_of_a_step"
            )
        ]

    def __str__(self) -> str:
        return f"{self.step_id} #{self.number}: {self.value}"


class SafetyAlert(models.Model):
    """A safety test was reported failed; a named person must accept it."""

    task = models.OneToOneField(Task, on_delete=models.PROTECT, related_name="alert")
    raised_at = MomentField()
    accepted_at = MomentField(null=True, blank=True)
    accepted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True
    )
    measure = models.CharField(
        max_length=300, blank=True, help_text="What is done about it, as reported."
    )

    class Meta:
        ordering = ["-raised_at"]

    def __str__(self) -> str:
        return f"failed: {self.task}"
