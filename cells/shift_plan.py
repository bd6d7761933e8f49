"""What do the stored patterns, days off and one-off shifts plan for each line?

The one place where these rows become inputs of ``cells.working_time``.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from typing import NamedTuple

from django.db.models import Q

from cells import clock
from cells.models import Area, DayOff, Line, OneOffShift, Plant, Shift, ShiftPattern
from cells.working_time.breaks import parse_breaks
from cells.working_time.patterns import OneOff, Pattern, PlannedShift, shifts_of
from cells.working_time.production_calendar import ProductionCalendar
from cells.working_time.spans import Span, subtraction
from cells.working_time.weekdays import parse_weekdays

_DAY = timedelta(days=1)
# A shift may start the day before its production date or after it, and may clash with
# one that starts a day further out. `shifts_of` looks as far.
_AROUND = timedelta(days=3)


class Inputs(NamedTuple):
    """What holds for one line; hashable, as lines of an area mostly share theirs."""

    patterns: tuple[Pattern, ...]
    days_off: frozenset[date]
    one_offs: tuple[OneOff, ...]


def planned_shifts(
    lines: Iterable[Line], first: date, last: date
) -> Iterator[tuple[Line, list[PlannedShift]]]:
    """Each line with its shifts on production dates from first to last, both included.

    ValueError with a sentence where two shifts clash.
    """
    zone = Plant.current().zone
    done: dict[Inputs, list[PlannedShift]] = {}
    for line, inputs in inputs_of(lines, first, last):
        if inputs not in done:
            try:
                done[inputs] = shifts_of(*inputs, zone, first, last)
            except ValueError as error:
                raise ValueError(f"Line {line.code}: {error}") from error
        yield line, done[inputs]


def inputs_of(
    lines: Iterable[Line], first: date, last: date
) -> Iterator[tuple[Line, Inputs]]:
    """Three queries for any number of lines."""
    lines = list(lines)
    here = Q(area__in={line.area_id for line in lines}) | Q(line__in=lines)
    patterns = _by_place(ShiftPattern.objects.filter(here))
    days_off = _by_place(
        DayOff.objects.filter(here | Q(area=None, line=None)).filter(
            date__range=(first - _AROUND, last + _AROUND)
        )
    )
    one_offs = _by_place(
        OneOffShift.objects.filter(here).filter(
            starts_on__range=(first - _AROUND, last + _AROUND)
        )
    )
    for line in lines:
        of_area, of_line = (line.area_id, None), (None, line.pk)
        yield (
            line,
            Inputs(
                patterns=patterns_for_line(
                    [_pattern(row) for row in patterns[of_line]],
                    [_pattern(row) for row in patterns[of_area]],
                ),
                days_off=frozenset(
                    row.date
                    for place in (of_line, of_area, (None, None))
                    for row in days_off[place]
                ),
                one_offs=tuple(
                    _one_off(row) for row in one_offs[of_line] + one_offs[of_area]
                ),
            ),
        )


def patterns_for_line(
    own: list[Pattern], of_area: list[Pattern]
) -> tuple[Pattern, ...]:
    """On each date the line's own patterns, all of them, or else its area's.

    So a line that gets patterns of its own next month keeps this month's shifts.
    """
    if not own:
        return tuple(of_area)
    taken = [_validity(pattern) for pattern in own]
    rest = [
        _clipped(pattern, span)
        for pattern in of_area
        for span in subtraction([_validity(pattern)], taken)
    ]
    return (*own, *rest)


def production_calendar(area: Area, known_from: date) -> ProductionCalendar:
    """When the area starts a shift, from a date on and without an end.

    Date by date up to the last exception that is planned; then the week repeats.
    """
    known_to = max(_last_exception(area), known_from, clock.today())
    week = production_dates(area, known_to + _DAY, known_to + 7 * _DAY)
    return ProductionCalendar(
        production_dates(area, known_from, known_to),
        known_from=known_from,
        known_to=known_to,
        weekdays_after={day.weekday() for day in week},
    )


def production_dates(area: Area, first: date, last: date) -> list[date]:
    """The dates on which a line of the area starts a shift, sorted, both ends included.

    As stored; beyond the stored shifts, as the patterns and days off say.
    """
    stored = Shift.objects.filter(line__area=area).order_by()
    through = (
        stored.order_by("-production_date")
        .values_list("production_date", flat=True)
        .first()
    )
    found = set(
        stored.worked()
        .filter(production_date__range=(first, last))
        .values_list("production_date", flat=True)
        .distinct()
    )
    beyond = first if through is None else max(first, through + _DAY)
    if beyond <= last:
        lines = Line.objects.filter(area=area)
        for _, shifts in planned_shifts(lines, beyond, last):
            found.update(shift.production_date for shift in shifts)
    return sorted(found)


def _last_exception(area: Area) -> date:
    """The last date of a stored shift, a day off, a one-off or a change of patterns."""
    here = Q(area=area) | Q(line__area=area)
    dates = [
        Shift.objects.filter(line__area=area)
        .order_by("-production_date")
        .values_list("production_date", flat=True)
        .first(),
        DayOff.objects.filter(here | Q(area=None, line=None))
        .order_by("-date")
        .values_list("date", flat=True)
        .first(),
        OneOffShift.objects.filter(here)
        .order_by("-starts_on")
        .values_list("starts_on", flat=True)
        .first(),
    ]
    for pattern in ShiftPattern.objects.filter(here):
        dates += [pattern.valid_from, pattern.valid_to]
    # An offset may carry the last of them to the next day.
    return max((day for day in dates if day is not None), default=date.min) + _DAY


def _by_place(rows: Iterable[ShiftPattern | DayOff | OneOffShift]) -> dict:
    """Rows by (area, None) or (None, line); a row of a line names its area too."""
    found = defaultdict(list)
    for row in rows:
        place = (row.area_id, None) if row.line_id is None else (None, row.line_id)
        found[place].append(row)
    return found


def _pattern(row: ShiftPattern) -> Pattern:
    return Pattern(
        name=row.name,
        weekdays=parse_weekdays(row.weekdays),
        start=row.start,
        end=row.end,
        breaks=parse_breaks(row.breaks),
        valid_from=row.valid_from,
        valid_to=row.valid_to,
        date_offset=row.date_offset,
    )


def _one_off(row: OneOffShift) -> OneOff:
    return OneOff(
        name=row.name,
        starts_at=row.starts_at,
        ends_at=row.ends_at,
        breaks=parse_breaks(row.breaks),
        of_line=row.line_id is not None,
    )


def _validity(pattern: Pattern) -> Span:
    """The days that a pattern holds, as ordinals, half-open."""
    end = date.max if pattern.valid_to is None else pattern.valid_to
    return Span(pattern.valid_from.toordinal(), end.toordinal() + 1)


def _clipped(pattern: Pattern, span: Span) -> Pattern:
    last = date.fromordinal(span.end - 1)
    return Pattern(
        name=pattern.name,
        weekdays=pattern.weekdays,
        start=pattern.start,
        end=pattern.end,
        breaks=pattern.breaks,
        valid_from=date.fromordinal(span.start),
        valid_to=None if last == date.max else last,
        date_offset=pattern.date_offset,
    )
