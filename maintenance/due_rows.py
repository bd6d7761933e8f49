"""What is due, row by row, as files and commands give it."""

from collections.abc import Iterator
from datetime import date, timedelta

from maintenance.due import subjects
from maintenance.planning.due_dates import state

HEADER = (
    "routine",
    "serial",
    "cell",
    "position",
    "last_done",
    "due",
    "earliest",
    "latest",
    "bound_by",
    "state",
)


def due_rows(*, on: date, days: int) -> Iterator[tuple[object, ...]]:
    """What falls due up to ``days`` after a date, by the facts dated up to it.

    What is late is among it; what has no forecast always. Ordered by routine, serial.
    """
    last = on + timedelta(days=days)
    asked = subjects(on)
    asked.sort(
        key=lambda one: (
            one.routine.code,
            one.machine.serial,
            one.placement.cell.code,
            one.placement.position,
        )
    )
    for one in asked:
        due = one.due(on)
        if due.due is None or due.due <= last:
            yield (
                one.routine.code,
                one.machine.serial,
                one.placement.cell.code,
                one.placement.position,
                due.last_done,
                due.due,
                due.earliest,
                due.latest,
                due.bound_by,
                state(due, on=on),
            )
