"""The shifts of a line against every rule told once more, day by day."""

from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from cells.working_time.patterns import OneOff, Pattern, shifts_of
from cells.working_time.plant_time import to_wall

BERLIN = ZoneInfo("Europe/Berlin")
DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)


@cache
def clock():
    """What the clocks show in every minute around both changes of 2026."""
    shown, skipped = {}, {}
    for first in ("2026-03-20", "2026-10-16"):
        moment = datetime.fromisoformat(first).replace(tzinfo=UTC)
        before = None
        for _ in range(18 * 24 * 60):
            wall = moment.astimezone(BERLIN).replace(tzinfo=None)
            shown.setdefault(wall, moment)
            while before is not None and before + MINUTE < wall:
                before += MINUTE
                skipped[before] = timedelta(hours=1)
            before, moment = wall, moment + MINUTE
    return shown, skipped


def moment_of(wall):
    shown, skipped = clock()
    return shown[wall + skipped.get(wall, timedelta())]


def oracle(patterns, days_off, one_offs, first, last):
    """Return {(start date, name): (production date, start, end)}; None: a clash."""
    found, clash = {}, False
    for n in range(-3, (last - first).days + 4):
        day = first + n * DAY
        for one in patterns:
            lasts = one.valid_to is None or day <= one.valid_to
            if day.weekday() in one.weekdays and one.valid_from <= day and lasts:
                start = datetime.combine(day, one.start)
                end = datetime.combine(day, one.end)
                end += DAY if one.end <= one.start else timedelta()
                if day not in days_off:
                    dated = day + one.date_offset * DAY
                    found[day, one.name] = dated, moment_of(start), moment_of(end)
    for of_line in (False, True):
        for one in one_offs:
            day = to_wall(one.starts_at, BERLIN).date()
            if one.of_line != of_line:
                continue
            found.pop((day, one.name), None)
            if one.starts_at != one.ends_at:
                named = [p for p in patterns if p.name == one.name]
                valid = [
                    p
                    for p in named
                    if p.valid_from <= day and (p.valid_to is None or day <= p.valid_to)
                ]
                offset = valid[0].date_offset if valid else 0
                found[day, one.name] = day + offset * DAY, one.starts_at, one.ends_at
    both = [(a, b) for a in found.items() for b in found.items() if a[0] < b[0]]
    for ((_, name_a), (dated_a, start_a, end_a)), ((_, name_b), b) in both:
        dated_b, start_b, end_b = b
        overlap = start_a < end_b and start_b < end_a
        same = (dated_a, name_a) == (dated_b, name_b)
        inside = any(first <= dated <= last for dated in (dated_a, dated_b))
        clash = clash or (inside and (overlap or same))
    return None if clash else found


spring, autumn = date(2026, 3, 26), date(2026, 10, 22)
quarters = st.integers(0, 95).map(lambda n: time(n // 4, n % 4 * 15))


@st.composite
def plants(draw):
    """A line's entries around a clock change; each name has one pattern at most."""
    first = draw(st.sampled_from([spring, autumn]))
    patterns = [
        Pattern(
            name=name,
            weekdays=draw(st.frozensets(st.integers(0, 6), min_size=1)),
            start=draw(quarters),
            end=draw(quarters),
            valid_from=first + draw(st.integers(-9, 3)) * DAY,
            valid_to=draw(st.none() | st.just(first + 3 * DAY)),
            date_offset=draw(st.integers(-1, 1)),
        )
        for name in draw(st.sets(st.sampled_from(["Early", "Late", "Night"])))
    ]
    one_offs = {}
    for _ in range(draw(st.integers(0, 4))):
        wall = datetime.combine(first + draw(st.integers(-1, 5)) * DAY, draw(quarters))
        starts_at = moment_of(wall)
        made_by = OneOff(
            name=draw(st.sampled_from(["Early", "Night", "Repair"])),
            starts_at=starts_at,
            ends_at=starts_at + draw(st.integers(0, 12)) * timedelta(hours=1),
            of_line=draw(st.booleans()),
        )
        day = to_wall(starts_at, BERLIN).date()
        one_offs[day, made_by.name, made_by.of_line] = made_by
    days_off = draw(st.sets(st.integers(-2, 6).map(lambda n: first + n * DAY)))
    return patterns, days_off, list(one_offs.values()), first


@given(plants(), st.integers(0, 5))
def test_the_shifts_are_those_of_the_slow_and_obvious_reading(plant, days):
    patterns, days_off, one_offs, first = plant
    last = first + days * DAY
    # A pattern whose start is skipped and whose end is not has a test of its own.
    assume(all(one.start.hour != 2 or one.end.hour != 3 for one in patterns))
    meant = oracle(patterns, days_off, one_offs, first, last)
    if meant is None:
        with pytest.raises(ValueError, match=r"overlap|both belong"):
            shifts_of(patterns, days_off, one_offs, BERLIN, first, last)
        return
    shifts = shifts_of(patterns, days_off, one_offs, BERLIN, first, last)
    assert sorted(
        (one.production_date, one.name, one.starts_at, one.ends_at) for one in shifts
    ) == sorted(
        (dated, name, start, end)
        for (_, name), (dated, start, end) in meant.items()
        if first <= dated <= last
    )


@given(plants(), st.integers(0, 5), st.randoms(use_true_random=False))
def test_neither_the_order_of_entry_nor_a_split_of_the_range_changes_a_shift(
    plant, days, random
):
    patterns, days_off, one_offs, first = plant
    last = first + 6 * DAY
    try:
        whole = shifts_of(patterns, days_off, one_offs, BERLIN, first, last)
    except ValueError:
        assume(False)
    random.shuffle(patterns)
    random.shuffle(one_offs)
    cut = first + days * DAY
    parts = [
        *shifts_of(patterns, days_off, one_offs, BERLIN, first, cut),
        *shifts_of(patterns, days_off, one_offs, BERLIN, cut + DAY, last),
    ]
    assert sorted(parts, key=lambda one: one.starts_at) == whole
