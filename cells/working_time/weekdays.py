"""Which days of the week a text like mon-fri names.

Days are numbers as `date.weekday()` gives them: Monday is 0, Sunday 6.

>>> sorted(parse_weekdays("sun-thu"))
[0, 1, 2, 3, 6]
>>> format_weekdays(frozenset({6, 0, 1, 2, 3}))
'sun-thu'
"""

from collections.abc import Set as AbstractSet

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

_HOW = "write days like mon-fri or sat,sun"


def parse_weekdays(text: str) -> frozenset[int]:
    """Return the days that a text names; a range may run over the week's end.

    >>> sorted(parse_weekdays("mon-wed,fri"))
    [0, 1, 2, 4]
    >>> sorted(parse_weekdays("fri-mon"))
    [0, 4, 5, 6]
    """
    days: list[int] = []
    for part in text.split(","):
        days.extend(_days_of(part, text))
    twice = sorted({day for day in days if days.count(day) > 1})
    if twice:
        raise ValueError(f"{text!r} names {DAYS[twice[0]]} twice: name each day once.")
    return frozenset(days)


def format_weekdays(days: AbstractSet[int]) -> str:
    """Return the shortest text that parse_weekdays reads as these days.

    Three days in a row or more become a range.

    >>> format_weekdays({5, 6}), format_weekdays({0, 1, 2, 4})
    ('sat,sun', 'mon-wed,fri')
    """
    if not days or not days <= set(range(7)):
        raise ValueError(f"{sorted(days)} are not days of the week: give 0 to 6.")
    if len(days) == 7:
        return "mon-sun"
    # A run starts where the day before is free, so one over the week's end stays whole.
    starts = sorted(day for day in days if (day - 1) % 7 not in days)
    return ",".join(_run_text(start, days) for start in starts)


def _days_of(part: str, text: str) -> list[int]:
    names = part.split("-")
    if len(names) > 2 or any(name not in DAYS for name in names):
        raise ValueError(f"{part!r} in {text!r} is not a day or a range: {_HOW}.")
    first, last = DAYS.index(names[0]), DAYS.index(names[-1])
    if len(names) == 2 and first == last:
        raise ValueError(f"{part!r} in {text!r} starts and ends on one day: {_HOW}.")
    return [(first + n) % 7 for n in range((last - first) % 7 + 1)]


def _run_text(start: int, days: AbstractSet[int]) -> str:
    run = [start]
    while (run[-1] + 1) % 7 in days:
        run.append((run[-1] + 1) % 7)
    if len(run) > 2:
        return f"{DAYS[run[0]]}-{DAYS[run[-1]]}"
    return ",".join(DAYS[day] for day in run)
