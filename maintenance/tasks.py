"""Tasks: recorded done, one or many at once, corrected, withdrawn.

The record says what people reported, never that anything is safe. Every verb judges the
completions again and moves the open tasks of the machines it touched, in the same
transaction. A withdrawn record stays readable; it counts for nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import clock, trail
from cells.meters import Entry, record_readings
from cells.models import Change, Meter, Reading
from maintenance import task_rules
from maintenance.models import SafetyAlert, StepResult, Task
from maintenance.models.tasks import TaskQuerySet
from maintenance.open_tasks import follow
from maintenance.task_rights import (
    need_to_accept_alert,
    need_to_complete,
    need_to_correct,
)

#: What a correction may change.
FACTS = ("done_at", "minutes", "found", "lockout_sheet", "note")

MISTAKE = "recorded by mistake: "


@dataclass(frozen=True, kw_only=True)
class SafetyOverdue:
    count: int
    tasks: TaskQuerySet  # the longest overdue first


@dataclass(frozen=True, kw_only=True)
class Work:
    """What somebody reports of one task."""

    task: Task
    done_at: datetime
    minutes: int | None
    found: str
    reading: Decimal | None = None  # of the routine's meter, when it was done
    #: By step id, as many values as the step repeats; None where none was taken.
    results: Mapping[int, Sequence[Decimal | None]] = field(default_factory=dict)
    lockout_sheet: str = ""
    note: str = ""
    why: str = ""  # needed if it is entered more than two days later


@dataclass(frozen=True, kw_only=True)
class Recorded:
    task: Task
    question: str  # what the reading asks; until answered it moves no due date
    alert: SafetyAlert | None


class RowsRefusedError(Exception):
    """Nothing of many was saved; says why, by the number of the row from 0."""

    def __init__(self, by_row: Mapping[int, ValidationError]) -> None:
        super().__init__(by_row)
        self.by_row = by_row


def safety_overdue(on: date) -> SafetyOverdue:
    """Safety tests whose window has closed without a test; the count must be 0."""
    tasks = Task.objects.open().late(on).filter(routine__safety=True)
    related = tasks.select_related("routine", "machine", "cell__line__area")
    return SafetyOverdue(
        count=tasks.count(), tasks=related.order_by("latest", "routine", "pk")
    )


def complete_task(*, by: User, **work: Any) -> Recorded:
    """One task; the arguments are those of ``Work``."""
    try:
        return complete_many([Work(**work)], by=by)[0]
    except RowsRefusedError as refused:
        raise refused.by_row[0] from None


@transaction.atomic
def complete_many(work: Sequence[Work], *, by: User) -> list[Recorded]:
    """All of them or none. RowsRefusedError says what is wrong with which."""
    for one in work:
        need_to_complete(by, one.task)
    _lock(one.task for one in work)
    given = [one.task for one in work]
    before, meters = task_rules.last_done(given), task_rules.meters_of(given)
    faults: dict[int, ValidationError] = {}
    for row, one in enumerate(work):
        try:
            task_rules.check(one, before=before, meters=meters, now=clock.now())
        except ValidationError as error:
            faults[row] = error
    if faults:
        raise RowsRefusedError(faults)
    changes = [change for one in work for change in _as_done(one, by)]
    fields = [*FACTS, "reading", "done_by", "entered_at"]
    Task.objects.bulk_update([one.task for one in work], fields, batch_size=200)
    Change.objects.bulk_create(changes, batch_size=1000)
    StepResult.objects.bulk_create(
        [result for one in work for result in _results(one)], batch_size=1000
    )
    questions = _record_readings(work, meters, by)
    alerts = _raise_alerts(work, by)
    _follow(one.task for one in work)
    for one in work:
        one.task.refresh_from_db(fields=["verdict", "due", "latest"])
    return [
        Recorded(
            task=one.task,
            question=questions.get(row, ""),
            alert=alerts.get(one.task.pk),
        )
        for row, one in enumerate(work)
    ]


@transaction.atomic
def correct_completion(
    *, task: Task, changes: Mapping[str, Any], by: User, why: str
) -> None:
    """``changes``: any of FACTS. A reading is corrected on its own page."""
    need_to_correct(by, task)
    _lock([task])
    task_rules.check_standing(task)
    new = {name: changes[name] for name in FACTS if name in changes}
    task_rules.check_correction(task, new, now=clock.now())
    old_moment = task.done_at
    if not trail.save_changes(task, new, by=by, why=why):
        return
    if task.done_at != old_moment:
        _move_reading(task, old_moment, by=by, why=why)
        _forget_closing(task)
    if task.routine.safety and task.found == Task.Found.FAILED:
        _raise_alert(task, by)
    _follow([task])


@transaction.atomic
def withdraw_completion(*, task: Task, by: User, why: str) -> None:
    """It was not done: the record stays readable, and the task is open again.

    The reading given with it stays too: it has a page of its own to be withdrawn on.
    """
    need_to_correct(by, task)
    _lock([task])
    task_rules.check_standing(task)
    words = f"{MISTAKE}{why}"
    if len(words) > 200:
        raise ValidationError({"why": f"Say it in {200 - len(MISTAKE)} characters."})
    trail.save_changes(task, {"closed_why": words}, by=by, why=why)
    _forget_closing(task)
    _follow([task])


@transaction.atomic
def accept_alert(*, alert: SafetyAlert, measure: str, by: User) -> None:
    """A named person answers for what is done about a failed test, as reported."""
    need_to_accept_alert(by, alert)
    # Of two who accept it at once, the first one's name stays.
    alert.refresh_from_db(
        from_queryset=SafetyAlert.objects.select_for_update(no_key=True)
    )
    if alert.accepted_at is not None:
        raise ValidationError(
            f"{alert.accepted_by} has accepted this alert already: nothing was changed."
        )
    new = {"accepted_at": clock.now(), "accepted_by": by, "measure": measure.strip()}
    if not new["measure"]:
        raise ValidationError({"measure": "Say what is done about the failed test."})
    trail.save_changes(alert, new, by=by, why=measure[:200])


def _lock(tasks: Iterable[Task]) -> None:
    """Of two people who record the same task at once, one reads that it is done."""
    given = {task.pk: task for task in tasks}
    stored = Task.objects.select_for_update().filter(pk__in=given).order_by("pk")
    for pk, done_at, closed_why in stored.values_list("pk", "done_at", "closed_why"):
        given[pk].done_at, given[pk].closed_why = done_at, closed_why


def _as_done(work: Work, by: User) -> list[Change]:
    task = work.task
    new = {
        "done_at": work.done_at,
        "minutes": work.minutes,
        "found": work.found,
        "reading": work.reading,
        "lockout_sheet": work.lockout_sheet.strip(),
        "note": work.note.strip(),
    }
    changes = trail.changes_between(task, new, by=by, why=work.why.strip())
    for name, value in new.items():
        setattr(task, name, value)
    task.done_by, task.entered_at = by, clock.now()
    return changes


def _results(work: Work) -> list[StepResult]:
    return [
        StepResult(task=work.task, step_id=step, number=number, value=value)
        for step, values in work.results.items()
        for number, value in enumerate(values, start=1)
        if value is not None
    ]


def _record_readings(
    work: Sequence[Work], meters: Mapping[int, Meter], by: User
) -> dict[int, str]:
    """As readings like any other. Two tasks of one machine may bring the same."""
    entries: dict[int, Entry] = {}
    seen: set[Entry] = set()
    for row, one in enumerate(work):
        if one.reading is None:
            continue
        meter = meters[one.task.pk]
        entry = Entry(meter, one.reading, one.done_at)
        if entry not in seen and not _is_recorded(entry):
            entries[row] = entry
        seen.add(entry)
    try:
        with transaction.atomic():
            readings = record_readings(entries.values(), by=by)
    except ValidationError:
        raise RowsRefusedError(_refused_one_by_one(entries, by)) from None
    return {
        row: reading.question
        for row, reading in zip(entries, readings, strict=True)
        if reading.question
    }


def _is_recorded(entry: Entry) -> bool:
    return Reading.objects.filter(
        meter=entry.meter, read_at=entry.read_at, value=entry.value, withdrawn=False
    ).exists()


def _refused_one_by_one(
    entries: Mapping[int, Entry], by: User
) -> dict[int, ValidationError]:
    """Which rows' readings are refused, and in which words."""
    faults: dict[int, ValidationError] = {}
    for row, entry in entries.items():
        try:
            record_readings([entry], by=by)
        except ValidationError as error:
            faults[row] = ValidationError({"reading": error.messages})
    return faults


