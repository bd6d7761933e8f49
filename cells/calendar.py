"""When the plant means to run: verbs for patterns, days off and one-off shifts.

Each of them makes the stored shifts that it touches anew, in the same transaction, so
that either all of it holds or none. Texts like ``mon-fri`` and ``09:00-09:10`` come as
people write them.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from typing import NamedTuple

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import clock, codes, rights, shifts, trail
from cells.models import Area, DayOff, Line, OneOffShift, Plant, ShiftPattern
from cells.shift_plan import inputs_of, planned_shifts
from cells.working_time.breaks import check_breaks, parse_breaks
from cells.working_time.patterns import OneOff, one_off_shift
from cells.working_time.plant_time import local_date
from cells.working_time.weekdays import parse_weekdays

_DAY = timedelta(days=1)
# Long enough for every weekday to meet every other pattern's, clock change or not.
_FORTNIGHT = timedelta(days=15)

HISTORY_YEARS = 10

ONLY_PLANNERS = "Only a planner edits the calendar: ask one to enter this."


class PatternFacts(NamedTuple):
    name: str
    weekdays: str  # like mon-fri or sat,sun
    start: time  # plant time
    end: time  # plant time; not after start: the next day
    breaks: str  # like 09:00-09:10;11:30-12:00
    date_offset: int = 0  # days from the date it starts to its production date


@transaction.atomic
def add_pattern(
    *,
    area: Area,
    line: Line | None,
    facts: PatternFacts,
    valid_from: date,
    valid_to: date | None = None,
    by: User,
    why: str = "",
) -> ShiftPattern:
    _need_planner(by)
    check_line(area, line)
    _check_facts(facts)
    _check_not_long_ago(valid_from)
    pattern = ShiftPattern(
        area=area,
        line=line,
        **facts._asdict(),
        valid_from=valid_from,
        valid_to=valid_to,
    )
    pattern.full_clean()
    pattern.save()
    trail.created([pattern], by=by, why=why)
    replan(_lines(area, line), valid_from, valid_to, by=by, why=why)
    return pattern


@transaction.atomic
def change_pattern(
    *, pattern: ShiftPattern, facts: PatternFacts, from_date: date, by: User, why: str
) -> ShiftPattern:
    """From a date on; what was planned before that date stays as it was.

    Returns the pattern that holds from then on.
    """
    _need_planner(by)
    _check_facts(facts)
    _check_holds(pattern, from_date, "from_date")
    if from_date == pattern.valid_from:
        trail.save_changes(pattern, facts._asdict(), by=by, why=why)
        changed = pattern
    else:
        valid_to = pattern.valid_to
        trail.save_changes(pattern, {"valid_to": from_date - _DAY}, by=by, why=why)
        changed = ShiftPattern(
            area=pattern.area,
            line=pattern.line,
            **facts._asdict(),
            valid_from=from_date,
            valid_to=valid_to,
        )
        changed.full_clean()
        changed.save()
        trail.created([changed], by=by, why=why)
    lines = _lines(pattern.area, pattern.line)
    replan(lines, from_date, changed.valid_to, by=by, why=why)
    return changed


@transaction.atomic
def end_pattern(*, pattern: ShiftPattern, last_day: date, by: User, why: str) -> None:
    """The last day on which it holds; a later one than before prolongs it."""
    _need_planner(by)
    if last_day < pattern.valid_from:
        raise ValidationError(
            {
                "last_day": f"{pattern} holds from {pattern.valid_from}, after "
                f"{last_day}: give a later date, or remove the pattern."
            }
        )
    ends = [pattern.valid_to, last_day]
    trail.save_changes(pattern, {"valid_to": last_day}, by=by, why=why)
    first = min(day for day in ends if day is not None)
    last = None if None in ends else max(day for day in ends if day is not None)
    replan(_lines(pattern.area, pattern.line), first, last, by=by, why=why)


@transaction.atomic
def remove_pattern(*, pattern: ShiftPattern, by: User, why: str) -> None:
    """One that was entered by mistake. The trail keeps what it was."""
    _need_planner(by)
    lines = _lines(pattern.area, pattern.line)
    first, last = pattern.valid_from, pattern.valid_to
    trail.removed(pattern, by=by, why=why)
    pattern.delete()
    replan(lines, first, last, by=by, why=why)


@transaction.atomic
def add_day_off(
    *,
    on: date,
    area: Area | None,
    line: Line | None,
    name: str,
    by: User,
    why: str = "",
) -> DayOff:
    """Of a line, an area or (neither) the whole plant."""
    _need_planner(by)
    if line is not None:
        check_line(area or line.area, line)
    day_off = DayOff(date=on, area=area, line=line, name=name)
    day_off.full_clean()
    day_off.save()
    trail.created([day_off], by=by, why=why)
    replan(_lines(area, line), on, on, by=by, why=why)
    return day_off


@transaction.atomic
def remove_day_off(*, day_off: DayOff, by: User, why: str) -> None:
    _need_planner(by)
    on, lines = day_off.date, _lines(day_off.area, day_off.line)
    trail.removed(day_off, by=by, why=why)
    day_off.delete()
    replan(lines, on, on, by=by, why=why)


@transaction.atomic
def set_one_off_shift(
    *,
    area: Area,
    line: Line | None,
    name: str,
    starts_at: datetime,
    ends_at: datetime,
    breaks: str = "",
    by: User,
    why: str = "",
) -> OneOffShift:
    """Overtime, other hours, or (ends_at = starts_at) a cancelled shift.

    One of that name and date that is there already is changed.
    """
    _need_planner(by)
    check_line(area, line)
    zone = Plant.current().zone
    check_one_off(name, starts_at, ends_at, breaks)
    starts_on = local_date(starts_at, zone)
    if starts_at == ends_at:
        check_cancels_something(_lines(area, line), name, starts_on)
    times = {"starts_at": starts_at, "ends_at": ends_at, "breaks": breaks}
    one_off = OneOffShift.objects.filter(
        area=area, line=line, name=name, starts_on=starts_on
    ).first()
    if one_off is None:
        one_off = OneOffShift(
            area=area, line=line, name=name, starts_on=starts_on, **times
        )
        one_off.full_clean()
        one_off.save()
        trail.created([one_off], by=by, why=why)
    else:
        trail.save_changes(one_off, times, by=by, why=why)
    replan(_lines(area, line), starts_on, starts_on, by=by, why=why)
    return one_off


@transaction.atomic
def remove_one_off_shift(*, one_off: OneOffShift, by: User, why: str) -> None:
    """The pattern's shift of that name and date, if any, holds again."""
    _need_planner(by)
    on, lines = one_off.starts_on, _lines(one_off.area, one_off.line)
    trail.removed(one_off, by=by, why=why)
    one_off.delete()
    replan(lines, on, on, by=by, why=why)


