from datetime import date
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from cells.metering.history import MeterHistory, MeterReading
from cells.metering.questions import reading_questions
from tests.cells.metering.builders import calendar, history, read

MARCH_2 = date(2026, 3, 2)
MARCH_16 = date(2026, 3, 16)
MARCH_23 = date(2026, 3, 23)

# 100 a production date from 2 to 16 March: 10 of them.
STEADY = history((MARCH_2, 5000), (MARCH_16, 6000))


def questions(
    entered: MeterReading,
    readings: MeterHistory = STEADY,
    max_per_hour: Decimal | None = None,
) -> tuple[str, ...]:
    return reading_questions(
        entered, history=readings, production=calendar(), max_per_hour=max_per_hour
    )


def test_the_first_reading_ever_asks_nothing() -> None:
    assert questions(read(MARCH_2, 99_999), history(), Decimal(1)) == ()


def test_an_ordinary_reading_asks_nothing() -> None:
    assert questions(read(MARCH_23, 6500), max_per_hour=Decimal(100)) == ()


def test_a_reading_below_the_last_one_asks() -> None:
    assert questions(read(MARCH_23, 5999)) == (
        "The reading 5999 is below the last one (6000 on 2026-03-16): "
        "correct it, or confirm it.",
    )


def test_the_same_value_again_asks_nothing() -> None:
    assert questions(read(MARCH_23, 6000)) == ()


def test_a_meter_that_ran_faster_than_it_can_asks() -> None:
    # 168 hours at 2 an hour are 336.
    assert questions(read(MARCH_23, 6336), max_per_hour=Decimal(2)) == ()
    (question,) = questions(read(MARCH_23, 6337), max_per_hour=Decimal(2))
    assert question == (
        "The reading 6337 is 337 above the last one (6000 on 2026-03-16), but in the "
        "168.0 hours since then this meter can run 336 at most: "
        "correct it, or confirm it."
    )


def test_over_three_times_the_usual_use_asks() -> None:
    # Five production dates from 16 to 23 March: 500 is usual, 1,500 three times that.
    assert questions(read(MARCH_23, 7500)) == ()
    (question,) = questions(read(MARCH_23, 7501))
    assert question == (
        "The reading 7501 is 1501 above the last one (6000 on 2026-03-16), over three "
        "times what this machine usually uses in that time (500): "
        "correct it, or confirm it."
    )


def test_a_second_reading_of_the_day_is_held_against_one_production_date() -> None:
    assert questions(read(MARCH_16, 6300, hour=18)) == ()
    assert len(questions(read(MARCH_16, 6301, hour=18))) == 1


def test_a_reading_may_ask_two_questions() -> None:
    assert len(questions(read(MARCH_23, 9000), max_per_hour=Decimal(2))) == 2


def test_without_a_usual_use_only_the_meters_own_limits_ask() -> None:
    once = history((MARCH_2, 0))
    assert questions(read(MARCH_23, 1_000_000), once) == ()


def test_a_reading_entered_afterwards_is_held_against_its_own_past() -> None:
    assert questions(read(date(2026, 3, 9), 5500)) == ()
    (question,) = questions(read(date(2026, 3, 9), 4999))
    assert "below the last one (5000 on 2026-03-02)" in question


@given(value=st.integers(0, 20_000), limit=st.integers(1, 50))
def test_above_the_last_reading_a_higher_value_asks_no_fewer_questions(
    value: int, limit: int
) -> None:
    low = questions(read(MARCH_23, 6000 + value), max_per_hour=Decimal(limit))
    high = questions(read(MARCH_23, 6001 + value), max_per_hour=Decimal(limit))
    assert len(high) >= len(low)


def test_a_correction_is_not_held_against_what_it_corrects() -> None:
    assert questions(read(MARCH_16, 5900)) == ()
