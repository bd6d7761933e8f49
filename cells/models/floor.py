"""Plant, area, line, cell, and the banks between cells."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date
from zoneinfo import ZoneInfo

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.urls import reverse

#: While a request is answered: the plant, as it was read at its beginning.
_of_request: ContextVar["Plant | None"] = ContextVar("plant_of_request", default=None)


class Plant(models.Model):
    """The one row that says whose plant this is."""

    name = models.CharField(max_length=80)
    time_zone = models.CharField(
        max_length=64, help_text="IANA name, like Europe/Berlin."
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(pk=1),
                name="there_is_one_plant",
                violation_error_message="There is one plant: edit it instead.",
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    @contextmanager
    def kept(self) -> Iterator[None]:
        """Until the end, ``current`` gives this one without asking the database."""
        token = _of_request.set(self)
        try:
            yield
        finally:
            _of_request.reset(token)

    @classmethod
    def current(cls) -> "Plant":
        """The plant; before one is loaded, a nameless one on UTC."""
        kept = _of_request.get()
        if kept is not None:
            return kept
        return cls.objects.filter(pk=1).first() or cls(pk=1, name="", time_zone="UTC")


class Area(models.Model):
    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code

    def get_absolute_url(self) -> str:
        return reverse("area", args=[self.code])

    def target_on(self, day: date) -> "AreaTarget | None":
        """The latest target valid on a day. Uses prefetched targets if there."""
        valid = [t for t in self.targets.all() if t.valid_from <= day]
        return max(valid, key=lambda t: t.valid_from, default=None)


class AreaTarget(models.Model):
    """An OEE target holds from a date until the next one."""

    area = models.ForeignKey(Area, on_delete=models.CASCADE, related_name="targets")
    valid_from = models.DateField()
    oee = models.DecimalField(
        max_digits=5,
        decimal_places=4,
        validators=[MinValueValidator(0), MaxValueValidator(1)],
        help_text="As a share: 0.77 for 77 %.",
    )

    class Meta:
        ordering = ["area", "valid_from"]
        constraints = [
            models.UniqueConstraint(
                fields=["area", "valid_from"], name="one_target_per_area_and_date"
            ),
            models.CheckConstraint(
                condition=models.Q(oee__gt=0, oee__lte=1),
                name="a_target_is_a_share",
                violation_error_message="A target lies above 0 and at most at 1.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.area} {self.oee} from {self.valid_from}"


class Line(models.Model):
    code = models.CharField(max_length=20, unique=True)
    area = models.ForeignKey(Area, on_delete=models.PROTECT, related_name="lines")
    name = models.CharField(max_length=80)
    order = models.PositiveIntegerField(help_text="Place in the area's flow.")
    counting_cell = models.ForeignKey(
        "Cell",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="counts_for",
        help_text="The cell whose account stands for the line.",
    )

    class Meta:
        ordering = ["area__code", "order", "code"]

    def __str__(self) -> str:
        return self.code

    def get_absolute_url(self) -> str:
        return reverse("line", args=[self.code])


class Cell(models.Model):
    class Criticality(models.TextChoices):
        A = "A", "A"
        B = "B", "B"
        C = "C", "C"

    code = models.CharField(max_length=20, unique=True)
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="cells")
    name = models.CharField(max_length=80)
    order = models.PositiveIntegerField(help_text="Place in the line's flow.")
    leg = models.CharField(
        max_length=10, blank=True, help_text="Of parallel legs, which one."
    )
    criticality = models.CharField(
        max_length=1, choices=Criticality.choices, blank=True
    )
    heads_limit = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="People who may work in the cell at once."
    )
    lockout_sheet = models.CharField(
        max_length=40, blank=True, help_text="Number of the cell's lockout sheet."
    )
    lockout_revision = models.CharField(max_length=20, blank=True)
    lockout_date = models.DateField(
        null=True, blank=True, help_text="Date of the sheet's revision."
    )
    retired_on = models.DateField(
        null=True, blank=True, help_text="From this date the cell has no shifts."
    )

    class Meta:
        ordering = ["line__area__code", "line__order", "line__code", "order", "code"]

    def __str__(self) -> str:
        return self.code

    def get_absolute_url(self) -> str:
        return reverse("cell", args=[self.code])


class Bank(models.Model):
    """Bodies that fit between two cells that are neighbours in the flow."""

    from_cell = models.ForeignKey(
        Cell, on_delete=models.PROTECT, related_name="banks_out"
    )
    to_cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="banks_in")
    capacity = models.PositiveIntegerField(help_text="Bodies.")

    class Meta:
        ordering = ["from_cell", "to_cell"]
        constraints = [
            models.UniqueConstraint(
                fields=["from_cell", "to_cell"], name="one_bank_between_two_cells"
            ),
            models.CheckConstraint(
                condition=~models.Q(from_cell=models.F("to_cell")),
                name="a_bank_joins_two_cells",
                violation_error_message="A bank lies between two different cells.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.from_cell} → {self.to_cell}: {self.capacity}"
