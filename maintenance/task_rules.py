"""What must be true of a completion before it is recorded."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db.models import Max

from cells.models import Cell, Meter
from cells.templatetags.figures import moment as shown
from maintenance.models import Routine, Step, Task

if TYPE_CHECKING:
    from maintenance.tasks import Work

LATE_ENTRY = timedelta(hours=48)
MOST_MINUTES = 10_080  # a week
MOST = Decimal(10) ** 9
MOST_SHEET = 80
MOST_NOTE = 500
ASK_SAFETY = "none on record: ask safety"


def sheet_of(cell: Cell | None) -> str:
    """The cell's lockout sheet as entered; empty where none is on record."""
    if cell is None or not cell.lockout_sheet:
        return ""
    revision = cell.lockout_revision
    return (
        f"{cell.lockout_sheet} revision {revision}" if revision else cell.lockout_sheet
    )


def last_done(tasks: Iterable[Task]) -> dict[tuple[int, str], datetime]:
    """When each routine was last done on these tasks' clocks."""
    tasks = list(tasks)
    rows = Task.objects.done().filter(
        routine__in={task.routine_id for task in tasks},
        clock__in={task.clock for task in tasks},
    )
    last = rows.order_by().values_list("routine_id", "clock").annotate(Max("done_at"))
    return {(routine, clock): done_at for routine, clock, done_at in last}


def meters_of(tasks: Iterable[Task]) -> dict[int, Meter]:
    """The meter that each task's routine goes by, where its machine has it."""
    tasks = [task for task in tasks if task.routine.meter]
    rows = Meter.objects.filter(machine__in={task.machine_id for task in tasks})
    by_name = {
        (meter.machine_id, meter.name): meter
        for meter in rows.select_related("machine")
    }
    found = {}
    for task in tasks:
        meter = by_name.get((task.machine_id or 0, task.routine.meter))
        if meter is not None:
            found[task.pk] = meter
    return found


def check(
    work: Work,
    *,
    before: Mapping[tuple[int, str], datetime],
    meters: Mapping[int, Meter],
    now: datetime,
) -> None:
    """Raise every fault of one completion at once, by field.

    ``before`` is from ``last_done``, ``meters`` from ``meters_of``.
    """
    task, faults = work.task, Faults()
    if not task.is_open:
        state = "is recorded done already" if task.is_done else "is closed already"
        raise ValidationError(f"“{task}” {state}: open its page to read the record.")
    _check_moment(work, before.get((task.routine_id, task.clock)), now, faults)
    _check_facts(work.minutes, work.found, faults)
    _check_reading(work, meters, faults)
    _check_sheet(task, work.lockout_sheet, faults)
    _check_note(work.note, faults)
    _check_results(work, faults)
    faults.refuse()


def check_standing(task: Task) -> None:
    if not task.is_done:
        raise ValidationError(
            f"“{task}” is not recorded done, so there is nothing to correct."
        )


def check_correction(task: Task, new: Mapping[str, Any], *, now: datetime) -> None:
    faults = Faults()
    done_at = new.get("done_at", task.done_at)
    if done_at is not None and done_at != task.done_at:
        _check_between(task, done_at, now, faults)
    _check_facts(new.get("minutes", task.minutes), new.get("found", task.found), faults)
    _check_sheet(task, new.get("lockout_sheet", task.lockout_sheet), faults)
    _check_note(new.get("note", task.note), faults)
    faults.refuse()


class Faults:
    """Collected by field, raised together."""

    def __init__(self) -> None:
        self.found: dict[str, list[str]] = {}

    def add(self, field: str, sentence: str) -> None:
        self.found.setdefault(field, []).append(sentence)

    def refuse(self) -> None:
        if self.found:
            raise ValidationError(dict(self.found))


def _check_moment(
    work: Work, last: datetime | None, now: datetime, faults: Faults
) -> None:
    if work.done_at > now:
        faults.add(
            "done_at",
            f"It cannot have been done at {shown(work.done_at)}, which lies in the "
            "future: correct the time.",
        )
    elif last is not None and work.done_at <= last:
        faults.add(
            "done_at",
            f"It was recorded done at {shown(last)}, which is not before "
            f"{shown(work.done_at)}: give a later time, or correct that record.",
        )
    elif now - work.done_at > LATE_ENTRY and not work.why.strip():
        faults.add(
            "why",
            f"{shown(work.done_at)} is more than 48 hours ago: say why it is entered "
            "only now.",
        )


