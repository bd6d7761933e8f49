"""Machines by serial number, where they stood, their meters and readings."""

from datetime import date

from django.conf import settings
from django.db import models
from django.urls import reverse

from cells.models.floor import Cell
from cells.moments import MomentField


class MachineKind(models.TextChoices):
    WELD = "weld", "weld robot"
    SEAL = "seal", "seal robot"
    HANDLING = "handling", "handling robot"
    ARC = "arc", "arc weld robot"
    STUD = "stud", "stud weld robot"
    HEM = "hem", "hem robot"
    VISION = "vision", "measuring robot"
    EQUIPMENT = "equipment", "other equipment"
    FIXTURE = "fixture", "fixture"
    GATE = "gate", "safety gate"
    LIGHT_CURTAIN = "light curtain", "light curtain"
    SCANNER = "scanner", "area scanner"
    EMERGENCY_STOP = "emergency stop", "emergency stop"
    TIP_DRESSER = "tip dresser", "tip dresser"
    WELD_GUN = "weld gun", "weld gun"
    WELD_CONTROLLER = "weld controller", "weld controller"
    ROBOT_CONTROLLER = "robot controller", "robot controller"
    DRESS_PACK = "dress pack", "dress pack"
    GRIPPER = "gripper", "gripper"
    TOOL_CHANGER = "tool changer", "tool changer"
    SEALER_PUMP = "sealer pump", "sealer pump"
    DOSER = "doser", "doser"
    TURNTABLE = "turntable", "turntable"
    LIFT = "lift", "lift"
    CONVEYOR = "conveyor", "conveyor section"
    CELL_PANEL = "cell panel", "cell control panel"
    WATER_PANEL = "water panel", "water panel"
    AIR_PANEL = "air panel", "air panel"
    EXTRACTION = "extraction", "extraction unit"

    @classmethod
    def robots(cls) -> tuple["MachineKind", ...]:
        return (
            cls.WELD,
            cls.SEAL,
            cls.HANDLING,
            cls.ARC,
            cls.STUD,
            cls.HEM,
            cls.VISION,
        )


class Machine(models.Model):
    serial = models.CharField(max_length=40, unique=True)
    kind = models.CharField(max_length=20, choices=MachineKind.choices)
    model = models.CharField(max_length=80, blank=True)
    tags = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["serial"]

    def __str__(self) -> str:
        return self.serial

    def get_absolute_url(self) -> str:
        return reverse("machine", args=[self.serial])

    @property
    def is_robot(self) -> bool:
        return self.kind in MachineKind.robots()


class PlacementQuerySet(models.QuerySet["Placement"]):
    def on(self, day: date) -> "PlacementQuerySet":
        """Those that stand on a day: from placed_on up to, not on, removed_on."""
        still = models.Q(removed_on=None) | models.Q(removed_on__gt=day)
        return self.filter(still, placed_on__lte=day)


class Placement(models.Model):
    """A machine at a position of a cell, from a date until it was removed."""

    machine = models.ForeignKey(
        Machine, on_delete=models.PROTECT, related_name="placements"
    )
    cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="placements")
    position = models.CharField(max_length=40)
    placed_on = models.DateField()
    removed_on = models.DateField(null=True, blank=True)

    objects = PlacementQuerySet.as_manager()

    class Meta:
        ordering = ["cell", "position", "placed_on"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine", "placed_on"],
                name="a_machine_is_placed_once_a_day",
            ),
            models.UniqueConstraint(
                fields=["machine"],
                condition=models.Q(removed_on=None),
                name="a_machine_stands_in_one_place",
                violation_error_message=(
                    "This machine still stands somewhere: remove it there first."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(removed_on=None)
                | models.Q(removed_on__gte=models.F("placed_on")),
                name="removed_after_placed",
                violation_error_message="A machine is removed after it was placed.",
            ),
        ]
        # The cell page and the due list ask what stands where now.
        indexes = [models.Index(fields=["cell", "position"], name="placement_place")]

    def __str__(self) -> str:
        return f"{self.cell} {self.position}: {self.machine}"


class Meter(models.Model):
    machine = models.ForeignKey(
        Machine, on_delete=models.PROTECT, related_name="meters"
    )
    name = models.CharField(max_length=40)
    unit = models.CharField(max_length=20, blank=True)
    max_per_hour = models.DecimalField(
        max_digits=14,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="The most it can run in an hour; faster readings ask a question.",
    )

    class Meta:
        ordering = ["machine", "name"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine", "name"], name="one_meter_of_a_name_per_machine"
            ),
            models.CheckConstraint(
                condition=models.Q(max_per_hour=None) | models.Q(max_per_hour__gt=0),
                name="a_meter_can_run",
                violation_error_message="The most per hour must be above 0.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine} {self.name}"


class ReadingQuerySet(models.QuerySet["Reading"]):
    def counting(self) -> "ReadingQuerySet":
        """Those that move due dates: confirmed and not withdrawn."""
        return self.filter(confirmed=True, withdrawn=False)

    def questioned(self) -> "ReadingQuerySet":
        return self.filter(confirmed=False, withdrawn=False)


class Reading(models.Model):
    meter = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="readings")
    read_at = MomentField()
    value = models.DecimalField(max_digits=16, decimal_places=3)
    confirmed = models.BooleanField(
        default=True, help_text="A questioned reading moves no due date until then."
    )
    question = models.TextField(blank=True, help_text="What was asked about it.")
    withdrawn = models.BooleanField(default=False)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True
    )

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["meter", "read_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["meter", "read_at"],
                condition=models.Q(withdrawn=False),
                name="one_reading_of_a_meter_at_a_moment",
                violation_error_message=(
                    "This meter has a reading at that moment: correct that one."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(value__gte=0),
                name="a_meter_reads_no_negative",
                violation_error_message="A meter reads 0 or more.",
            ),
        ]
        # The planner's page of readings to be confirmed.
        indexes = [
            models.Index(
                fields=["read_at"],
                condition=models.Q(confirmed=False, withdrawn=False),
                name="reading_questioned",
            )
        ]

    def __str__(self) -> str:
        return f"{self.meter} {self.value} at {self.read_at}"
