"""When is a routine due by the calendar, and which grid dates went by undone?

Example (common practice): every 28 days, due 2 March 2026, done 5 March.

>>> done = date(2026, 3, 5)
>>> fixed = RoutineRule(every_days=28, anchor="calendar")
>>> calendar_due(fixed, clock_start=date(2026, 2, 2), first_due=None, last_done=done)
datetime.date(2026, 3, 30)
>>> floating = RoutineRule(every_days=28, anchor="completion")
>>> calendar_due(floating, clock_start=date(2026, 2, 2), first_due=None, last_done=done)
datetime.date(2026, 4, 2)
"""

from datetime import date, timedelta

from maintenance.planning.routine_rule import RoutineRule


def calendar_due(
    rule: RoutineRule,
    *,
    clock_start: date,
    first_due: date | None,
    last_done: date | None,
) -> date | None:
    """The calendar due date of the task that is open; None without `every_days`.

    Never done: the first due date that the planner set, else the clock's start +
    every_days. Done, anchor completion: last done + every_days, whatever first due
    date was set (it is the first calendar due, and the first has been). Done, anchor
    calendar: the first grid date later than last done + tolerance. The grid is the
    first due date + k × every_days, k ≥ 0, or without one the clock's start +
    k × every_days, k ≥ 1; nothing on it lies before its first date, however early a
    completion was.

    A routine by meter alone has no calendar due, with or without a first due date.
    """
    if rule.every_days is None:
        return None
    interval = timedelta(days=rule.every_days)
    first = clock_start + interval if first_due is None else first_due
    if last_done is None:
        return first
    if rule.anchor == "completion":
        return last_done + interval
    served = last_done + timedelta(days=rule.tolerance_days or 0)
    steps = max(0, (served - first) // interval + 1)
    return first + steps * interval


def missed_grid_dates(
    rule: RoutineRule, *, due: date | None, until: date
) -> tuple[date, ...]:
    """Grid dates after the open task's own, `due`, that have passed by `until`.

    A date has passed when `until` is later than it: on the day itself it can still be
    kept. The task's own grid date is not among them, since the task itself is late
    then and would count twice. Only anchor calendar has a grid.

    >>> rule = RoutineRule(every_days=28, anchor="calendar")
    >>> missed_grid_dates(rule, due=date(2026, 3, 2), until=date(2026, 3, 31))
    (datetime.date(2026, 3, 30),)
    """
    if rule.anchor != "calendar" or rule.every_days is None or due is None:
        return ()
    interval = timedelta(days=rule.every_days)
    passed = (until - due - timedelta(days=1)) // interval
    return tuple(due + step * interval for step in range(1, passed + 1))
