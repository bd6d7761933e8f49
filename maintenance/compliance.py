"""PM compliance: where task rows become closed windows, and those become figures.

``maintenance.planning.compliance`` has the rule; here is what it is told. A window that
has closed stays where it closed, whatever became of the task later; deferred and
cancelled ones are among them. Only a record that was a mistake leaves the account.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from cells import clock
from cells.models import Plant
from cells.working_time.plant_time import day_start
from maintenance.models import FirstDue, Routine, Task
from maintenance.planning.compliance import (
    ClosedWindow,
    Outcome,
    PmCompliance,
    pm_compliance,
)
from maintenance.planning.routine_rule import tolerance_days

DAY = timedelta(days=1)

WORDS: dict[Outcome, str] = {
    "on_time": "done on time",
    "early": "done before its window",
    "late": "done late",
    "not_done": "not done yet",
    "missed": "missed: passed while an earlier one was open",
    "cancelled": "closed without being done",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedTask:
    """One closed window, and the task whose window it was."""

    task_id: int
    window: ClosedWindow

    @property
    def words(self) -> str:
        return WORDS[self.window.outcome]


def figures(first: date, last: date) -> PmCompliance:
    """PM compliance of the windows that closed from one date to another, both in.

    A window closes at the end of its last day, so today's are not among them.
    """
    windows = [closed.window for closed in closed_tasks(first, last)]
    return pm_compliance(windows, first=first, last=last)


def by_month(first: date, last: date) -> list[tuple[date, PmCompliance]]:
    """The first of each calendar month that the period touches, with its figures."""
    windows: dict[date, list[ClosedWindow]] = {}
    month = first.replace(day=1)
    while month <= last:
        windows[month] = []
        month = (month + 31 * DAY).replace(day=1)
    for closed in closed_tasks(first, last):
        windows[closed.window.closes.replace(day=1)].append(closed.window)
    return [
        (month, pm_compliance(found, first=first, last=last))
        for month, found in windows.items()
    ]


def closed_tasks(first: date, last: date) -> Iterator[ClosedTask]:
    """The windows that closed in a period; three queries for any number of them."""
    last = min(last, clock.today() - DAY)
    if last >= first:
        routines = {routine.pk: routine for routine in Routine.objects.all()}
        yield from _own_windows(first, last, routines)
        yield from _missed_windows(first, last, routines)


def _own_windows(
    first: date, last: date, routines: dict[int, Routine]
) -> Iterator[ClosedTask]:
    """Each task's own window. Before a planner's first due date nothing is missed."""
    spared = _first_dues().filter(due__gt=OuterRef("window_closed_on"))
    counted = (
        Task.objects.accounted()
        .filter(window_closed_on__range=(first, last))
        .filter(Q(verdict=Task.Verdict.ON_TIME) | ~Exists(spared))
        .order_by()
    )
    columns = ("pk", "routine_id", "window_closed_on", "verdict", "closed_why")
    for pk, routine, closes, verdict, why in counted.values_list(*columns):
        outcome: Outcome = verdict or ("cancelled" if why else "not_done")
        yield _closed(pk, routines[routine], closes, outcome)


def _missed_windows(
    first: date, last: date, routines: dict[int, Routine]
) -> Iterator[ClosedTask]:
    """Grid dates that passed while a task stayed open close with their own window."""
    since = day_start(first, Plant.current().zone)
    touched = (
        Task.objects.accounted()
        .filter(Q(done_at=None) | Q(done_at__gte=since))
        .exclude(Q(missed=[]) | Q(verdict=Task.Verdict.EXTRA))
        .annotate(first_due=_first_dues().values("due")[:1])
        .order_by()
    )
    columns = ("pk", "routine_id", "missed", "first_due")
    for pk, routine_id, missed, first_due in touched.values_list(*columns):
        routine = routines[routine_id]
        grace = 0 if routine.safety else tolerance_days(routine.every_days or 1)
        for text in missed:
            closes = date.fromisoformat(text) + grace * DAY
            spared = first_due is not None and closes < first_due
            if first <= closes <= last and not spared:
                yield _closed(pk, routine, closes, "missed")


def _first_dues() -> QuerySet[FirstDue]:
    return FirstDue.objects.filter(
        routine=OuterRef("routine"), machine=OuterRef("machine")
    )


def _closed(pk: int, routine: Routine, closes: date, outcome: Outcome) -> ClosedTask:
    return ClosedTask(
        task_id=pk,
        window=ClosedWindow(
            closes=closes,
            outcome=outcome,
            safety=routine.safety,
            minutes=routine.labour_minutes,
        ),
    )