def _need_planner(by: User) -> None:
    rights.need(rights.may_edit_registry(by), ONLY_PLANNERS)


def _lines(area: Area | None, line: Line | None) -> list[Line]:
    if line is not None:
        return [line]
    if area is not None:
        return list(Line.objects.filter(area=area))
    return list(Line.objects.all())


def replan(
    lines: list[Line],
    first: date,
    last: date | None,
    *,
    by: User | None,
    why: str,
    door: str = "page",
) -> shifts.Outcome:
    """Make the shifts anew that start from first to last, as far as they are stored.

    Clashes are looked for beyond the horizon too, lest a pattern of next year that
    cannot work is found by the nightly job.
    """
    first, last = first - _DAY, last + _DAY if last is not None else None
    horizon = shifts.horizon(clock.today())
    clash_to = min(last or date.max, max(horizon, first) + _FORTNIGHT)
    try:
        for _ in planned_shifts(lines, first, clash_to):
            pass
    except ValueError as error:
        raise ValidationError(str(error)) from error
    stored_to = min(last or horizon, horizon)
    if first > stored_to:
        return shifts.Outcome()
    return shifts.materialise(
        lines=lines, first=first, last=stored_to, by=by, why=why, door=door
    )


def check_line(area: Area, line: Line | None) -> None:
    if line is not None and line.area_id != area.pk:
        raise ValidationError(
            {
                "line": f"Line {line} belongs to area {line.area}: choose a line of "
                f"area {area}."
            }
        )


@contextmanager
def _told(field: str) -> Iterator[None]:
    """A sentence of the calculation becomes one about a field."""
    try:
        yield
    except ValueError as error:
        raise ValidationError({field: str(error)}) from error


def _check_facts(facts: PatternFacts) -> None:
    codes.check_key("name", facts.name)
    with _told("weekdays"):
        parse_weekdays(facts.weekdays)
    with _told("breaks"):
        check_breaks(parse_breaks(facts.breaks), facts.start, facts.end)


def _check_not_long_ago(valid_from: date) -> None:
    """A slip of the keys would make the shifts of decades."""
    oldest = clock.today() - timedelta(days=365 * HISTORY_YEARS)
    if valid_from < oldest:
        raise ValidationError(
            {
                "valid_from": f"{valid_from} lies more than {HISTORY_YEARS} years "
                "back: check the year."
            }
        )


def _check_holds(pattern: ShiftPattern, day: date, field: str) -> None:
    if day < pattern.valid_from or (pattern.valid_to and day > pattern.valid_to):
        until = f"to {pattern.valid_to}" if pattern.valid_to else "on"
        raise ValidationError(
            {
                field: f"{pattern} holds from {pattern.valid_from} {until}: give a "
                f"date in that time, not {day}."
            }
        )


def check_one_off(
    name: str, starts_at: datetime, ends_at: datetime, breaks: str
) -> None:
    if ends_at < starts_at:
        raise ValidationError(
            {
                "ends_at": f"{name} would end before it starts: give a later end, or "
                "the start again to cancel the shift."
            }
        )
    codes.check_key("name", name)
    with _told("breaks"):
        one_off = OneOff(
            name=name,
            starts_at=starts_at,
            ends_at=ends_at,
            breaks=parse_breaks(breaks),
        )
        one_off_shift(one_off, Plant.current().zone)


def check_cancels_something(lines: Iterable[Line], name: str, on: date) -> None:
    """A cancelled shift of a misspelt name would silently cancel nothing."""
    for _, inputs in inputs_of(lines, on, on):
        if any(one.name == name and one.starts_on(on) for one in inputs.patterns):
            return
    raise ValidationError(
        {
            "name": f"No pattern has a shift named {name} on {on}, so there is none to "
            "cancel: check the name and the date."
        }
    )
