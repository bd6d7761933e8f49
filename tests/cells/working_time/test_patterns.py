"""The shifts of a line, rule by rule."""

from datetime import date, time
from zoneinfo import ZoneInfo

import pytest

from cells.working_time.breaks import parse_breaks
from cells.working_time.patterns import (
    OneOff,
    Pattern,
    PlannedShift,
    one_off_shift,
    shift_text,
    shifts_of,
)
from cells.working_time.plant_time import elapsed_s, parse_moment, to_wall
from cells.working_time.spans import Span, intersection, length, subtraction
from cells.working_time.weekdays import parse_weekdays

BERLIN = ZoneInfo("Europe/Berlin")
EVERY_DAY = "mon-sun"


def pattern(name="Early", start="06:00", end="14:00", **given):
    breaks = parse_breaks(given.pop("breaks", ""))
    weekdays = parse_weekdays(given.pop("weekdays", EVERY_DAY))
    given.setdefault("valid_from", date(2020, 1, 1))
    return Pattern(
        name=name,
        start=time.fromisoformat(start),
        end=time.fromisoformat(end),
        weekdays=weekdays,
        breaks=breaks,
        **given,
    )


def one_off(name, starts_at, ends_at, breaks="", *, of_line=False, zone=BERLIN):
    return OneOff(
        name=name,
        starts_at=parse_moment(starts_at, zone),
        ends_at=parse_moment(ends_at, zone),
        breaks=parse_breaks(breaks),
        of_line=of_line,
    )


def made(
    patterns=(), one_offs=(), days_off=(), on="2026-03-02", to=None, zone=BERLIN
) -> list[PlannedShift]:
    first = date.fromisoformat(on)
    last = date.fromisoformat(to or on)
    off = [date.fromisoformat(day) for day in days_off]
    return shifts_of(patterns, off, one_offs, zone, first, last)


def texts(shifts, zone=BERLIN):
    return [f"{one.production_date} {shift_text(one, zone)}" for one in shifts]


# Source: recomputed with zoneinfo, tzdata 2026f.
@pytest.mark.parametrize(
    ("zone", "start", "end", "day", "hours"),
    [
        ("America/New_York", "22:00", "06:00", "2026-03-07", 7),
        ("America/New_York", "22:00", "06:00", "2026-10-31", 9),
        ("America/New_York", "22:00", "06:00", "2026-03-02", 8),
        ("America/Detroit", "23:00", "07:00", "2027-03-13", 7),
        ("America/Detroit", "23:00", "07:00", "2027-11-06", 9),
        ("America/Phoenix", "22:00", "06:00", "2026-03-07", 8),
        ("America/Mexico_City", "22:00", "06:00", "2026-04-04", 8),
        ("America/Monterrey", "22:00", "06:00", "2026-10-24", 8),
        ("America/Sao_Paulo", "22:00", "06:00", "2026-10-31", 8),
        ("Asia/Kolkata", "22:00", "06:00", "2026-03-28", 8),
        ("Europe/Berlin", "22:00", "06:00", "2026-03-28", 7),
        ("Europe/Berlin", "22:00", "06:00", "2026-10-24", 9),
    ],
)
def test_a_night_shift_has_its_real_length(zone, start, end, day, hours):
    (night,) = made([pattern("Night", start, end)], on=day, zone=ZoneInfo(zone))
    assert elapsed_s(night.starts_at, night.ends_at) == hours * 3600
    assert str(night.production_date) == day


# Source: own arithmetic on common practice, as in the spans' tests.
def test_a_stop_over_the_shift_change_costs_each_shift_its_own_minutes():
    patterns = [pattern("Early", "06:00", "14:00"), pattern("Late", "14:00", "22:00")]
    early, late = made(patterns)
    stop = [Span(early.span.start + 460 * 60, early.span.start + 505 * 60)]
    assert length(intersection(stop, [early.span])) == 20 * 60
    assert length(intersection(stop, [late.span])) == 25 * 60


def test_a_stop_over_a_break_costs_only_its_working_minutes():
    (early,) = made([pattern(breaks="11:00-11:30")])
    stop = [Span(early.span.start + 290 * 60, early.span.start + 340 * 60)]
    working = subtraction([early.span], [one.span for one in early.breaks])
    assert length(intersection(stop, working)) == 20 * 60


