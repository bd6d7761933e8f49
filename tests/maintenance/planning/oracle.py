"""The due-date rules once more, slow and obvious: days are walked one by one.

It shares no arithmetic with the package: no bisection, no division, no grid formula.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from cells.metering.history import MeterReading
from maintenance.planning.due_dates import Completion
from maintenance.planning.routine_rule import RoutineRule

DAY = timedelta(days=1)
IDLE_FOR_GOOD = 60  # days without production after which the walk gives up


@dataclass
class Case:
    rule: RoutineRule
    clock_start: date
    first_due: date | None
    completions: Sequence[Completion]
    readings: Sequence[MeterReading]
    produces: Callable[[date], bool]


@dataclass
class Answer:
    due: date | None
    earliest: date | None
    latest: date | None
    bound_by: str | None
    limit: Decimal | None
    missed: list[date]


def tolerance(rule: RoutineRule) -> timedelta:
    """The whole number of days nearest to a tenth, a half going up; 1 to 14."""
    assert rule.every_days is not None
    tenth = Fraction(rule.every_days, 10)
    nearest = 0
    while nearest + Fraction(1, 2) <= tenth:
        nearest += 1
    return timedelta(days=sorted([1, nearest, 14])[1])


def calendar_date(case: Case, last: Completion | None) -> date | None:
    if case.rule.every_days is None:
        return None
    interval = timedelta(days=case.rule.every_days)
    grid = case.first_due or case.clock_start + interval
    if last is None:
        return grid
    if case.rule.anchor == "completion":
        return last.on + interval
    while not grid > last.on + tolerance(case.rule):
        grid += interval
    return grid


def missed(case: Case, due: date | None, until: date) -> list[date]:
    if case.rule.anchor != "calendar" or case.rule.every_days is None or due is None:
        return []
    dates = []
    grid = due + timedelta(days=case.rule.every_days)
    while grid < until:
        dates.append(grid)
        grid += timedelta(days=case.rule.every_days)
    return dates


def use_per_date(case: Case, readings: Sequence[MeterReading]) -> Fraction | None:
    latest, earlier = readings[-1], readings[0]
    for reading in readings:
        if (latest.on - reading.on).days >= 28:
            earlier = reading
    dates, day = 0, earlier.on
    while day < latest.on:
        day += DAY
        dates += case.produces(day)
    used = Fraction(latest.value) - Fraction(earlier.value)
    return used / dates if dates and used > 0 else None


def threshold_date(
    case: Case,
    threshold: Decimal,
    counting: Sequence[MeterReading],
    readings: Sequence[MeterReading],
) -> date | None:
    for reading in counting:
        if reading.value >= threshold:
            return reading.on
    use = use_per_date(case, readings) if readings else None
    if use is None or readings[-1].value >= threshold:
        return None
    reached, day = Fraction(readings[-1].value), readings[-1].on
    idle = 0
    while idle < IDLE_FOR_GOOD:
        day += DAY
        idle += 1
        if case.produces(day):
            idle = 0
            reached += use
            if reached >= threshold:
                return day
    return None


def meter_dates(
    case: Case, last: Completion | None, readings: Sequence[MeterReading]
) -> tuple[Decimal | None, list[date | None]]:
    units = case.rule.every_units
    if last is None:
        counting = [r for r in readings if r.on >= case.clock_start]
        bases = [r.value for r in counting]
    else:
        counting = [r for r in readings if r.at > last.at]
        before = [r.value for r in readings if r.at <= last.at]
        given = [last.reading] if last.reading is not None else []
        bases = given + before[::-1] + [r.value for r in counting]
    if units is None or not bases:
        return None, [None, None, None]
    limit = bases[0] + units
    tenth = units / 10
    return limit, [
        threshold_date(case, threshold, counting, readings)
        for threshold in (limit - tenth, limit, limit + tenth)
    ]


def answer(
    case: Case,
    completions: Sequence[Completion],
    readings: Sequence[MeterReading],
    until: date,
) -> Answer:
    last = completions[-1] if completions else None
    by_calendar = calendar_date(case, last)
    limit, (low, meter, high) = meter_dates(case, last, readings)
    gone = missed(case, by_calendar, until)
    if meter and (by_calendar is None or meter < by_calendar):
        latest = meter if case.rule.safety else high
        return Answer(meter, low, latest, "meter", limit, gone)
    if by_calendar is None:
        return Answer(None, None, None, None, limit, gone)
    days = tolerance(case.rule)
    latest = by_calendar if case.rule.safety else by_calendar + days
    return Answer(by_calendar, by_calendar - days, latest, "calendar", limit, gone)


def answer_on(case: Case, on: date) -> Answer:
    return answer(
        case,
        [c for c in case.completions if c.on <= on],
        [r for r in case.readings if r.on <= on],
        on,
    )


def verdict(case: Case, index: int) -> str | None:
    completion = case.completions[index]
    known = [r for r in case.readings if r.at <= completion.at]
    stood = answer(case, case.completions[:index], known, completion.on)
    if stood.bound_by == "calendar":
        assert stood.earliest is not None
        assert stood.latest is not None
        if completion.on < stood.earliest:
            return "extra" if case.rule.anchor == "calendar" else "early"
        return "on_time" if completion.on <= stood.latest else "late"
    values = [r.value for r in known]
    if completion.reading is not None:
        values.append(completion.reading)
    units = case.rule.every_units
    if stood.limit is None or units is None or not values:
        return None
    over = values[-1] - stood.limit
    if over < -units / 10:
        return "early"
    return "on_time" if over <= (0 if case.rule.safety else units / 10) else "late"


def closed_windows(case: Case, on: date) -> list[tuple[date, str]]:
    """Every day is lived once: at its end, has the open task's window passed?"""
    windows: list[tuple[date, str]] = []
    for index in range(len(case.completions) + 1):
        previous = case.completions[index - 1] if index else None
        current = case.completions[index : index + 1]
        if previous and previous.on > on:
            break
        day = previous.on if previous else case.clock_start
        closed, looked_at, latest = None, -1, None
        ending = current[0].on if current and current[0].on <= on else on + DAY
        while day < ending and closed is None:
            known = [r for r in case.readings if r.on <= day]
            if len(known) != looked_at:  # nothing else changes from day to day
                latest = answer(case, case.completions[:index], known, day).latest
                looked_at = len(known)
            closed = latest if latest is not None and day > latest else None
            day += DAY
        if not current or current[0].on > on:
            windows += [(closed, "not_done")] if closed else []
            stood = answer_on(case, on)
        else:
            outcome = verdict(case, index)
            if outcome is None or (outcome == "extra" and closed is None):
                continue
            known = [r for r in case.readings if r.at <= current[0].at]
            until = current[0].on
            stood = answer(case, case.completions[:index], known, until)
            closes = closed or stood.latest or until
            windows.append((closes, "late" if outcome == "extra" else outcome))
        for grid in stood.missed:
            grace = timedelta(0) if case.rule.safety else tolerance(case.rule)
            windows.append((grid + grace, "missed"))
    first = case.first_due
    return [
        (closes, outcome)
        for closes, outcome in windows
        if closes < on and (outcome == "on_time" or not first or closes >= first)
    ]
