"""Keep tasks in step with the facts: open them, move their dates, judge what is done.

Called every night for everything, and with a few machines whenever something was done,
read, placed or changed there. Running it twice changes nothing.
"""

from collections.abc import Collection, Iterable, Sequence
from datetime import date, timedelta
from typing import Any, NamedTuple

from django.db import transaction
from django.db.models import Q

from cells import clock
from cells.bulk import insert_rows, update_rows
from maintenance.due import JUDGED, WINDOW, Subject, subjects
from maintenance.models import Task
from maintenance.planning.closed_windows import first_closing
from maintenance.planning.due_dates import Due, due_when_done, verdict_by

#: What the facts say of an open task.
FOLLOWING = (*WINDOW, "machine_id", "cell_id", "position")
NOT_NEEDED = "not needed: nothing stands there any more that it is for"
RETIRED = "not needed: the routine is retired"


@transaction.atomic
def follow(*, machine_ids: Collection[int] | None = None, **kwargs: Any) -> None:
    """Something was read, placed or done there: judge again, and move what is open.

    Nothing named: everywhere, as a day has passed or files were loaded.
    """
    day = clock.today()
    found = subjects(day, machines=machine_ids, whole_record=True)
    _judge(found)
    _update(found, day, machine_ids, None)


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
    found = subjects(day, machines=machines, routines=routines)
    return _update(found, day, machines, routines)


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
    day = clock.today()
    return _judge(
        subjects(day, machines=machines, routines=routines, whole_record=True)
    )


class _Open(NamedTuple):
    """An open task, as it is stored."""

    pk: int
    is_retired: bool  # its routine
    following: tuple[Any, ...]  # FOLLOWING

    @property
    def window_closed_on(self) -> date | None:
        closed: date | None = self.following[WINDOW.index("window_closed_on")]
        return closed


def _update(
    found: Iterable[Subject],
    day: date,
    machines: Collection[int] | None,
    routines: Collection[int] | None,
) -> int:
    wanted = {(subject.routine.pk, subject.clock): subject for subject in found}
    there = _open({clock for _, clock in wanted}, machines, routines)
    new, changed = [], []
    for key, subject in wanted.items():
        known = there.get(key)
        if known is None:
            new.append((*key, day, *_as_facts_say(subject, None, day)))
            continue
        following = _as_facts_say(subject, known.window_closed_on, day)
        if following != known.following:
            changed.append((*following, known.pk))
    gone = [
        (RETIRED if task.is_retired else NOT_NEEDED, task.pk)
        for key, task in there.items()
        if key not in wanted
    ]
    insert_rows(Task, ("routine_id", "clock", "opened_on", *FOLLOWING), new)
    update_rows(Task, FOLLOWING, changed)
    update_rows(Task, ("closed_why",), gone)
    return len(new) + len(changed) + len(gone)


def _open(
    clocks: Collection[str],
    machines: Collection[int] | None,
    routines: Collection[int] | None,
) -> dict[tuple[int, str], _Open]:
    """By routine and clock: those of the machines, and of the places they stand at."""
    rows = Task.objects.open().order_by()
    if machines is not None:
        rows = rows.filter(Q(machine__in=machines) | Q(clock__in=clocks))
    if routines is not None:
        rows = rows.filter(routine__in=routines)
    columns = ("routine_id", "clock", "pk", "routine__retired_on", *FOLLOWING)
    return {
        (routine, clock): _Open(pk, retired_on is not None, tuple(following))
        for routine, clock, pk, retired_on, *following in rows.values_list(*columns)
    }


def _judge(found: Iterable[Subject]) -> int:
    changed = []
    for subject in found:
        since = subject.routine.rule_since
        for index, task in enumerate(subject.done):
            if since and task.done_at < since:
                continue
            judged = _as_judged(subject, index)
            if judged != task.judged:
                changed.append((*judged, task.pk))
    update_rows(Task, JUDGED, changed)
    return len(changed)


def _as_facts_say(subject: Subject, closed: date | None, day: date) -> tuple[Any, ...]:
    """FOLLOWING; ``closed``: what is stored of its window, which stays there."""
    due = subject.due(day)
    is_past = due.latest is not None and due.latest < day
    if closed is None and (is_past or subject.inputs.rule.every_units is not None):
        # Asked of every day since, in case the job slept a night: a meter's forecast
        # may have closed the window before it moved away again.
        last = len(subject.inputs.completions)
        closed = first_closing(subject.inputs, last, last_day=day)
    placement = subject.placement
    place = (subject.machine.pk, placement.cell_id, placement.position)
    return (*_window(due, closed), *place)


def _as_judged(subject: Subject, index: int) -> tuple[Any, ...]:
    """JUDGED"""
    inputs = subject.inputs
    completion = inputs.completions[index]
    due = due_when_done(inputs, index)
    outcome: str = verdict_by(due, inputs, index) or ""
    closed = first_closing(inputs, index, last_day=completion.on - timedelta(days=1))
    if closed is not None and outcome == Task.Verdict.EXTRA:
        # A meter forecast had closed its window before it moved away again.
        outcome = Task.Verdict.LATE.value
    if closed is None and outcome not in ("", Task.Verdict.EXTRA):
        closed = due.latest or completion.on
    return (*_window(due, closed), outcome)


def _window(due: Due, closed: date | None) -> Sequence[Any]:
    """WINDOW"""
    return (
        due.due,
        due.earliest,
        due.latest,
        due.bound_by or "",
        due.meter_limit,
        due.meter_not_read,
        [day.isoformat() for day in due.missed_grid_dates],
        closed,
    )