def test_a_sunday_night_can_belong_to_monday():
    sunday = pattern("Night", "22:00", "06:00", weekdays="sun-thu", date_offset=1)
    assert texts(made([sunday])) == [
        "2026-03-02 Night (2026-03-01 22:00 to 2026-03-02 06:00)"
    ]


def test_breaks_after_midnight_fall_on_the_next_day():
    (night,) = made([pattern("Night", "22:00", "06:00", breaks="02:00-02:30")])
    (rest,) = night.breaks
    assert str(to_wall(rest.starts_at, BERLIN)) == "2026-03-03 02:00:00"
    assert rest.span.end - rest.span.start == 1800


def test_the_breaks_come_in_order_of_time():
    (night,) = made(
        [pattern("Night", "22:00", "06:00", breaks="02:00-02:30;23:00-23:10")]
    )
    assert list(night.breaks) == sorted(night.breaks)
    assert len(night.breaks) == 2


@pytest.mark.parametrize(
    ("breaks", "starts", "minutes"),
    [
        pytest.param("02:00-02:30", "03:00", 30, id="skipped"),
        pytest.param("02:30-03:00", "03:30", 30, id="start-skipped-moves-whole"),
        pytest.param("01:30-02:30", "01:30", 60, id="end-skipped"),
        pytest.param("03:00-03:30", "03:00", 30, id="after-the-change"),
    ],
)
def test_breaks_that_the_clocks_skip_move_forward_by_the_gap(breaks, starts, minutes):
    (night,) = made(
        [pattern("Night", "22:00", "06:00", breaks=breaks)], on="2026-03-28"
    )
    (rest,) = night.breaks
    assert f"{to_wall(rest.starts_at, BERLIN):%H:%M}" == starts
    assert rest.span.end - rest.span.start == minutes * 60


def test_breaks_that_the_clocks_repeat_mean_the_first():
    (night,) = made(
        [pattern("Night", "22:00", "06:00", breaks="02:00-02:30")], on="2026-10-24"
    )
    assert night.breaks[0].starts_at == parse_moment("2026-10-25T02:00+02:00", BERLIN)
    assert night.breaks[0].ends_at == parse_moment("2026-10-25T02:30+02:00", BERLIN)


def test_a_one_off_in_the_repeated_hour_takes_its_breaks_from_its_own_start_on():
    overtime = one_off(
        "Repair", "2026-10-25T02:30+01:00", "2026-10-25T06:00", "02:40-02:50"
    )
    (shift,) = made([], [overtime], on="2026-10-25")
    assert shift.breaks[0].starts_at == parse_moment("2026-10-25T02:40+01:00", BERLIN)


def test_shifts_that_meet_in_a_skipped_hour_still_meet():
    patterns = [pattern("Night", "22:00", "02:30"), pattern("Dawn", "02:30", "06:00")]
    dawn_before, night, dawn = made(patterns, on="2026-03-28", to="2026-03-29")[:3]
    assert dawn_before.name == "Dawn"
    assert night.ends_at == dawn.starts_at
    assert elapsed_s(night.starts_at, dawn.ends_at) == 7 * 3600


def test_breaks_that_a_clock_change_pushes_into_each_other_are_refused():
    night = pattern("Night", "22:00", "06:00", breaks="02:15-02:45;03:20-03:40")
    with pytest.raises(ValueError, match="breaks") as caught:
        made([night], on="2026-03-28")
    assert str(caught.value) == (
        "The breaks 02:15-02:45;03:20-03:40 overlap in Night (2026-03-28 22:00 to "
        "2026-03-29 06:00): change them, or enter that date as a one-off shift."
    )


def test_a_day_off_takes_the_shift_that_starts_on_it_and_no_other():
    nights = [pattern("Night", "22:00", "06:00")]
    left = made(nights, days_off=["2026-03-03"], on="2026-03-02", to="2026-03-04")
    assert [str(one.production_date) for one in left] == ["2026-03-02", "2026-03-04"]


