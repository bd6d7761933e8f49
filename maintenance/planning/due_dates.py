"""When is a routine due on a machine, in which window, and was it done on time?

Worked by hand: every 28 days from completion, done on 5 March 2026, tolerance 3 days.

>>> inputs = DueInputs(
...     rule=RoutineRule(every_days=28),
...     clock_start=date(2026, 1, 1),
...     completions=(Completion(at=1_772_700_000, on=date(2026, 3, 5)),),
...     production=ProductionCalendar(
...         (), known_from=date(2026, 1, 1), known_to=date(2026, 1, 1)
...     ),
... )
>>> due = next_due(inputs, on=date(2026, 3, 31))
>>> str(due.earliest), str(due.due), str(due.latest), due.bound_by
('2026-03-30', '2026-04-02', '2026-04-05', 'calendar')
>>> state(due, on=date(2026, 3, 31))
'open'

What is dated after the day of asking is left out of account, so callers may pass all
that they know. Moments put readings and completions of one day in order; a reading at
the very moment of a completion counts as taken before it, not after it.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Literal, NamedTuple

from cells.metering.history import MeterHistory
from cells.working_time.production_calendar import ProductionCalendar
from maintenance.planning.calendar_due import calendar_due, missed_grid_dates
from maintenance.planning.routine_rule import RoutineRule

BoundBy = Literal["calendar", "meter"]
State = Literal["ahead", "open", "late", "no_forecast"]
Verdict = Literal["on_time", "early", "late", "extra"]

NO_READINGS = MeterHistory()


class Completion(NamedTuple):
    """The routine was done once. `reading` is the one given with it, if confirmed."""

    at: int  # UTC seconds
    on: date  # the plant's date of it
    reading: Decimal | None = None  # units of the routine's meter


@dataclass(frozen=True, slots=True, kw_only=True)
class DueInputs:
    """All that one routine on one machine (or place) goes by.

    Raises ValueError when the completions are not in order of time.
    """

    rule: RoutineRule
    clock_start: date  # the later of first placed_on and the routine's valid_from
    production: ProductionCalendar  # of the machine's area
    first_due: date | None = None  # set by a planner, to spread a new routine
    completions: Sequence[Completion] = ()  # in order of time
    readings: MeterHistory = NO_READINGS  # of the routine's meter

    def __post_init__(self) -> None:
        for earlier, later in pairwise(self.completions):
            if earlier.at > later.at or earlier.on > later.on:
                raise ValueError(
                    f"The completion of {earlier.on} must come after that of "
                    f"{later.on}: give them in order of time."
                )


class Due(NamedTuple):
    """The open task of one routine on one machine.

    `due`, `earliest`, `latest` and `bound_by` are all None without a forecast.
    `latest` alone is None when the limit has been reached but the readings show no use
    to forecast the window's end from: such a task is open, and not late yet.
    """

    due: date | None
    earliest: date | None  # first day of the window
    latest: date | None  # last day of the window
    bound_by: BoundBy | None
    last_done: date | None
    meter_limit: Decimal | None  # known as soon as there is a base reading
    meter_not_read: bool  # it goes by a meter too, which gives no date
    missed_grid_dates: tuple[date, ...]


class _Window(NamedTuple):
    due: date | None
    earliest: date | None
    latest: date | None


_NO_WINDOW = _Window(None, None, None)


def next_due(inputs: DueInputs, *, on: date) -> Due:
    """The due date that stands at the end of the day `on`, with its window.

    The earlier of calendar and meter binds and brings its window; on a tie the
    calendar does. A meter without a forecast leaves it to the calendar.
    """
    done = bisect_right(inputs.completions, on, key=lambda completion: completion.on)
    return standing_due(inputs, done=done, read=inputs.readings.count_on(on), until=on)


def standing_due(inputs: DueInputs, *, done: int, read: int, until: date) -> Due:
    """The due that the first `done` completions and first `read` readings give."""
    rule = inputs.rule
    last = inputs.completions[done - 1] if done else None
    by_calendar = calendar_due(
        rule,
        clock_start=inputs.clock_start,
        first_due=inputs.first_due,
        last_done=last.on if last else None,
    )
    limit = _meter_limit(inputs, last, read)
    meter = _meter_window(inputs, last, read, limit)
    window, bound_by = _binding(rule, by_calendar, meter)
    return Due(
        due=window.due,
        earliest=window.earliest,
        latest=window.latest,
        bound_by=bound_by,
        last_done=last.on if last else None,
        meter_limit=limit,
        meter_not_read=rule.every_units is not None and meter.due is None,
        missed_grid_dates=missed_grid_dates(rule, due=by_calendar, until=until),
    )


def _binding(
    rule: RoutineRule, by_calendar: date | None, meter: _Window
) -> tuple[_Window, BoundBy | None]:
    if by_calendar is None:
        return meter, "meter" if meter.due else None
    if meter.due and meter.due < by_calendar:
        return meter, "meter"
    tolerance = timedelta(days=rule.tolerance_days or 0)
    latest = by_calendar if rule.safety else by_calendar + tolerance
    return _Window(by_calendar, by_calendar - tolerance, latest), "calendar"


def _meter_limit(
    inputs: DueInputs, last: Completion | None, read: int
) -> Decimal | None:
    """Base + every_units, the base by what is known from the first `read` readings.

    Done: the reading given with the last completion, else the last one before it, else
    the first ever. Never done: the first one dated on the clock's start or later.
    """
    units, readings = inputs.rule.every_units, inputs.readings
    if units is None:
        return None
    if last is None:
        index = readings.first_from(inputs.clock_start)
    elif last.reading is not None:
        return last.reading + units
    else:
        index = max(0, readings.count_at(last.at) - 1)
    return readings.values[index] + units if index < read else None


def _meter_window(
    inputs: DueInputs, last: Completion | None, read: int, limit: Decimal | None
) -> _Window:
    """The dates of limit − 10 %, limit and limit + 10 %, by the same rule each.

    A threshold counts as reached by readings after the last completion only (never
    done: from the clock's start on). A safety test's window ends on its due date.
    """
    tolerance, readings = inputs.rule.tolerance_units, inputs.readings
    if limit is None or tolerance is None:
        return _NO_WINDOW
    start = (
        readings.first_from(inputs.clock_start)
        if last is None
        else readings.count_at(last.at)
    )
    earliest, due, latest = readings.threshold_dates(
        (limit - tolerance, limit, limit + tolerance),
        inputs.production,
        start=start,
        stop=read,
    )
    if due is None:
        return _NO_WINDOW
    return _Window(due, earliest, due if inputs.rule.safety else latest)


def state(due: Due, *, on: date) -> State:
    """Where the day `on` stands to the window: ahead of it, in it, or after it.

    `no_forecast` when neither trigger gives a date.
    """
    if due.due is None or due.earliest is None:
        return "no_forecast"
    if on < due.earliest:
        return "ahead"
    return "late" if due.latest is not None and on > due.latest else "open"


def due_when_done(inputs: DueInputs, index: int) -> Due:
    """The due that stood when completion number `index` (from 0) was made.

    Worked out from the completions before it and the readings up to its own moment,
    the one given with it among them; what was read later changes nothing.
    """
    completion = inputs.completions[index]
    return standing_due(
        inputs,
        done=index,
        read=inputs.readings.count_at(completion.at),
        until=completion.on,
    )


def verdict(inputs: DueInputs, index: int) -> Verdict | None:
    """Was completion number `index` (from 0) on time?

    The trigger that bound when it was done judges. Calendar: the done date inside the
    window. Meter: the reading at completion (given with it, else the last before it)
    within 10 % of every_units of the limit, for a safety test not above the limit;
    dates play no part, so it needs no forecast and no forecast changes it.

    `extra`: anchor calendar, before the window of a grid date; it serves no date and
    that date stays due. None: there was no limit or no reading to judge by.

    Own arithmetic: limit 1,000, so 900 to 1,100 is on time.

    >>> def done_at(value, safety=False):
    ...     return verdict(DueInputs(
    ...         rule=RoutineRule(every_units=Decimal(1000), safety=safety),
    ...         clock_start=date(2026, 1, 1),
    ...         completions=(
    ...             Completion(at=0, on=date(2026, 1, 1), reading=Decimal(0)),
    ...             Completion(at=9, on=date(2026, 2, 1), reading=Decimal(value)),
    ...         ),
    ...         production=ProductionCalendar(
    ...             (), known_from=date(2026, 1, 1), known_to=date(2026, 1, 1)
    ...         ),
    ...     ), 1)
    >>> [done_at(value) for value in (899, 900, 1100, 1101)]
    ['early', 'on_time', 'on_time', 'late']
    >>> done_at(1001, safety=True)
    'late'
    """
    return verdict_by(due_when_done(inputs, index), inputs, index)


def verdict_by(due: Due, inputs: DueInputs, index: int) -> Verdict | None:
    """The same by the due that stood, for who has worked that out already."""
    if due.bound_by == "calendar":
        return _calendar_verdict(inputs, due, inputs.completions[index].on)
    return _meter_verdict(inputs, due, inputs.completions[index])


def _calendar_verdict(inputs: DueInputs, due: Due, done: date) -> Verdict:
    if due.earliest is not None and done < due.earliest:
        return "extra" if inputs.rule.anchor == "calendar" else "early"
    return "late" if due.latest is not None and done > due.latest else "on_time"


def _meter_verdict(
    inputs: DueInputs, due: Due, completion: Completion
) -> Verdict | None:
    value, limit = completion.reading, due.meter_limit
    tolerance = inputs.rule.tolerance_units
    if value is None and (before := inputs.readings.count_at(completion.at)):
        value = inputs.readings.values[before - 1]
    if value is None or limit is None or tolerance is None:
        return None
    if value < limit - tolerance:
        return "early"
    highest = limit if inputs.rule.safety else limit + tolerance
    return "late" if value > highest else "on_time"
