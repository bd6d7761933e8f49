"""When a shift's breaks are, by the clock: texts like 09:00-09:10;11:30-12:00.

A break belongs to a shift, so 00:30 in a shift that starts at 22:00 is on the next day:

>>> night = parse_breaks("00:30-01:00;23:55-00:05")
>>> check_breaks(night, time(22, 0), time(6, 0))
>>> check_breaks(night, time(23, 0), time(0, 45))
Traceback (most recent call last):
ValueError: The break 00:30-01:00 does not lie within the shift 23:00-00:45: change one.
"""

from collections.abc import Iterable, Sequence
from datetime import time
from itertools import pairwise
from typing import NamedTuple

from cells.working_time.plant_time import format_clock_time, parse_clock_time

DAY_S = 24 * 3600


class BreakTime(NamedTuple):
    """A break by the plant's clocks; an end not after its start is on the next day."""

    start: time
    end: time

    def __str__(self) -> str:
        return f"{format_clock_time(self.start)}-{format_clock_time(self.end)}"


def parse_breaks(text: str) -> tuple[BreakTime, ...]:
    """Return the breaks that a text names, in its order; an empty text names none.

    >>> [str(one) for one in parse_breaks("09:00-09:10;11:30-12:00")]
    ['09:00-09:10', '11:30-12:00']
    """
    return tuple(_parse_one(part, text) for part in text.split(";")) if text else ()


def format_breaks(breaks: Iterable[BreakTime]) -> str:
    """Return the text that parse_breaks reads as these breaks.

    >>> format_breaks([BreakTime(time(9, 0), time(9, 10))])
    '09:00-09:10'
    """
    return ";".join(str(one) for one in breaks)


def check_breaks(breaks: Sequence[BreakTime], start: time, end: time) -> None:
    """Raise ValueError unless the breaks lie within a shift and none overlap.

    `start` and `end` are the shift's clock times; an end not after its start is on the
    next day. Breaks may touch each other and the shift's ends.
    """
    length = end_within(end, start)
    placed = []
    for one in breaks:
        begins, ends = start_within(one.start, start), end_within(one.end, start)
        if not begins < ends <= length:
            shift = BreakTime(start, end)
            raise ValueError(
                f"The break {one} does not lie within the shift {shift}: change one."
            )
        placed.append((begins, ends, one))
    placed.sort()
    for (_, ends, first), (begins, _, second) in pairwise(placed):
        if begins < ends:
            raise ValueError(
                f"The breaks {first} and {second} overlap: end the first before the "
                "second starts."
            )


def start_within(clock: time, start: time) -> int:
    """Return the seconds by the clock from a shift's start to a start within it.

    >>> start_within(time(0, 30), time(22, 0))
    9000
    """
    return (_seconds(clock) - _seconds(start)) % DAY_S


def end_within(clock: time, start: time) -> int:
    """Return the same for an end: the clock time of the start means a day later.

    >>> end_within(time(6, 0), time(22, 0)), end_within(time(6, 0), time(6, 0))
    (28800, 86400)
    """
    return start_within(clock, start) or DAY_S


def _seconds(clock: time) -> int:
    if clock.microsecond:
        raise ValueError(f"The time of day {clock} has parts of a second: drop them.")
    return clock.hour * 3600 + clock.minute * 60 + clock.second


def _parse_one(part: str, text: str) -> BreakTime:
    start, dash, end = part.partition("-")
    try:
        if not dash:
            raise ValueError(f"{part!r} is not a break")
        one = BreakTime(parse_clock_time(start), parse_clock_time(end))
    except ValueError:
        raise ValueError(
            f"{part!r} in {text!r} is not a break: write breaks like "
            "09:00-09:10;11:30-12:00."
        ) from None
    if one.start == one.end:
        raise ValueError(f"The break {part!r} in {text!r} has no length: remove it.")
    return one
