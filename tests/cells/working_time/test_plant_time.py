"""Plant time against the clock itself, walked minute by minute."""

from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells.working_time.plant_time import (
    ClockChangeError,
    day_start,
    elapsed_s,
    format_clock_time,
    local_date,
    moment_at,
    parse_clock_time,
    parse_date,
    parse_moment,
    production_date,
    to_moment,
    to_pattern_moment,
    to_wall,
    utc_seconds,
)

BERLIN = ZoneInfo("Europe/Berlin")
NEW_YORK = ZoneInfo("America/New_York")
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)

# Dates of both changes of 2026, and of the odd ones: half an hour, at midnight.
CHANGES = [
    ("Europe/Berlin", date(2026, 3, 29)),
    ("Europe/Berlin", date(2026, 10, 25)),
    ("America/New_York", date(2026, 3, 8)),
    ("America/New_York", date(2026, 11, 1)),
    ("Australia/Lord_Howe", date(2026, 4, 5)),
    ("Australia/Lord_Howe", date(2026, 10, 4)),
    ("America/Sao_Paulo", date(2018, 11, 4)),  # 00:00 became 01:00
    ("America/Havana", date(2026, 11, 1)),  # 01:00 became 00:00
    ("America/Phoenix", date(2026, 3, 8)),  # no change
]


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


def wall(*parts):
    return utc(*parts).replace(tzinfo=None)


def refusal_of(wall, zone):
    try:
        to_moment(wall, zone)
    except ClockChangeError as refused:
        return refused
    return None


