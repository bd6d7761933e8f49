"""PM compliance: where task rows become closed windows, and those become figures.

``maintenance.planning.compliance`` has the rule; here is what it is told. A window that
has closed stays where it closed, whatever became of the task later; deferred and
cancelled ones are among them. Only a record that was a mistake leaves the account.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, Literal, overload

from django.db.models import Count, Exists, Max, OuterRef, Q, QuerySet

from cells import clock
from cells.models import Plant
from cells.working_time.periods import add_months
from cells.working_time.plant_time import day_start
from maintenance.models import FirstDue, Routine, Task
from maintenance.models.tasks import TaskQuerySet
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
    return pm_compliance(windows(first, last), first=first, last=last)


def by_month(first: date, last: date) -> list[tuple[date, PmCompliance]]:
    """The first of each calendar month that the period touches, with its figures."""
    return months_of(windows(first, last, by_date=True), first, last)


def months_of(
    closed: Iterable[ClosedWindow], first: date, last: date
) -> list[tuple[date, PmCompliance]]:
    """The same of windows that are known already."""
    months: dict[date, list[ClosedWindow]] = {}
    month = first.replace(day=1)
    while month <= last:
        months[month] = []
        month = add_months(month, 1)
    for window in closed:
        months[window.closes.replace(day=1)].append(window)
    return [
        (month, pm_compliance(found, first=first, last=last))
        for month, found in months.items()
    ]


#: Which of the closed windows are asked for; "": those that were not on time.
Listed = Outcome | Literal["", "all"]


class ClosedTasks(Sequence[ClosedTask]):
    """The windows that closed in a period, the latest first, read as far as shown."""

    def __init__(
        self, first: date, last: date, *, listed: Listed = "all", tests: bool = False
    ) -> None:
        last = min(last, clock.today() - DAY)
        self._routines = {routine.pk: routine for routine in Routine.objects.all()}
        self._own = _came_to(_own(first, last), listed)
        if tests:
            self._own = self._own.filter(routine__safety=True)
        self._missed = [
            one
            for one in _missed_windows(first, last, self._routines)
            if listed in ("", "all", "missed") and one.window.safety >= tests
        ]

    def __len__(self) -> int:
        return self._own.count() + len(self._missed)

    def __iter__(self) -> Iterator[ClosedTask]:
        return iter(self[:])

    @overload
    def __getitem__(self, part: int) -> ClosedTask: ...
    @overload
    def __getitem__(self, part: slice) -> list[ClosedTask]: ...
    def __getitem__(self, part: int | slice) -> ClosedTask | list[ClosedTask]:
        if isinstance(part, int):
            return self[part : part + 1][0]
        rows = self._own.order_by("-window_closed_on", "-pk")[: part.stop]
        own = [
            ClosedTask(task_id=pk, window=_own_window(self._routines, *facts))
            for pk, *facts in rows.values_list("pk", *_OWN)
        ]
        both = sorted(
            [*own, *self._missed],
            key=lambda one: (one.window.closes, one.task_id),
            reverse=True,
        )
        return both[part]


def _came_to(tasks: TaskQuerySet, listed: Listed) -> TaskQuerySet:
    if listed == "all":
        return tasks
    if listed == "":
        return tasks.exclude(verdict=Task.Verdict.ON_TIME)
    if listed == "not_done":
        return tasks.filter(verdict="", closed_why="")
    if listed == "cancelled":
        return tasks.filter(verdict="").exclude(closed_why="")
    return tasks.filter(verdict=listed)


def windows(
    first: date, last: date, *, by_date: bool = False
) -> Iterator[ClosedWindow]:
    """Those that closed in a period, counted by the database where they are alike.

    Unless it is asked ``by_date``, windows are alike whatever date they closed on, and
    stand on the last of these.
    """
    last = min(last, clock.today() - DAY)
    if last >= first:
        routines = {routine.pk: routine for routine in Routine.objects.all()}
        alike = ("routine_id", "verdict", "closed_why")
        groups = _own(first, last).values_list(*alike)
        if by_date:
            groups = _own(first, last).values_list(*alike, "window_closed_on")
        for routine, verdict, why, *_, closes, times in groups.annotate(
            Max("window_closed_on"), Count("pk")
        ):
            window = _own_window(routines, routine, closes, verdict, why)
            yield replace(window, times=times)
        for missed in _missed_windows(first, last, routines):
            yield missed.window


#: What a task's own window is made of.
_OWN = ("routine_id", "window_closed_on", "verdict", "closed_why")


def _own(first: date, last: date) -> TaskQuerySet:
    """Tasks with a window of their own that closed in the period and counts.

    Before a planner's first due date nothing is missed.
    """
    spared = _first_dues().filter(due__gt=OuterRef("window_closed_on"))
    return (
        Task.objects.accounted()
        .filter(window_closed_on__range=(first, last))
        .filter(Q(verdict=Task.Verdict.ON_TIME) | ~Exists(spared))
        .order_by()
    )


def _own_window(
    routines: dict[int, Routine], routine: int, closes: date, verdict: str, why: str
) -> ClosedWindow:
    outcome: Any = verdict or ("cancelled" if why else "not_done")
    return _window(routines[routine], closes, outcome)


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
                window = _window(routine, closes, "missed")
                yield ClosedTask(task_id=pk, window=window)


def _first_dues() -> QuerySet[FirstDue]:
    return FirstDue.objects.order_by().filter(
        routine=OuterRef("routine"), machine=OuterRef("machine")
    )


def _window(routine: Routine, closes: date, outcome: Outcome) -> ClosedWindow:
    return ClosedWindow(
        closes=closes,
        outcome=outcome,
        safety=routine.safety,
        minutes=routine.labour_minutes,
    )
