"""Figures in words. Expected strings: own arithmetic."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from cells.templatetags import figures

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def plant_time():
    day_of_march = datetime(2026, 3, 5, tzinfo=UTC)
    with time_machine.travel(day_of_march), timezone.override(BERLIN):
        yield


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        pytest.param(1680, "28 min", id="whole minutes"),
        pytest.param(29, "0 min", id="just under half a minute"),
        pytest.param(30, "1 min", id="half goes up"),
        pytest.param(89, "1 min", id="just under one and a half"),
        pytest.param(0, "0 min", id="none is said"),
        pytest.param(-1200, "−20 min", id="negative"),
        pytest.param(-29, "0 min", id="no minus before nought"),
        pytest.param(35969, "599 min", id="just under ten hours"),
        pytest.param(35970, "10 h 00", id="ten hours by rounding"),
        pytest.param(45000, "12 h 30", id="hours"),
        pytest.param(-45000, "−12 h 30", id="negative hours"),
        pytest.param(4_500_000, "1,250 h 00", id="thousands of hours"),
        pytest.param(Fraction(91, 2), "1 min", id="a fraction of a second"),
        pytest.param(Decimal("29.999999"), "0 min", id="a decimal below half"),
        pytest.param(Decimal("-31"), "−1 min", id="a negative decimal"),
        pytest.param(None, "—", id="unknown"),
    ],
)
def test_minutes_are_whole_and_hours_start_at_ten(seconds, words):
    assert figures.minutes(seconds) == words


@given(st.integers(min_value=-(10**9), max_value=10**9))
def test_minutes_of_whole_seconds_never_stray_more_than_half_a_minute(seconds):
    words = figures.minutes(seconds).replace("−", "-").replace(",", "")
    sign = -1 if words.startswith("-") else 1
    if words.endswith(" min"):
        shown = int(words.removesuffix(" min"))
    else:
        hours, rest = words.lstrip("-").split(" h ")
        shown = sign * (int(hours) * 60 + int(rest))
    assert -30 <= seconds - 60 * shown < 30


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        pytest.param(1692, "28 min 12 s", id="minutes and seconds"),
        pytest.param(1680, "28 min", id="no nought seconds"),
        pytest.param(12, "12 s", id="seconds only"),
        pytest.param(0, "0 min", id="none"),
        pytest.param(-72, "−1 min 12 s", id="negative"),
        pytest.param(90_000, "1,500 min", id="stays in minutes"),
        pytest.param(Fraction(1, 2), "1 s", id="half a second goes up"),
        pytest.param(Decimal("-0.5"), "0 min", id="half a second up to nought"),
        pytest.param(None, "—", id="unknown"),
    ],
)
def test_exact_minutes_go_to_the_second(seconds, words):
    assert figures.exact_minutes(seconds) == words


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        pytest.param(0.7977, "79.8 %", id="one decimal"),
        pytest.param(0.7975, "79.8 %", id="half goes up as written, not as stored"),
        pytest.param(0.0, "0.0 %", id="none"),
        pytest.param(1.0432, "104.3 %", id="above one is shown as it is"),
        pytest.param(-0.05, "−5.0 %", id="negative"),
        pytest.param(Fraction(2, 3), "66.7 %", id="a fraction"),
        pytest.param(Decimal("0.8"), "80.0 %", id="a decimal"),
        pytest.param(None, "—", id="unknown"),
    ],
)
def test_percent_keeps_one_decimal_and_tells_none_from_nought(ratio, words):
    assert figures.percent(ratio) == words


@pytest.mark.parametrize(
    ("number", "words"),
    [(1797120, "1,797,120"), (0, "0"), (-3, "−3"), (None, "—")],
)
def test_counts_are_grouped_by_thousands(number, words):
    assert figures.count(number) == words


def test_a_moment_is_written_in_plant_time(plant_time):
    when = datetime(2026, 3, 3, 13, 5, tzinfo=UTC)  # Berlin is an hour ahead in March

    assert figures.moment(when) == "Tue 3 March 14:05"
    assert figures.clock(when) == "14:05"
    assert figures.day(when) == "Tue 3 March"


@pytest.mark.parametrize(
    ("kept", "words"),
    [
        ("2026-03-03T13:05:00Z", "Tue 3 March 14:05"),
        ("2026-03-03T13:05:09Z", "Tue 3 March 14:05 and 9 s"),
        ("2026-03-03", "2026-03-03"),
        ("see 2026-03-03T13:05:00Z", "see 2026-03-03T13:05:00Z"),
        ("", ""),
    ],
)
def test_a_moment_of_the_trail_is_shown_in_plant_time(plant_time, kept, words):
    assert figures.of_trail(kept) == words


def test_the_day_of_a_moment_is_the_plants_day(plant_time):
    assert figures.day(datetime(2026, 3, 3, 23, 30, tzinfo=UTC)) == "Wed 4 March"


def test_a_date_is_no_moment_and_is_not_moved(plant_time):
    assert figures.day(date(2026, 3, 3)) == "Tue 3 March"


def test_another_year_is_named(plant_time):
    assert figures.day(date(2025, 12, 31)) == "Wed 31 December 2025"


def test_the_hour_that_a_clock_change_repeats_names_its_zone(plant_time):
    # Clocks go back on 25 October 2026 at 01:00 UTC (EU Directive 2000/84; MEMORY).
    first = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)

    assert figures.clock(first) == "02:30 CEST"
    assert figures.clock(first + timedelta(hours=1)) == "02:30 CET"
    assert figures.clock(first + timedelta(hours=2)) == "03:30"


@pytest.mark.parametrize("written", [figures.moment, figures.clock, figures.day])
def test_no_moment_is_a_dash(written):
    assert written(None) == "—"


def test_a_moment_without_a_zone_is_refused():
    naive = datetime.fromisoformat("2026-03-03T14:05")
    with pytest.raises(ValueError, match="2026-03-03T14:05:00 has no time zone"):
        figures.clock(naive)


@pytest.mark.usefixtures("plant_time")
def test_the_header_shows_the_clock_that_the_demo_shifts(settings):
    settings.CLOCK_OFFSET = 3600
    assert figures.plant_now() == datetime(2026, 3, 5, 1, tzinfo=UTC)


def test_a_page_of_a_faster_demo_refreshes_sooner(settings):
    assert figures.refresh(60) == "60s"
    settings.CLOCK_SPEED = 8
    assert figures.refresh(60) == "8s"
    settings.CLOCK_SPEED = 60
    assert figures.refresh(60) == "5s"  # but nobody can read faster