@cache
def clock_of(zone_name, day):
    """The slow and obvious reading: what the clocks show in every minute near a day.

    Returns the moments of each wall time shown, and for each one skipped how far the
    clocks jumped over it.
    """
    zone = ZoneInfo(zone_name)
    moment = datetime.combine(day, time(), UTC) - timedelta(days=2)
    shown, skipped, before = {}, {}, None
    for _ in range(5 * 24 * 60):
        wall = moment.astimezone(zone).replace(tzinfo=None)
        shown.setdefault(wall, []).append(moment)
        if before is not None and wall > before + MINUTE:
            gap = wall - (before + MINUTE)
            for n in range(gap // MINUTE):
                skipped[before + MINUTE + n * MINUTE] = gap
        before, moment = wall, moment + MINUTE
    return shown, skipped


minutes_of_the_day = st.integers(-60, 24 * 60 + 60)


@given(st.sampled_from(CHANGES), minutes_of_the_day)
def test_a_wall_time_means_the_moments_at_which_the_clocks_show_it(change, minute):
    name, day = change
    zone, wall = ZoneInfo(name), datetime.combine(day, time()) + minute * MINUTE
    shown, skipped = clock_of(name, day)
    moments = shown.get(wall, [])
    if len(moments) == 1:
        assert to_moment(wall, zone) == moments[0]
        assert to_pattern_moment(wall, zone) == moments[0]
        return
    with pytest.raises(ClockChangeError) as caught:
        to_moment(wall, zone)
    if moments:
        assert list(caught.value.moments) == moments
        assert to_pattern_moment(wall, zone) == moments[0]
        assert to_pattern_moment(wall, zone, not_before=moments[1]) == moments[1]
    else:
        gap = skipped[wall]
        assert [to_wall(one, zone) for one in caught.value.moments] == [
            wall - gap,
            wall + gap,
        ]
        assert [to_pattern_moment(wall, zone)] == shown[wall + gap]


@given(st.sampled_from(CHANGES), minutes_of_the_day)
def test_the_moments_that_a_refusal_offers_are_read_as_offered(change, minute):
    name, day = change
    zone, wall = ZoneInfo(name), datetime.combine(day, time()) + minute * MINUTE
    refused = refusal_of(wall, zone)
    if refused:
        offered = str(refused).rstrip(".").split("write ")[1].split(" or ")
        read = tuple(parse_moment(text, zone) for text in offered)
        assert read == refused.moments


@given(st.sampled_from(CHANGES), st.integers(0, 4_000_000_000))
def test_a_moment_survives_the_way_out_and_back(change, seconds):
    zone, moment = ZoneInfo(change[0]), moment_at(seconds)
    assert utc_seconds(moment) == seconds
    assert parse_moment(moment.isoformat(), zone) == moment
    wall = to_wall(moment, zone)
    refused = refusal_of(wall, zone)
    assert moment in (refused.moments if refused else [to_moment(wall, zone)])


@pytest.mark.parametrize(("name", "day"), CHANGES)
def test_a_day_starts_at_the_first_minute_that_shows_its_date(name, day):
    shown, _ = clock_of(name, day)
    first = min(
        moment
        for wall, moments in shown.items()
        if wall.date() == day
        for moment in moments
    )
    assert day_start(day, ZoneInfo(name)) == first


def test_a_time_that_happens_twice_names_both_moments():
    with pytest.raises(ClockChangeError) as caught:
        parse_moment("2026-10-25 02:30", BERLIN)
    assert str(caught.value) == (
        "2026-10-25 02:30 happens twice in Europe/Berlin: write "
        "2026-10-25T02:30+02:00 or 2026-10-25T02:30+01:00."
    )
    assert caught.value.moments == (utc(2026, 10, 25, 0, 30), utc(2026, 10, 25, 1, 30))


def test_a_skipped_time_says_over_what_the_clocks_jumped():
    with pytest.raises(ClockChangeError) as caught:
        parse_moment("2026-03-29T02:30:15", BERLIN)
    assert str(caught.value) == (
        "2026-03-29 02:30:15 does not exist in Europe/Berlin, where the clocks went "
        "from 2026-03-29 02:00 to 2026-03-29 03:00: write 2026-03-29T01:30:15+01:00 "
        "or 2026-03-29T03:30:15+02:00."
    )


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-03-02T06:00", utc(2026, 3, 2, 5)),
        ("2026-03-02 06:00", utc(2026, 3, 2, 5)),
        ("2026-07-02T06:00:05", utc(2026, 7, 2, 4, 0, 5)),
        ("2026-03-02T06:00:00.000", utc(2026, 3, 2, 5)),
        ("2026-03-02T06:00Z", utc(2026, 3, 2, 6)),
        ("2026-03-02T06:00+0530", utc(2026, 3, 2, 0, 30)),
        ("2026-10-25T02:30+01:00", utc(2026, 10, 25, 1, 30)),
    ],
)
def test_a_text_with_or_without_an_offset_is_read(text, moment):
    assert parse_moment(text, BERLIN) == moment


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "is not a time"),
        ("2026-03-02", "is not a time"),
        ("02.03.2026 06:00", "is not a time"),
        ("2026-03-02T6:00", "is not a time"),
        ("2026-W10-1T06:00", "is not a time"),
        ("2026-03-02T06:00 CET", "is not a time"),
        ("２０２６-03-02T06:00", "is not a time"),
        ("2026-02-30T06:00", "does not exist"),
        ("2026-03-02T24:00", "does not exist"),
        ("2026-03-02T06:00+25:00", "does not exist"),
        ("2026-03-02T06:00:00.5", "write whole seconds"),
        ("2026-03-02T06:00:00.0000001", "write whole seconds"),
        ("0226-03-02T06:00", "check the year"),
        ("0001-01-01T00:00+05:00", "check the year"),
        ("9999-12-31T23:00-05:00", "check the year"),
    ],
)
def test_any_other_text_is_refused_with_its_value(text, part):
    with pytest.raises(ValueError, match=part) as caught:
        parse_moment(text, BERLIN)
    assert repr(text) in str(caught.value)


@pytest.mark.parametrize("text", ["2026-3-2", "20260302", "2026-02-29", "", "x"])
def test_a_text_that_is_no_date_is_refused(text):
    with pytest.raises(ValueError, match=r"not a date|does not exist"):
        parse_date(text)


