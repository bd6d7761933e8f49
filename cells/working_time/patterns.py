"""Which shifts a line works: its patterns, less its days off, with its one-off shifts.

The rules, all by the date on the plant's calendar on which a shift starts:

- A pattern gives a shift on its weekdays from valid_from to valid_to, both included. An
  end not after the start is on the next day. Nothing is worked on a day off.
- A one-off shift stands in for the pattern's shift of its name on that date, and holds
  on days off too; one without length cancels. The line's own wins over its area's.
- A shift belongs to the production date on which it starts; a pattern's date_offset
  moves that, for one-off shifts of its name as well.

>>> from cells.working_time.breaks import parse_breaks
>>> from cells.working_time.weekdays import parse_weekdays
>>> zone = ZoneInfo("Europe/Berlin")
>>> night = Pattern(
...     name="Night",
...     weekdays=parse_weekdays("sun-thu"),
...     start=time(22, 0),
...     end=time(6, 0),
...     breaks=parse_breaks("02:00-02:30"),
...     valid_from=date(2026, 1, 1),
...     date_offset=1,
... )
>>> for shift in shifts_of([night], (), (), zone, date(2026, 3, 2), date(2026, 3, 3)):
...     print(shift.production_date, shift_text(shift, zone))
2026-03-02 Night (2026-03-01 22:00 to 2026-03-02 06:00)
2026-03-03 Night (2026-03-02 22:00 to 2026-03-03 06:00)
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

from cells.working_time.breaks import (
    BreakTime,
    check_breaks,
    end_within,
    format_breaks,
    start_within,
)
from cells.working_time.plant_time import (
    local_date,
    production_date,
    to_pattern_moment,
    to_wall,
    utc_seconds,
)
from cells.working_time.spans import Span
from cells.working_time.weekdays import format_weekdays

# A shift may touch one that starts the day before or after, and an offset moves it by
# one day more: that many days around a range can hold what clashes with it.
_AROUND = timedelta(days=2)
_DAY = timedelta(days=1)


@dataclass(frozen=True, kw_only=True, slots=True)
class Pattern:
    """A shift that repeats by the week. Raises ValueError where it cannot be."""

    name: str
    weekdays: frozenset[int]  # Monday 0 to Sunday 6, of the day it starts
    start: time  # plant time
    end: time  # plant time; not after start: the next day
    breaks: tuple[BreakTime, ...] = ()
    valid_from: date
    valid_to: date | None = None  # the last day, included; None: no end
    date_offset: int = 0  # days from the date it starts to its production date

    def __post_init__(self) -> None:
        format_weekdays(self.weekdays)
        check_breaks(self.breaks, self.start, self.end)
        if self.valid_to is not None and self.valid_to < self.valid_from:
            raise ValueError(
                f"{self.name} is valid to {self.valid_to}, before it is valid from "
                f"{self.valid_from}: change one."
            )
        if self.date_offset not in (-1, 0, 1):
            raise ValueError(
                f"{self.name} has the date offset {self.date_offset}: write -1, 0 or 1 "
                "day."
            )

    def is_valid_on(self, day: date) -> bool:
        return self.valid_from <= day and (
            self.valid_to is None or day <= self.valid_to
        )

    def starts_on(self, day: date) -> bool:
        return day.weekday() in self.weekdays and self.is_valid_on(day)


@dataclass(frozen=True, kw_only=True, slots=True)
class OneOff:
    """A shift of one date only; with ends_at = starts_at it cancels the pattern's."""

    name: str
    starts_at: datetime  # aware, whole seconds
    ends_at: datetime  # aware, whole seconds
    breaks: tuple[BreakTime, ...] = ()  # plant time
    of_line: bool = False  # entered for the line itself: wins over its area's

    def __post_init__(self) -> None:
        if utc_seconds(self.ends_at) < utc_seconds(self.starts_at):
            raise ValueError(
                f"{self.name} ends at {self.ends_at}, before it starts at "
                f"{self.starts_at}: change one, or make them equal to cancel the shift."
            )
        if self.cancels and self.breaks:
            raise ValueError(
                f"{self.name} is cancelled, so its breaks "
                f"{format_breaks(self.breaks)} cannot be: leave them out."
            )

    @property
    def cancels(self) -> bool:
        return utc_seconds(self.starts_at) == utc_seconds(self.ends_at)


class PlannedBreak(NamedTuple):
    """A break of one shift, from starts_at up to, not including, ends_at."""

    starts_at: datetime  # UTC
    ends_at: datetime  # UTC

    @property
    def span(self) -> Span:
        return Span(utc_seconds(self.starts_at), utc_seconds(self.ends_at))


