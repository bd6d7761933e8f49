"""What moment the plant's clocks mean, and what the clocks showed at a moment.

Moments are aware datetimes in UTC, whole seconds. Wall times are naive datetimes as
the plant's clocks show them; they exist only at the edges: patterns, forms, files,
print. Lengths are always taken between moments, never between wall times:

>>> berlin = ZoneInfo("Europe/Berlin")
>>> start = parse_moment("2026-03-28T22:00", berlin)
>>> end = parse_moment("2026-03-29T06:00", berlin)
>>> elapsed_s(start, end) // 60  # the night on which the clocks go forward
420
"""

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

FIRST_YEAR, LAST_YEAR = 1970, 2199  # outside them a year is a slip of the keys

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_SECOND = timedelta(seconds=1)
_MOMENT = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}:[0-9]{2}(?::[0-9]{2})?)"
    r"([.,][0-9]+)?(Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_CLOCK = re.compile(r"[0-9]{2}:[0-9]{2}(?::[0-9]{2})?")


class ClockChangeError(ValueError):
    """A wall time that a clock change skips or repeats.

    `moments` holds the two moments that it could be, the earlier first, in UTC; a form
    offers them.
    """

    def __init__(self, sentence: str, moments: tuple[datetime, datetime]) -> None:
        super().__init__(sentence)
        self.moments = moments


def to_wall(moment: datetime, zone: ZoneInfo) -> datetime:
    """Return what the plant's clocks show at an aware moment, as a naive datetime.

    >>> to_wall(datetime(2026, 7, 1, 4, 0, tzinfo=UTC), ZoneInfo("Europe/Berlin"))
    datetime.datetime(2026, 7, 1, 6, 0)
    """
    return _aware(moment).astimezone(zone).replace(tzinfo=None, fold=0)


def to_moment(wall: datetime, zone: ZoneInfo) -> datetime:
    """Return the one moment at which the plant's clocks show a wall time, in UTC.

    Raises ClockChangeError where there is none or there are two.

    >>> to_moment(datetime(2026, 7, 1, 6, 0), ZoneInfo("Europe/Berlin"))
    datetime.datetime(2026, 7, 1, 4, 0, tzinfo=datetime.timezone.utc)
    """
    first, second = _readings(wall, zone)
    if first == second:
        return first
    options = _either(first, second, zone)
    if first < second:
        raise ClockChangeError(
            f"{_shown(wall)} happens twice in {zone}: write {options}.",
            (first, second),
        )
    before, after = _jump(second, first, zone)
    raise ClockChangeError(
        f"{_shown(wall)} does not exist in {zone}, where the clocks went from "
        f"{_shown(before)} to {_shown(after)}: write {options}.",
        (second, first),
    )


def to_pattern_moment(
    wall: datetime, zone: ZoneInfo, not_before: datetime | None = None
) -> datetime:
    """Return the moment that a pattern's wall time means, in UTC.

    A time that a clock change skips moves forward by the gap; one that it repeats means
    the first, or the second where only that one is not before `not_before`. (RFC 5545
    section 3.3.5 reads local times the same way; MEMORY.)

    >>> berlin = ZoneInfo("Europe/Berlin")
    >>> to_wall(to_pattern_moment(datetime(2026, 3, 29, 2, 30), berlin), berlin)
    datetime.datetime(2026, 3, 29, 3, 30)
    """
    first, second = _readings(wall, zone)
    if not_before is not None and first < not_before <= second:
        return second
    return first


def parse_moment(text: str, zone: ZoneInfo) -> datetime:
    """Return the moment that an ISO 8601 text means, in UTC.

    Without an offset it is plant time. Raises ClockChangeError for a time that a clock
    change skips or repeats, ValueError for any other text.

    >>> parse_moment("2026-03-02T06:00-05:00", ZoneInfo("Europe/Berlin"))
    datetime.datetime(2026, 3, 2, 11, 0, tzinfo=datetime.timezone.utc)
    """
    match = _MOMENT.fullmatch(text)
    if match is None:
        raise ValueError(
            f"{text!r} is not a time: write it like 2026-03-02T06:00 (plant time) or "
            "2026-03-02T06:00+01:00."
        )
    day, clock, fraction, offset = match.groups()
    if fraction and fraction.strip(".,0"):
        raise ValueError(f"{text!r} has parts of a second: write whole seconds.")
    try:
        read = datetime.fromisoformat(f"{day}T{clock}{offset or ''}")
    except ValueError:
        raise ValueError(
            f"{text!r} does not exist: check the month, the day, the time and the "
            "offset (midnight is 00:00 of the day that begins)."
        ) from None
    if not FIRST_YEAR <= read.year <= LAST_YEAR:
        raise ValueError(
            f"{text!r} lies outside the years {FIRST_YEAR} to {LAST_YEAR}: check the "
            "year."
        )
    return read.astimezone(UTC) if offset else to_moment(read, zone)


def parse_date(text: str) -> date:
    """Return the date of a text like 2026-03-02.

    >>> parse_date("2026-03-02")
    datetime.date(2026, 3, 2)
    """
    try:
        if _DATE.fullmatch(text):
            return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"The day {text!r} does not exist: check it.") from None
    raise ValueError(f"{text!r} is not a date: write it like 2026-03-02.")