@pytest.mark.parametrize("text", ["6:00", "24:00", "06:60", "", "06.00", "0600"])
def test_a_text_that_is_no_time_of_day_is_refused(text):
    with pytest.raises(ValueError, match=r"not a time of day|does not exist"):
        parse_clock_time(text)


@given(st.times().map(lambda clock: clock.replace(microsecond=0)))
def test_a_time_of_day_survives_the_way_out_and_back(clock):
    assert parse_clock_time(format_clock_time(clock)) == clock


# Source: recomputed with zoneinfo, tzdata 2026f.
@pytest.mark.parametrize(
    ("first", "last", "hours"),
    [
        ("2026-03-08", "2026-03-09", 23),
        ("2026-11-01", "2026-11-02", 25),
        ("2026-03-02", "2026-03-09", 167),
        ("2026-10-26", "2026-11-02", 169),
        ("2026-01-01", "2027-01-01", 8760),
    ],
)
def test_days_weeks_and_years_have_their_length_in_new_york(first, last, hours):
    start, end = (day_start(parse_date(day), NEW_YORK) for day in (first, last))
    assert elapsed_s(start, end) == hours * 3600


# Source: second Sunday of March and first of November, recomputed with zoneinfo, tzdata
# 2026f.
@pytest.mark.parametrize(
    ("year", "spring", "autumn"),
    [
        (2025, "03-09", "11-02"),
        (2026, "03-08", "11-01"),
        (2027, "03-14", "11-07"),
        (2028, "03-12", "11-05"),
        (2029, "03-11", "11-04"),
        (2030, "03-10", "11-03"),
    ],
)
def test_the_days_of_odd_length_are_those_of_the_us_changes(year, spring, autumn):
    days = [date(year, 1, 1) + timedelta(days=n) for n in range(365)]
    lengths = {
        f"{day:%m-%d}": elapsed_s(
            day_start(day, NEW_YORK), day_start(day + timedelta(days=1), NEW_YORK)
        )
        for day in days
    }
    odd = {day: length for day, length in lengths.items() if length != 24 * 3600}
    assert odd == {spring: 23 * 3600, autumn: 25 * 3600}


# Source: own arithmetic, recomputed with zoneinfo, tzdata 2026f.
def test_stops_of_the_clock_change_nights_have_their_real_length():
    spring = [
        parse_moment(f"2026-03-29T{clock}", BERLIN) for clock in ("01:30", "03:30")
    ]
    assert elapsed_s(*spring) == 60 * 60
    autumn = [
        parse_moment(f"2026-10-25T{clock}", BERLIN)
        for clock in ("02:40+02:00", "02:10+01:00")
    ]
    assert elapsed_s(*autumn) == 30 * 60


# Source: recomputed with zoneinfo, tzdata 2026f.
def test_nine_oclock_in_new_york_moves_in_utc_over_the_change():
    days = [wall(2026, 3, day, 9) for day in (7, 8, 9)]
    assert [to_moment(day, NEW_YORK).hour for day in days] == [14, 13, 13]


def test_a_production_date_is_that_of_the_start_moved_by_the_offset():
    sunday = parse_moment("2026-03-01T22:00", BERLIN)
    assert local_date(sunday, BERLIN) == date(2026, 3, 1)
    assert production_date(sunday, BERLIN) == date(2026, 3, 1)
    assert production_date(sunday, BERLIN, date_offset=1) == date(2026, 3, 2)


def test_a_moment_without_a_zone_and_a_wall_time_with_one_are_refused():
    with pytest.raises(ValueError, match="has no time zone"):
        to_wall(wall(2026, 3, 2, 6), BERLIN)
    with pytest.raises(ValueError, match="has no time zone"):
        elapsed_s(utc(2026, 3, 2), wall(2026, 3, 2, 6))
    with pytest.raises(ValueError, match="has an offset"):
        to_moment(utc(2026, 3, 2, 6), BERLIN)


def test_a_moment_with_parts_of_a_second_has_no_utc_second():
    with pytest.raises(ValueError, match="parts of a second"):
        utc_seconds(utc(2026, 3, 2, 6, 0, 0, 1))
