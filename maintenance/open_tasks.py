"""Keep tasks in step with the facts: open them, move their dates, judge what is done.

Called every night for everything, and with a few machines whenever something was done,
read, placed or changed there. Running it twice changes nothing.
"""

from collections.abc import Collection
from datetime import date, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import Q

from cells import clock
from maintenance.due import Subject, subjects
from maintenance.models import Task
from maintenance.planning.closed_windows import first_closing
from maintenance.planning.due_dates import Due, due_when_done, verdict

DATES = (
    "due",
    "earliest",
    "latest",
    "bound_by",
    "meter_limit",
    "meter_not_read",
    "missed",
    "window_closed_on",
)
NOT_NEEDED = "not needed: nothing stands there any more that it is for"
RETIRED = "not needed: the routine is retired"
BATCH = 2000


@transaction.atomic
def update_tasks(
    *,
    machines: Collection[int] | None = None,
    routines: Collection[int] | None = None,
    on: date | None = None,
) -> int:
    """Open, move and close open tasks by what the facts say. Returns how many changed.

    ``machines`` and ``routines`` narrow it to what was touched.
    """
    day = on or clock.today()
    wanted = {
        (subject.routine.pk, subject.clock): subject
        for subject in subjects(day, machines=machines, routines=routines)
    }
    clocks = {subject_clock for _, subject_clock in wanted}
    there = {
        (task.routine_id, task.clock): task
        for task in _open(machines, clocks, routines)
    }
    new: list[Task] = []
    changed: list[Task] = []
    for key, subject in wanted.items():
        task = there.get(key) or Task(
            routine=subject.routine, clock=subject.clock, opened_on=day
        )
        if _set(task, _as_facts_say(subject, task, day)):
            (changed if task.pk else new).append(task)
    gone = [task for key, task in there.items() if key not in wanted]
    for task in gone:
        task.closed_why = NOT_NEEDED if task.routine.retired_on is None else RETIRED
    Task.objects.bulk_create(new, batch_size=BATCH)
    fields = [*DATES, "machine", "cell", "position"]
    _store(changed, fields)
    _store(gone, ["closed_why"])
    return len(new) + len(changed) + len(gone)


def follow(*, machine_ids: Collection[int], **kwargs: Any) -> None:
    """Something was read, placed or done there: judge again, and move what is open."""
    judge(machines=machine_ids)
    update_tasks(machines=machine_ids)


@transaction.atomic
def judge(
    *,
    machines: Collection[int] | None = None,
    routines: Collection[int] | None = None,
) -> int:
    """Give done tasks the window that stood when they were done, and its verdict.

    Worked out from the facts before each completion only, so what comes later never
    changes it; a correction of an earlier fact does. A routine's new interval does not
    judge what was done under the old one. Returns how many changed.
    """
    changed = []
    for subject in subjects(
        clock.today(), machines=machines, routines=routines, whole_record=True
    ):
        since = subject.routine.rule_since
        for index, task in enumerate(subject.done):
            if since and task.done_at and task.done_at < since:
                continue
            if _set(task, _as_judged(subject, index)):
                changed.append(task)
    _store(changed, [*DATES, "verdict"])
    return len(changed)


def _open(
    machines: Collection[int] | None,
    clocks: Collection[str],
    routines: Collection[int] | None,
) -> list[Task]:
    """Those of the machines, and of the places where they stand now."""
    rows = Task.objects.open().select_related("routine")
    if machines is not None:
        rows = rows.filter(Q(machine__in=machines) | Q(clock__in=clocks))
    if routines is not None:
        rows = rows.filter(routine__in=routines)
    return list(rows)


def _as_facts_say(subject: Subject, task: Task, day: date) -> dict[str, Any]:
    due = subject.due(day)
    closed = task.window_closed_on
    is_past = due.latest is not None and due.latest < day
    if closed is None and (is_past or subject.inputs.rule.every_units is not None):
        # Asked of every day since, in case the job slept a night: a meter's forecast
        # may have closed the window before it moved away again.
        last = len(subject.inputs.completions)
        closed = first_closing(subject.inputs, last, last_day=day)
    return {
        **_window(due),
        "window_closed_on": closed,
        "machine_id": subject.machine.pk,
        "cell_id": subject.placement.cell_id,
        "position": subject.placement.position,
    }


def _as_judged(subject: Subject, index: int) -> dict[str, Any]:
    inputs = subject.inputs
    completion = inputs.completions[index]
    due = due_when_done(inputs, index)
    outcome: str = verdict(inputs, index) or ""
    closed = first_closing(inputs, index, last_day=completion.on - timedelta(days=1))
    if closed is not None and outcome == Task.Verdict.EXTRA:
        # A meter forecast had closed its window before it moved away again.
        outcome = Task.Verdict.LATE
    if closed is None and outcome not in ("", Task.Verdict.EXTRA):
        closed = due.latest or completion.on
    return {**_window(due), "window_closed_on": closed, "verdict": outcome}


def _window(due: Due) -> dict[str, Any]:
    return {
        "due": due.due,
        "earliest": due.earliest,
        "latest": due.latest,
        "bound_by": due.bound_by or "",
        "meter_limit": due.meter_limit,
        "meter_not_read": due.meter_not_read,
        "missed": [day.isoformat() for day in due.missed_grid_dates],
    }


def _set(task: Task, values: dict[str, Any]) -> bool:
    """Set what differs; says whether anything did (a new task always does)."""
    different = {
        name: value for name, value in values.items() if getattr(task, name) != value
    }
    for name, value in different.items():
        setattr(task, name, value)
    return bool(different) or task.pk is None


def _store(tasks: list[Task], names: list[str]) -> None:
    """One statement, run for each row; a bulk update takes minutes for a plant."""
    fields = [
        field
        for field in Task._meta.concrete_fields
        if field.name in names or field.attname in names
    ]
    quote = connection.ops.quote_name
    columns = ", ".join(f"{quote(str(field.column))} = %s" for field in fields)
    rows = [
        [
            *(
                field.get_db_prep_save(field.value_from_object(task), connection)
                for field in fields
            ),
            task.pk,
        ]
        for task in tasks
    ]
    if rows:
        with connection.cursor() as cursor:
            table = quote(Task._meta.db_table)
            cursor.executemany(f"UPDATE {table} SET {columns} WHERE id = %s", rows)
