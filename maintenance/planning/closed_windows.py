"""Which windows of a routine on a machine have closed, and what came of each?

The record is replayed: what stood on each day decides where a window closed, and there
it stays, however the forecast moves later. Own arithmetic: a safety test every 28 days
on a grid from 2 March 2026, done on 2 March and on 31 March (a day late).

>>> from maintenance.planning.due_dates import Completion
>>> from cells.working_time.production_calendar import ProductionCalendar
>>> from maintenance.planning.routine_rule import RoutineRule
>>> inputs = DueInputs(
...     rule=RoutineRule(every_days=28, anchor="calendar", safety=True),
...     clock_start=date(2026, 1, 1),
...     first_due=date(2026, 3, 2),
...     completions=(
...         Completion(at=0, on=date(2026, 3, 2)),
...         Completion(at=9, on=date(2026, 3, 31)),
...     ),
...     production=ProductionCalendar(
...         (), known_from=date(2026, 1, 1), known_to=date(2026, 1, 1)
...     ),
... )
>>> for window in closed_windows(inputs, on=date(2026, 4, 28), minutes=5):
...     print(window.closes, window.outcome)
2026-03-02 on_time
2026-03-30 late
2026-04-27 not_done
"""

from collections.abc import Iterator
from datetime import date, timedelta

from maintenance.planning.compliance import ClosedWindow, Outcome
from maintenance.planning.due_dates import (
    Due,
    DueInputs,
    due_when_done,
    next_due,
    standing_due,
    verdict,
)

DAY = timedelta(days=1)


def closed_windows(inputs: DueInputs, *, on: date, minutes: int) -> list[ClosedWindow]:
    """The windows that have closed by `on`, oldest task first.

    A window has closed when `on` is later than its last day. It closed where it stood
    on the first day that was later than its end; if the task was done before that,
    where it stood when done; if it had no end then, on the day it was done.

    - The outcome of a done task is its verdict. An `extra` completion ends no task,
      unless the window had closed before it by a meter forecast that has moved since:
      then it is late.
    - Grid dates passed while a task stayed open are `missed`; each closes at the end of
      its own window.
    - Before a planner's first due date nothing counts against anybody: of windows that
      closed earlier only those done on time are listed.

    `minutes` are the labour minutes of the routine. Deferred and cancelled are not
    known here: the caller, who knows, replaces `not_done` by them.
    """
    return [
        ClosedWindow(
            closes=closes, outcome=outcome, safety=inputs.rule.safety, minutes=minutes
        )
        for closes, outcome in _outcomes(inputs, on)
        if closes < on and (outcome == "on_time" or not _before_first(inputs, closes))
    ]


def _before_first(inputs: DueInputs, day: date) -> bool:
    return inputs.first_due is not None and day < inputs.first_due


def _outcomes(inputs: DueInputs, on: date) -> Iterator[tuple[date, Outcome]]:
    done = 0
    for index, completion in enumerate(inputs.completions):
        if completion.on > on:
            break
        done = index + 1
        yield from _done_outcomes(inputs, index)
    closed = first_closing(inputs, done, last_day=on)
    if closed is not None:
        yield closed, "not_done"
    yield from _missed(inputs, next_due(inputs, on=on))


def _done_outcomes(inputs: DueInputs, index: int) -> Iterator[tuple[date, Outcome]]:
    """The window that completion number `index` ended, and the dates it missed."""
    completion = inputs.completions[index]
    closed = first_closing(inputs, index, last_day=completion.on - DAY)
    outcome = verdict(inputs, index)
    if outcome is None or (outcome == "extra" and closed is None):
        return
    due = due_when_done(inputs, index)
    closes = closed or due.latest or completion.on
    yield closes, "late" if outcome == "extra" else outcome
    yield from _missed(inputs, due)


def _missed(inputs: DueInputs, due: Due) -> Iterator[tuple[date, Outcome]]:
    rule = inputs.rule
    grace = 0 if rule.safety else rule.tolerance_days or 0
    for day in due.missed_grid_dates:
        yield day + timedelta(days=grace), "missed"


def first_closing(inputs: DueInputs, done: int, *, last_day: date) -> date | None:
    """Where the window after `done` completions first closed, up to `last_day`.

    What stands changes only on dates with a reading, so one look per stretch between
    them is enough.
    """
    since = inputs.completions[done - 1].on if done else inputs.clock_start
    if last_day < since:
        return None
    starts = [since]
    if inputs.rule.every_units is not None:
        readings = inputs.readings
        between = slice(readings.count_on(since), readings.count_on(last_day))
        starts += sorted(set(readings.dates[between]))
    ends = [start - DAY for start in starts[1:]] + [last_day]
    for start, end in zip(starts, ends, strict=True):
        read = inputs.readings.count_on(start)
        latest = standing_due(inputs, done=done, read=read, until=start).latest
        if latest is not None and latest < end:
            return latest
    return None