def _raise_alerts(work: Sequence[Work], by: User) -> dict[int, SafetyAlert]:
    return {
        one.task.pk: _raise_alert(one.task, by)
        for one in work
        if one.task.routine.safety and one.found == Task.Found.FAILED
    }


def _raise_alert(task: Task, by: User) -> SafetyAlert:
    alert, new = SafetyAlert.objects.get_or_create(
        task=task, defaults={"raised_at": clock.now()}
    )
    if new:
        trail.created([alert], by=by)
    return alert


def _move_reading(task: Task, old: datetime | None, *, by: User, why: str) -> None:
    """The reading given with a completion goes where the completion goes."""
    if task.reading is None or old is None or task.done_at is None:
        return
    meter: Meter = task_rules.meters_of([task])[task.pk]
    given = Reading.objects.filter(meter=meter, read_at=old, withdrawn=False).first()
    if given is None:
        return
    if meter.readings.filter(read_at=task.done_at, withdrawn=False).exists():
        raise ValidationError(
            {"done_at": f"{meter} has another reading at that moment: give another."}
        )
    trail.save_changes(given, {"read_at": task.done_at}, by=by, why=why)


def _forget_closing(task: Task) -> None:
    """Where the open task's window closed went by what has just been corrected."""
    same = Task.objects.open().filter(routine=task.routine_id, clock=task.clock)
    same.update(window_closed_on=None)


def _follow(tasks: Iterable[Task]) -> None:
    machines = {task.machine_id for task in tasks if task.machine_id is not None}
    follow(machine_ids=machines)