@dataclass(frozen=True, kw_only=True, slots=True)
class PlannedShift:
    """One shift of one line, from starts_at up to, not including, ends_at."""

    production_date: date
    name: str
    starts_at: datetime  # UTC
    ends_at: datetime  # UTC
    breaks: tuple[PlannedBreak, ...] = ()  # in order, within the shift, not overlapping

    @property
    def span(self) -> Span:
        return Span(utc_seconds(self.starts_at), utc_seconds(self.ends_at))


class ClashError(ValueError):
    """Two shifts of a line that overlap, or that have one name on one date."""

    def __init__(
        self, sentence: str, shifts: tuple[PlannedShift, PlannedShift]
    ) -> None:
        super().__init__(sentence)
        self.shifts = shifts


def shifts_of(
    patterns: Collection[Pattern],
    days_off: Collection[date],
    one_offs: Iterable[OneOff],
    zone: ZoneInfo,
    from_date: date,
    to_date: date,
) -> list[PlannedShift]:
    """Return the shifts of one line on production dates from from_date to to_date.

    All arguments are those that hold for the line: its own patterns or, where it has
    none, its area's; its days off and its area's; one-off shifts of both, told apart by
    `of_line`. Both dates are included. The shifts come in order of time.

    Raises ClashError with a sentence that names both where two shifts overlap or have
    one production date and name, ValueError where two patterns or two one-off shifts
    give one shift.
    """
    if to_date < from_date:
        raise ValueError(
            f"{to_date} is before {from_date}: give the earlier date first."
        )
    instead = _one_offs_by_start(one_offs, zone)
    shifts = []
    for day in _days(from_date - _AROUND, to_date + _AROUND):
        usual = _patterns_on(day, patterns)
        if day not in days_off:
            shifts += [
                _pattern_shift(pattern, day, zone)
                for name, pattern in usual.items()
                if (day, name) not in instead
            ]
    for (day, name), one_off in instead.items():
        if from_date - _AROUND <= day <= to_date + _AROUND and not one_off.cancels:
            offset = _date_offset(name, day, patterns)
            shifts.append(one_off_shift(one_off, zone, offset))
    shifts.sort(key=lambda shift: (shift.starts_at, shift.name))
    _refuse_clashes(shifts, zone, from_date, to_date)
    return [shift for shift in shifts if from_date <= shift.production_date <= to_date]


def one_off_shift(
    one_off: OneOff, zone: ZoneInfo, date_offset: int = 0
) -> PlannedShift:
    """Return the shift that a one-off makes, its breaks in place.

    Raises ValueError where a break does not lie within it or two overlap.
    """
    starts_at, ends_at = one_off.starts_at, one_off.ends_at
    day = production_date(starts_at, zone, date_offset)
    bare = PlannedShift(
        production_date=day, name=one_off.name, starts_at=starts_at, ends_at=ends_at
    )
    return _with_breaks(bare, one_off.breaks, to_wall(starts_at, zone), zone)


def shift_text(shift: PlannedShift, zone: ZoneInfo) -> str:
    """Return a shift's name with its start and end in plant time."""
    start, end = to_wall(shift.starts_at, zone), to_wall(shift.ends_at, zone)
    return f"{shift.name} ({start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M})"


def _days(first: date, last: date) -> Iterable[date]:
    return (first + n * _DAY for n in range((last - first).days + 1))


def _one_offs_by_start(
    one_offs: Iterable[OneOff], zone: ZoneInfo
) -> dict[tuple[date, str], OneOff]:
    """Return the one-off that counts for each date and name: the line's, if any."""
    chosen: dict[tuple[date, str], OneOff] = {}
    for one_off in one_offs:
        key = local_date(one_off.starts_at, zone), one_off.name
        rival = chosen.get(key)
        if rival is not None and rival.of_line == one_off.of_line:
            raise ValueError(
                f"{one_off.name} on {key[0]} has two one-off shifts, one at "
                f"{to_wall(rival.starts_at, zone):%H:%M} and one at "
                f"{to_wall(one_off.starts_at, zone):%H:%M}: keep one."
            )
        if rival is None or one_off.of_line:
            chosen[key] = one_off
    return chosen