def parse_clock_time(text: str) -> time:
    """Return the time of day of a text like 06:00 or 06:00:30.

    >>> parse_clock_time("22:00")
    datetime.time(22, 0)
    """
    try:
        if _CLOCK.fullmatch(text):
            return time.fromisoformat(text)
    except ValueError:
        raise ValueError(
            f"The time of day {text!r} does not exist: write 00:00 to 23:59."
        ) from None
    raise ValueError(f"{text!r} is not a time of day: write it like 06:00.")


def format_clock_time(clock: time) -> str:
    """Return a time of day as parse_clock_time reads it.

    >>> format_clock_time(time(6, 0)), format_clock_time(time(6, 0, 30))
    ('06:00', '06:00:30')
    """
    return clock.isoformat("seconds" if clock.second else "minutes")


def elapsed_s(start: datetime, end: datetime) -> int:
    """Return the whole seconds from one aware moment to another.

    Python's own subtraction is wrong over a clock change for two datetimes of the same
    zone, because it compares what the clocks show.

    >>> berlin = ZoneInfo("Europe/Berlin")
    >>> start = datetime(2026, 3, 28, 22, tzinfo=berlin)
    >>> end = datetime(2026, 3, 29, 6, tzinfo=berlin)
    >>> (end - start) // timedelta(hours=1), elapsed_s(start, end) // 3600
    (8, 7)
    """
    return utc_seconds(end) - utc_seconds(start)


def utc_seconds(moment: datetime) -> int:
    """Return an aware moment of whole seconds as UTC seconds since 1970.

    >>> utc_seconds(datetime(1970, 1, 2, tzinfo=UTC))
    86400
    """
    since = _aware(moment) - _EPOCH
    if since.microseconds:
        raise ValueError(f"{moment} has parts of a second; moments are whole seconds.")
    return since.days * 86_400 + since.seconds


def moment_at(seconds: int) -> datetime:
    """Return the moment of UTC seconds since 1970.

    >>> moment_at(86400)
    datetime.datetime(1970, 1, 2, 0, 0, tzinfo=datetime.timezone.utc)
    """
    return _EPOCH + timedelta(seconds=seconds)


def local_date(moment: datetime, zone: ZoneInfo) -> date:
    """Return the date on the plant's calendar at an aware moment.

    >>> local_date(datetime(2026, 3, 1, 23, tzinfo=UTC), ZoneInfo("Europe/Berlin"))
    datetime.date(2026, 3, 2)
    """
    return _aware(moment).astimezone(zone).date()


def production_date(starts_at: datetime, zone: ZoneInfo, date_offset: int = 0) -> date:
    """Return the date to which a shift belongs: the plant's date at its start.

    `date_offset` (days) moves it: Sunday 22:00 as Monday has 1.

    >>> sunday = datetime(2026, 3, 1, 21, tzinfo=UTC)
    >>> production_date(sunday, ZoneInfo("Europe/Berlin"), date_offset=1)
    datetime.date(2026, 3, 2)
    """
    return local_date(starts_at, zone) + timedelta(days=date_offset)


def day_start(day: date, zone: ZoneInfo) -> datetime:
    """Return the first moment of a date on the plant's calendar, in UTC.

    That is midnight, or, where the clocks skip midnight, the moment they jump.

    >>> ny = ZoneInfo("America/New_York")
    >>> spring = day_start(date(2026, 3, 8), ny), day_start(date(2026, 3, 9), ny)
    >>> elapsed_s(*spring) // 3600
    23
    """
    first, second = _readings(datetime.combine(day, time()), zone)
    return first if first <= second else _change(second, first, zone)


def _readings(wall: datetime, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return the moment of a wall time by the clocks before and after a change.

    Equal: one moment. First earlier: the wall time happens twice. First later: the
    clocks skip it, and the first is the wall time moved forward by the gap.
    """
    if wall.tzinfo is not None:
        raise ValueError(f"{wall} has an offset; a wall time has none.")
    if wall.fold:
        wall = wall.replace(fold=0)
    # Files hold these by the hundred thousand, so no astimezone() and one replace().
    before, after = _offset(wall, zone), _offset(wall.replace(fold=1), zone)
    shown = datetime.combine(wall, wall.time(), UTC)
    first = shown - before
    return first, first if before == after else shown - after


def _offset(wall: datetime, zone: ZoneInfo) -> timedelta:
    return zone.utcoffset(wall) or timedelta()


def _change(before: datetime, after: datetime, zone: ZoneInfo) -> datetime:
    """Return the moment between two at which the clocks changed, by halving."""
    low, high = utc_seconds(before), utc_seconds(after)
    old = before.astimezone(zone).utcoffset()
    while high - low > 1:
        middle = (low + high) // 2
        if moment_at(middle).astimezone(zone).utcoffset() == old:
            low = middle
        else:
            high = middle
    return moment_at(high)


def _jump(
    before: datetime, after: datetime, zone: ZoneInfo
) -> tuple[datetime, datetime]:
    """Return what the clocks would have shown at a change, and what they showed."""
    change = _change(before, after, zone)
    return to_wall(change - _SECOND, zone) + _SECOND, to_wall(change, zone)


def _either(first: datetime, second: datetime, zone: ZoneInfo) -> str:
    """Return both moments as texts that can be written instead, the earlier first."""
    texts = []
    for moment in sorted((first, second)):
        local = moment.astimezone(zone)
        texts.append(local.isoformat(timespec="seconds" if local.second else "minutes"))
    return " or ".join(texts)


def _shown(wall: datetime) -> str:
    return wall.isoformat(sep=" ", timespec="seconds" if wall.second else "minutes")


def _aware(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise ValueError(f"{moment} has no time zone; a moment has one.")
    return moment
