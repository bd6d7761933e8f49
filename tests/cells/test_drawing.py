"""The geometry of the drawings. Shares: own arithmetic."""

import doctest
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells import drawing
from cells.drawing import Part, StripStop
from tests.cells.early_shift import BERLIN, EARLY, Stretch, at


def test_the_examples_in_the_docstrings_run():
    ran = doctest.testmod(drawing)
    assert (ran.failed, ran.attempted > 0) == (0, True)


def strip(*stops, breaks=(), now="15:00", shift=EARLY):
    return drawing.shift_strip(
        shift,
        breaks=breaks,
        stops=stops,
        now=at(now) if isinstance(now, str) else now,
        zone=BERLIN,
    )


def percent(text):
    return float(text.removesuffix("%"))


# The account bar


def test_parts_stand_in_the_order_of_the_classes_whatever_the_order_given():
    bar = drawing.account_bar(
        [
            Part(kind="starved", seconds=60),
            Part(kind="slow", seconds=60),
            Part(kind="good", seconds=60),
            Part(kind="breakdown", seconds=60),
        ]
    )
    assert [rect.kind for rect in bar.rects] == ["good", "breakdown", "slow", "starved"]


parts_of_busy = st.lists(
    st.builds(
        Part,
        kind=st.sampled_from(list(drawing.KIND_WORDS)),
        seconds=st.integers(min_value=0, max_value=10**7),
    ),
    max_size=13,
    unique_by=lambda part: part.kind,
)


@given(parts_of_busy, st.integers(min_value=0, max_value=10**8))
def test_parts_lie_side_by_side_with_lengths_in_the_ratio_of_their_seconds(
    parts, scale
):
    bar = drawing.account_bar(parts, scale=scale)
    full = max(scale, sum(part.seconds for part in parts))
    end = 0.0
    for rect in bar.rects:
        assert percent(rect.x) == pytest.approx(end, abs=0.002)
        assert percent(rect.width) == pytest.approx(
            100 * rect.seconds / full, abs=0.001
        )
        end = (
            100 * sum(r.seconds for r in bar.rects[: bar.rects.index(rect) + 1]) / full
        )
    assert end <= 100.001


def test_on_a_common_scale_a_bar_is_as_long_as_its_minutes():
    (rect,) = drawing.account_bar([Part(kind="minor", seconds=300)], scale=1200).rects
    assert rect.width == "25.000%"


def test_a_bar_that_adds_up_has_no_mark_and_nothing_missing():
    bar = drawing.account_bar(
        [Part(kind="good", seconds=0.1), Part(kind="slow", seconds=0.2)], total=0.3
    )
    assert (bar.total_x, bar.missing) == (None, 0)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Part(kind="lunch", seconds=1), "kind 'lunch' must be one of good, "),
        (
            lambda: Part(kind="minor", seconds=-5),
            r"minor \(-5 s\) must not be negative",
        ),
        (lambda: drawing.account_bar([], total=-1), r"total \(-1 s\) must not be"),
        (lambda: drawing.account_bar([], scale=-1), r"scale \(-1 s\) must not be"),
        (
            lambda: strip(shift=Stretch(at("14:00"), at("06:00"))),
            "shift ends .* not after",
        ),
        (
            lambda: StripStop(kind="reject", starts_at=at("06:00")),
            "kind 'reject' must be",
        ),
        (
            lambda: StripStop(kind="minor", starts_at=at("08:00"), ends_at=at("07:00")),
            "stop ends .* before it starts",
        ),
    ],
)
def test_what_cannot_be_drawn_is_refused_with_its_value(make, words):
    with pytest.raises(ValueError, match=words):
        make()


# The shift strip


def test_a_stop_stands_where_the_clock_was():
    (block,) = strip(
        StripStop(kind="setup", starts_at=at("08:00"), ends_at=at("10:00"))
    ).stops
    assert (block.x, block.width) == ("25.000%", "25.000%")


def test_a_stop_is_cut_to_the_shift():
    (block,) = strip(
        StripStop(kind="setup", starts_at=at("05:00"), ends_at=at("06:48"))
    ).stops
    assert (block.x, block.width) == ("0.000%", "10.000%")


def test_a_stop_of_another_shift_is_not_drawn():
    late = StripStop(kind="setup", starts_at=at("14:00"), ends_at=at("15:00"))
    assert strip(late).stops == ()