def _check_between(
    task: Task, done_at: datetime, now: datetime, faults: Faults
) -> None:
    """A corrected moment stays between its neighbours, or two records would swap."""
    if done_at > now:
        faults.add("done_at", f"{shown(done_at)} lies in the future: correct the time.")
    others = Task.objects.done().filter(routine=task.routine_id, clock=task.clock)
    others = others.exclude(pk=task.pk)
    early, late = sorted([done_at, task.done_at or done_at])
    between = others.filter(done_at__gte=early, done_at__lte=late).first()
    if between is not None:
        faults.add(
            "done_at",
            f"It was also recorded done at {shown(between.done_at)}: a corrected time "
            "cannot pass that record.",
        )


def _check_facts(minutes: int | None, found: str, faults: Faults) -> None:
    if minutes is not None and not 0 <= minutes <= MOST_MINUTES:
        faults.add(
            "minutes",
            f"{minutes} minutes cannot be: give the minutes it took, from 0 to "
            f"{MOST_MINUTES:,}.",
        )
    if found not in Task.Found.values:
        faults.add("found", "Choose in which condition it was found.")


def _check_reading(work: Work, meters: Mapping[int, Meter], faults: Faults) -> None:
    if work.reading is None:
        return
    meter = work.task.routine.meter
    if not meter:
        faults.add(
            "reading",
            f"“{work.task.routine}” goes by no meter, so {work.reading} is a reading "
            "of nothing: leave it empty.",
        )
    elif work.task.pk not in meters:
        faults.add(
            "reading",
            f"{work.task.machine or 'Nothing'} has no meter “{meter}” on record: add "
            "the meter first, or leave the reading empty.",
        )


def _check_sheet(task: Task, sheet: str, faults: Faults) -> None:
    """Work under lockout is not recorded without saying by which sheet."""
    if len(sheet) > MOST_SHEET:
        faults.add(
            "lockout_sheet",
            f"“{sheet[:20]}…” is longer than {MOST_SHEET} characters: give the sheet’s "
            "number and revision only.",
        )
    if not task.routine.lockout or sheet.strip():
        return
    on_record = sheet_of(task.cell)
    faults.add(
        "lockout_sheet",
        "“Lockout sheet” is empty: this is work under lockout. "
        + (
            f"Give the sheet it was done by; {on_record} is on record for cell "
            f"{task.cell}."
            if on_record
            else f"For cell {task.cell or '—'} there is {ASK_SAFETY}, and enter the "
            "reference that safety gives you."
        ),
    )


def _check_note(note: str, faults: Faults) -> None:
    if len(note) > MOST_NOTE:
        faults.add(
            "note",
            f"The note has {len(note)} characters: shorten it to {MOST_NOTE}.",
        )


def _check_results(work: Work, faults: Faults) -> None:
    steps = {step.pk: step for step in current_steps(work.task.routine)}
    for pk, values in work.results.items():
        step = steps.get(pk)
        if step is None:
            faults.add(
                "results",
                f"“{work.task.routine}” has no such step any more: open the task "
                "again.",
            )
        else:
            _check_values(
                step, [value for value in values if value is not None], faults
            )


def _check_values(step: Step, values: list[Decimal], faults: Faults) -> None:
    most = step.repeat if step.takes_values else 0
    if len(values) > most:
        faults.add(
            "results",
            f"Step {step.order} takes {most} value{'' if most == 1 else 's'}, not "
            f"{len(values)}: remove what is too much.",
        )
    for value in values:
        if not value.is_finite() or abs(value) > MOST or value != round(value, 4):
            faults.add(
                "results",
                f"Step {step.order}: {value} cannot be recorded. Give a number up to "
                f"{MOST:,} with at most four decimals.",
            )


def current_steps(routine: Routine) -> list[Step]:
    """In their order; from the prefetched ones where they are."""
    return [step for step in routine.steps.all() if step.retired_on is None]