def test_overtime_is_worked_on_a_day_off():
    overtime = one_off("Early", "2026-03-03T06:00", "2026-03-03T12:00", "09:00-09:15")
    days = {"on": "2026-03-03", "days_off": ["2026-03-03"]}
    (shift,) = made([pattern()], [overtime], **days)
    assert texts([shift]) == ["2026-03-03 Early (2026-03-03 06:00 to 2026-03-03 12:00)"]
    assert len(shift.breaks) == 1


def test_a_one_off_stands_in_for_the_shift_of_its_name_and_date():
    shorter = one_off("Early", "2026-03-02T07:00", "2026-03-02T12:00")
    patterns = [pattern(breaks="09:00-09:10"), pattern("Late", "14:00", "22:00")]
    early, late = made(patterns, [shorter])
    assert texts([early]) == ["2026-03-02 Early (2026-03-02 07:00 to 2026-03-02 12:00)"]
    assert early.breaks == ()
    assert late.name == "Late"


def test_a_one_off_without_length_cancels_the_shift():
    cancelled = one_off("Early", "2026-03-02T06:00", "2026-03-02T06:00")
    left = made([pattern()], [cancelled], on="2026-03-01", to="2026-03-03")
    assert [str(one.production_date) for one in left] == ["2026-03-01", "2026-03-03"]


@pytest.mark.parametrize("swapped", [False, True])
def test_a_lines_one_off_wins_over_its_areas_in_either_order(swapped):
    area = one_off("Early", "2026-03-02T06:00", "2026-03-02T06:00")
    line = one_off("Early", "2026-03-02T08:00", "2026-03-02T12:00", of_line=True)
    given_in = [line, area] if swapped else [area, line]
    (shift,) = made([pattern()], given_in)
    assert shift.starts_at == line.starts_at


def test_a_one_off_keeps_the_date_offset_of_the_shift_it_replaces():
    night = pattern("Night", "22:00", "06:00", weekdays="sun-thu", date_offset=1)
    shorter = one_off("Night", "2026-03-01T23:00", "2026-03-02T05:00")
    assert texts(made([night], [shorter])) == [
        "2026-03-02 Night (2026-03-01 23:00 to 2026-03-02 05:00)"
    ]


def test_overtime_on_another_weekday_is_dated_like_the_shifts_of_its_name():
    # Friday 22:00 as Saturday; as Friday it would be Friday's second Night.
    night = pattern("Night", "22:00", "06:00", weekdays="sun-thu", date_offset=1)
    friday = one_off("Night", "2026-03-06T22:00", "2026-03-07T06:00")
    both = made([night], [friday], on="2026-03-06", to="2026-03-07")
    assert texts(both) == [
        "2026-03-06 Night (2026-03-05 22:00 to 2026-03-06 06:00)",
        "2026-03-07 Night (2026-03-06 22:00 to 2026-03-07 06:00)",
    ]


def test_a_one_off_without_a_pattern_belongs_to_the_date_it_starts():
    extra = one_off("Repair", "2026-03-01T23:00", "2026-03-02T03:00")
    assert texts(made([], [extra], on="2026-03-01")) == [
        "2026-03-01 Repair (2026-03-01 23:00 to 2026-03-02 03:00)"
    ]


def test_a_one_off_whose_date_is_unclear_is_refused():
    patterns = [
        pattern("Night", "22:00", "06:00", weekdays="mon-wed"),
        pattern("Night", "22:00", "06:00", weekdays="sun", date_offset=-1),
    ]
    friday = one_off("Night", "2026-03-06T22:00", "2026-03-07T06:00")
    with pytest.raises(ValueError, match="have different date offsets: rename it"):
        made(patterns, [friday], on="2026-03-06")


def test_patterns_of_one_name_follow_each_other():
    patterns = [
        pattern(valid_to=date(2026, 3, 2)),
        pattern(start="05:00", end="13:00", valid_from=date(2026, 3, 3)),
    ]
    assert texts(made(patterns, to="2026-03-03")) == [
        "2026-03-02 Early (2026-03-02 06:00 to 2026-03-02 14:00)",
        "2026-03-03 Early (2026-03-03 05:00 to 2026-03-03 13:00)",
    ]


