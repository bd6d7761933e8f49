"""What preventive work lacks in the registry, for the registry-health page."""

from collections.abc import Iterator

from django.urls import reverse

from cells import clock
from cells.health import Check, Finding, register
from cells.models import MachineKind, Placement
from maintenance.due import is_for
from maintenance.models import Routine, Task


def register_checks() -> None:
    register(
        Check(order=50, title="Robots without a routine", find=robots_without_routine)
    )
    register(
        Check(
            order=51,
            title="Tasks whose meter gives no forecast",
            find=meters_without_forecast,
        )
    )


def robots_without_routine() -> Iterator[Finding]:
    routines = list(Routine.objects.filter(retired_on=None))
    standing = Placement.objects.on(clock.today()).filter(
        machine__kind__in=MachineKind.robots()
    )
    for placed in standing.select_related("machine", "cell"):
        if not any(is_for(routine, placed.machine) for routine in routines):
            yield Finding(
                subject=placed.machine.serial,
                url=reverse("routines"),
                sentence=f"No routine is for this {placed.machine.get_kind_display()} "
                f"in {placed.cell}: add one, or extend one to its kind and tags.",
            )


def meters_without_forecast() -> Iterator[Finding]:
    """Meter not read: one reading only, or none, or no use between them."""
    tasks = Task.objects.open().filter(meter_not_read=True, machine__isnull=False)
    names = tasks.order_by("machine__serial", "routine__meter").values_list(
        "machine__serial", "routine__meter"
    )
    for serial, meter in dict.fromkeys(names):
        yield Finding(
            subject=serial,
            url=reverse("machine", args=[serial]),
            sentence=f"Meter not read: “{meter}” gives no forecast of what goes by it. "
            "Enter a reading; if the machine has no such meter, add it.",
        )