def test_the_stop_that_owns_the_second_is_painted_last():
    starved = StripStop(kind="starved", starts_at=at("08:00"), ends_at=at("09:00"))
    later = StripStop(kind="breakdown", starts_at=at("08:30"), ends_at=at("09:30"))
    earlier = StripStop(kind="breakdown", starts_at=at("08:10"), ends_at=at("08:40"))

    painted = [block.stop for block in strip(earlier, later, starved).stops]

    assert painted == [starved, later, earlier]


@pytest.mark.parametrize(
    ("now", "passed", "ahead", "mark"),
    [
        pytest.param("05:00", None, "100.000%", None, id="before the shift"),
        pytest.param("08:00", "25.000%", "75.000%", "25.000%", id="within it"),
        pytest.param("14:00", "100.000%", None, None, id="at its end"),
    ],
)
def test_what_is_still_to_come_is_told_from_what_has_passed(now, passed, ahead, mark):
    drawn = strip(now=now)
    assert (drawn.passed and drawn.passed.width) == passed
    assert (drawn.ahead and drawn.ahead.width) == ahead
    assert drawn.now_x == mark


def test_hours_are_labelled_at_both_ends_and_evenly_between():
    hours = [(hour.text, hour.x) for hour in strip().hours]
    assert hours == [
        ("06:00", "0.000%"),
        ("08:00", "25.000%"),
        ("10:00", "50.000%"),
        ("12:00", "75.000%"),
        ("14:00", "100.000%"),
    ]


def test_a_shift_off_the_hour_is_labelled_on_full_hours_that_do_not_touch_its_ends():
    odd = Stretch(at("05:30"), at("13:30"))
    texts = [hour.text for hour in strip(shift=odd).hours]
    assert texts == ["05:30", "07:00", "09:00", "11:00", "13:30"]


def test_on_the_night_of_nine_hours_the_repeated_hour_is_labelled_twice():
    # Clocks go back on 25 October 2026 at 01:00 UTC (EU Directive 2000/84; MEMORY).
    night = Stretch(at("22:00", "2026-10-24"), at("06:00", "2026-10-25"))
    drawn = strip(shift=night, now=night.ends_at + timedelta(hours=1))

    assert [hour.text for hour in drawn.hours] == [
        "22:00",
        "00:00",
        "02:00",
        "03:00",
        "06:00",
    ]
    stop = StripStop(
        kind="minor",
        starts_at=night.starts_at + timedelta(hours=4),
        ends_at=night.starts_at + timedelta(hours=5),
    )
    (block,) = strip(stop, shift=night, now=night.ends_at).stops
    assert (block.x, block.width) == ("44.444%", "11.111%")


@given(
    st.integers(min_value=1, max_value=3 * 86400),
    st.integers(min_value=0, max_value=86400),
)
def test_no_two_hour_labels_touch(length, start):
    starts_at = datetime(2026, 3, 28, tzinfo=UTC) + timedelta(seconds=start)
    shift = Stretch(starts_at, starts_at + timedelta(seconds=length))
    places = [percent(hour.x) for hour in strip(shift=shift).hours]
    assert len(places) <= drawing.MOST_HOUR_LABELS
    # A label is about 40 of a phone's 340 pixels wide; the first and last lie inside.
    assert all(b - a > 11 for a, b in pairwise(places))


# The sparkline


def test_higher_values_stand_higher_and_the_last_is_marked():
    spark = drawing.sparkline([0.6, 0.8])
    assert spark.lines == ("3.0,23.0 107.0,3.0",)
    assert spark.last == ("107.0", "3.0")


def test_an_unknown_value_breaks_the_line():
    assert len(drawing.sparkline([0.7, 0.7, None, 0.8, 0.8]).lines) == 2


def test_a_small_swing_looks_small():
    # One point of OEE of the ten that the height stands for at least: 2 of 20 pixels.
    (line,) = drawing.sparkline([0.75, 0.76]).lines
    heights = [float(point.split(",")[1]) for point in line.split()]
    assert heights[0] - heights[1] == pytest.approx(2, abs=0.11)


def test_the_target_lies_within_the_drawing():
    spark = drawing.sparkline([0.5, 0.52], target=0.9)
    assert spark.target_y == "3.0"


# The legend