def test_two_patterns_of_one_name_on_one_date_are_refused():
    patterns = [pattern(), pattern(valid_from=date(2026, 3, 1))]
    with pytest.raises(ValueError, match="patterns") as caught:
        made(patterns)
    assert str(caught.value) == (
        "Two patterns named Early hold on 2026-03-01, valid from 2020-01-01 and from "
        "2026-03-01: end the first before the second begins, or rename one."
    )


def test_two_one_offs_of_one_name_and_date_are_refused():
    twice = [
        one_off("Early", f"2026-03-02T{start}", "2026-03-02T14:00")
        for start in ("06:00", "07:00")
    ]
    with pytest.raises(ValueError, match="one-off") as caught:
        made([], twice)
    assert str(caught.value) == (
        "Early on 2026-03-02 has two one-off shifts, one at 06:00 and one at 07:00: "
        "keep one."
    )


def test_overlapping_shifts_are_refused_and_both_are_named():
    patterns = [pattern(), pattern("Late", "13:30", "22:00")]
    with pytest.raises(ValueError, match="overlap") as caught:
        made(patterns)
    assert str(caught.value) == (
        "Early (2026-03-02 06:00 to 2026-03-02 14:00) and Late (2026-03-02 13:30 to "
        "2026-03-02 22:00) overlap: end the first before the second starts, or cancel "
        "one."
    )


def test_a_shift_that_overlaps_one_just_outside_the_range_is_refused():
    night = pattern("Night", "22:00", "06:00", weekdays="sun")
    early = pattern("Early", "05:00", "13:00", weekdays="mon")
    with pytest.raises(ValueError, match=r"Night .* and Early .* overlap"):
        made([night, early], on="2026-03-02")


def test_shifts_that_clash_outside_the_range_do_not_hold_it_up():
    patterns = [pattern(), pattern("Late", "13:30", "22:00", weekdays="sun")]
    assert len(made(patterns, on="2026-03-02")) == 1


def test_two_shifts_of_one_production_date_and_name_are_refused():
    patterns = [
        pattern("Night", "22:00", "06:00", weekdays="sun", date_offset=1),
        pattern("Night", "22:00", "06:00", weekdays="mon"),
    ]
    with pytest.raises(ValueError, match="both belong") as caught:
        made(patterns)
    assert str(caught.value) == (
        "Night (2026-03-01 22:00 to 2026-03-02 06:00) and Night (2026-03-02 22:00 to "
        "2026-03-03 06:00) both belong to 2026-03-02: rename or cancel one."
    )


@pytest.mark.parametrize(
    ("wrong", "part"),
    [
        ({"valid_to": date(2019, 12, 31)}, "Early is valid to 2019-12-31, before"),
        ({"date_offset": 2}, "Early has the date offset 2: write -1, 0 or 1 day"),
        ({"breaks": "13:50-14:10"}, "The break 13:50-14:10 does not lie within"),
    ],
)
def test_a_pattern_that_cannot_be_is_refused(wrong, part):
    with pytest.raises(ValueError, match=part):
        pattern(**wrong)


def test_a_one_off_that_ends_before_it_starts_is_refused():
    with pytest.raises(ValueError, match="make them equal to cancel the shift"):
        one_off("Early", "2026-03-02T06:00", "2026-03-02T05:59")


def test_a_cancelled_shift_has_no_breaks():
    with pytest.raises(ValueError, match=r"breaks 09:00-09:10 cannot be: leave"):
        one_off("Early", "2026-03-02T06:00", "2026-03-02T06:00", "09:00-09:10")


@pytest.mark.parametrize("breaks", ["05:00-06:30", "11:50-12:10", "13:00-13:10"])
def test_a_one_offs_breaks_lie_within_it(breaks):
    overtime = one_off("Early", "2026-03-02T06:00", "2026-03-02T12:00", breaks)
    with pytest.raises(ValueError, match=f"The break {breaks} does not lie within Ear"):
        one_off_shift(overtime, BERLIN)


def test_a_range_that_ends_before_it_starts_is_refused():
    with pytest.raises(ValueError, match="give the earlier date first"):
        made([], on="2026-03-02", to="2026-03-01")