def _patterns_on(day: date, patterns: Iterable[Pattern]) -> dict[str, Pattern]:
    """Return by name the patterns that start a shift on a date, off or not."""
    found: dict[str, Pattern] = {}
    for pattern in patterns:
        if not pattern.starts_on(day):
            continue
        rival = found.setdefault(pattern.name, pattern)
        if rival is not pattern:
            raise ValueError(
                f"Two patterns named {pattern.name} hold on {day}, valid from "
                f"{rival.valid_from} and from {pattern.valid_from}: end the first "
                "before the second begins, or rename one."
            )
    return found


def _date_offset(name: str, day: date, patterns: Collection[Pattern]) -> int:
    """Return the offset of the pattern that a one-off of this name goes with.

    That is the pattern whose shift it stands in for; on another weekday, the patterns
    of its name that are valid then, so that overtime is dated like the usual shifts.
    """
    named = [one for one in patterns if one.name == name and one.is_valid_on(day)]
    usual = [one for one in named if one.starts_on(day)] or named
    offsets = {one.date_offset for one in usual}
    if len(offsets) > 1:
        raise ValueError(
            f"The one-off shift {name} on {day} may belong to that date or to another, "
            "as the patterns of its name have different date offsets: rename it."
        )
    return offsets.pop() if offsets else 0


def _pattern_shift(pattern: Pattern, day: date, zone: ZoneInfo) -> PlannedShift:
    start = datetime.combine(day, pattern.start)
    end = start + timedelta(seconds=end_within(pattern.end, pattern.start))
    starts_at, ends_at = _moments(start, end, zone)
    bare = PlannedShift(
        production_date=day + pattern.date_offset * _DAY,
        name=pattern.name,
        starts_at=starts_at,
        ends_at=ends_at,
    )
    return _with_breaks(bare, pattern.breaks, start, zone)


def _moments(
    start: datetime, end: datetime, zone: ZoneInfo, not_before: datetime | None = None
) -> tuple[datetime, datetime]:
    """Return the moments of two wall times of a pattern, the end after the start."""
    starts_at = to_pattern_moment(start, zone, not_before)
    ends_at = to_pattern_moment(end, zone, not_before)
    if ends_at <= starts_at:
        # The clocks skip the start and not the end (02:30 to 03:00): it moves whole, or
        # the start would come after the end.
        ends_at = to_pattern_moment(end + (to_wall(starts_at, zone) - start), zone)
    return starts_at, ends_at


def _with_breaks(
    shift: PlannedShift, breaks: Sequence[BreakTime], start: datetime, zone: ZoneInfo
) -> PlannedShift:
    """Return the shift with its breaks; `start` is the wall time it starts at."""
    placed = []
    for one in breaks:
        begins = start + timedelta(seconds=start_within(one.start, start.time()))
        ends = start + timedelta(seconds=end_within(one.end, start.time()))
        moments = PlannedBreak(*_moments(begins, ends, zone, shift.starts_at))
        within = shift.starts_at <= moments.starts_at < moments.ends_at <= shift.ends_at
        if begins >= ends or not within:
            raise ValueError(
                f"The break {one} does not lie within {shift_text(shift, zone)}: "
                "change the break or the shift, or enter that date as a one-off shift."
            )
        placed.append(moments)
    placed.sort()
    for first, second in pairwise(placed):
        if second.starts_at < first.ends_at:
            raise ValueError(
                f"The breaks {format_breaks(breaks)} overlap in "
                f"{shift_text(shift, zone)}: change them, or enter that date as a "
                "one-off shift."
            )
    return PlannedShift(
        production_date=shift.production_date,
        name=shift.name,
        starts_at=shift.starts_at,
        ends_at=shift.ends_at,
        breaks=tuple(placed),
    )


def _refuse_clashes(
    shifts: Iterable[PlannedShift], zone: ZoneInfo, from_date: date, to_date: date
) -> None:
    """Raise ClashError where a shift in the range clashes with any; sorted by start."""
    seen: dict[tuple[date, str], PlannedShift] = {}
    latest: PlannedShift | None = None

    def refuse(first: PlannedShift, second: PlannedShift, how: str) -> None:
        dates = first.production_date, second.production_date
        if any(from_date <= day <= to_date for day in dates):
            both = f"{shift_text(first, zone)} and {shift_text(second, zone)}"
            raise ClashError(f"{both} {how}", (first, second))

    for shift in shifts:
        rival = seen.setdefault((shift.production_date, shift.name), shift)
        if rival is not shift:
            how = f"both belong to {shift.production_date}: rename or cancel one."
            refuse(rival, shift, how)
        if latest is not None and shift.starts_at < latest.ends_at:
            how = "overlap: end the first before the second starts, or cancel one."
            refuse(latest, shift, how)
        if latest is None or shift.ends_at > latest.ends_at:
            latest = shift
