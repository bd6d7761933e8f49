from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cells.metering.history import MeterHistory
from maintenance.planning.due_dates import (
    Completion,
    DueInputs,
    next_due,
    state,
    verdict,
)
from maintenance.planning.routine_rule import RoutineRule
from tests.cells.metering.builders import calendar, history, read
from tests.maintenance.planning.builders import done
from tests.maintenance.planning.oracle import Case
from tests.maintenance.planning.strategies import days, machines

MARCH_2 = date(2026, 3, 2)  # a Monday
APRIL_1 = date(2026, 4, 1)


def routine(
    readings: MeterHistory,
    *made: Completion,
    every_units: int = 1000,
    every_days: int | None = None,
    safety: bool = False,
    clock_start: date = MARCH_2,
) -> DueInputs:
    return DueInputs(
        rule=RoutineRule(
            every_units=Decimal(every_units), every_days=every_days, safety=safety
        ),
        clock_start=clock_start,
        production=calendar(),
        completions=made,
        readings=readings,
    )


def test_the_forecast_counts_production_dates() -> None:
    """Common practice: 232,000 spots left ÷ (9 × 832 = 7,488) = 31 production dates."""
    latest = 1_268_000
    readings = history(
        (MARCH_2, latest - 20 * 7_488),
        (date(2026, 3, 30), latest),  # 20 production dates later
    )
    replaced = done(MARCH_2 - timedelta(days=1), 0)
    inputs = routine(readings, replaced, every_units=1_500_000)
    due = next_due(inputs, on=date(2026, 3, 30))
    assert due.meter_limit == 1_500_000
    # 31 weekdays after Monday 30 March: six weeks and a day.
    assert due.due == date(2026, 5, 12)
    assert due.bound_by == "meter"


def test_the_first_reading_that_reaches_the_limit_dates_it() -> None:
    readings = history(
        (MARCH_2, 0),
        (date(2026, 3, 9), 950),
        (date(2026, 3, 16), 1000),
        (date(2026, 3, 23), 1500),
    )
    due = next_due(routine(readings), on=APRIL_1)
    assert (due.earliest, due.due) == (date(2026, 3, 9), date(2026, 3, 16))
    assert due.latest == date(2026, 3, 23)
    assert state(due, on=APRIL_1) == "late"


def test_the_window_is_the_dates_of_ten_percent_either_side() -> None:
    # 100 a production date: 900 after 9 of them, 1,000 after 10, 1,100 after 11.
    readings = history((MARCH_2, 0), (date(2026, 3, 9), 500))
    due = next_due(routine(readings), on=date(2026, 3, 9))
    assert due.earliest == date(2026, 3, 13)
    assert due.due == date(2026, 3, 16)
    assert due.latest == date(2026, 3, 17)
    safety = next_due(routine(readings, safety=True), on=date(2026, 3, 9))
    assert (safety.earliest, safety.latest) == (date(2026, 3, 13), safety.due)


def test_use_goes_by_the_last_reading_at_least_28_days_before_the_latest() -> None:
    readings = history(
        (date(2026, 1, 5), 0),  # a busy time long ago
        (MARCH_2, 10_000),
        (date(2026, 3, 3), 10_100),  # 27 days before the latest: too near
        (date(2026, 3, 30), 10_200),
    )
    inputs = routine(readings, every_units=300)
    # Since 2 March 200 in 20 production dates, 10 each; 100 left: 10 dates.
    assert next_due(inputs, on=date(2026, 3, 30)).due == date(2026, 4, 13)


def test_never_done_the_base_is_the_first_reading_from_the_clocks_start() -> None:
    readings = history((date(2026, 2, 2), 100), (date(2026, 3, 4), 400))
    assert next_due(routine(readings), on=APRIL_1).meter_limit == 1400


def test_never_done_and_not_read_since_the_clocks_start_there_is_no_base() -> None:
    readings = history((date(2026, 1, 5), 0), (date(2026, 2, 2), 5000))
    due = next_due(routine(readings), on=APRIL_1)
    assert due.meter_limit is None
    assert due.meter_not_read
    assert state(due, on=APRIL_1) == "no_forecast"


@pytest.mark.parametrize(
    ("completion", "limit"),
    [
        pytest.param(done(date(2026, 3, 10), 450), 1450, id="given with it"),
        pytest.param(done(date(2026, 3, 10)), 1300, id="else the last before"),
        pytest.param(done(date(2026, 2, 20)), 1100, id="else the first ever"),
    ],
)
def test_the_base_is_the_reading_at_the_last_completion(
    completion: Completion, limit: int
) -> None:
    readings = history(
        (MARCH_2, 100), (date(2026, 3, 9), 300), (date(2026, 3, 16), 700)
    )
    due = next_due(routine(readings, completion), on=APRIL_1)
    assert due.meter_limit == limit


def test_of_one_day_only_the_readings_before_the_completion_are_its_base() -> None:
    day = date(2026, 3, 10)
    readings = MeterHistory(
        [read(MARCH_2, 0), read(day, 600, hour=8), read(day, 1600, hour=16)]
    )
    due = next_due(routine(readings, done(day, hour=10)), on=day)
    assert due.meter_limit == 1600
    assert due.due == day


def test_a_reading_before_the_completion_reaches_no_later_limit() -> None:
    """A meter put back: 5,000 was read before, the completion gave 100."""
    day = date(2026, 3, 10)
    readings = MeterHistory([read(MARCH_2, 5000), read(day, 100)])
    due = next_due(routine(readings, done(day, 100)), on=day)
    assert due.meter_limit == 1100
    assert due.due is None


@pytest.mark.parametrize(
    "readings",
    [
        pytest.param((), id="never read"),
        pytest.param(((MARCH_2, 100),), id="one reading only"),
        pytest.param(
            ((date(2026, 3, 7), 100), (date(2026, 3, 8), 300)),
            id="no production date between",
        ),
        pytest.param(((MARCH_2, 100), (date(2026, 3, 9), 100)), id="no use"),
        pytest.param(((MARCH_2, 100), (date(2026, 3, 9), 50)), id="run backwards"),
    ],
)
def test_without_use_there_is_no_forecast(
    readings: tuple[tuple[date, int], ...],
) -> None:
    due = next_due(routine(history(*readings)), on=APRIL_1)
    assert (due.due, due.earliest, due.latest, due.bound_by) == (None,) * 4
    assert due.meter_not_read
    assert state(due, on=APRIL_1) == "no_forecast"


def test_a_meter_without_forecast_leaves_it_to_the_calendar_and_says_so() -> None:
    due = next_due(routine(history(), every_days=28), on=APRIL_1)
    assert (due.due, due.bound_by) == (date(2026, 3, 30), "calendar")
    assert due.meter_not_read


def test_on_a_tie_the_calendar_binds_and_brings_its_window() -> None:
    readings = history((MARCH_2, 0), (date(2026, 3, 9), 500))  # limit on 16 March
    due = next_due(routine(readings, every_days=14), on=date(2026, 3, 9))
    assert (due.due, due.bound_by) == (date(2026, 3, 16), "calendar")
    assert due.latest == date(2026, 3, 17)
    assert due.earliest == date(2026, 3, 15)


def test_a_limit_reached_without_use_since_is_open_and_not_late() -> None:
    saturday, sunday = date(2026, 3, 7), date(2026, 3, 8)
    inputs = routine(history((saturday, 0), (sunday, 1050)))
    due = next_due(inputs, on=APRIL_1)
    assert (due.earliest, due.due, due.latest) == (sunday, sunday, None)
    assert state(due, on=APRIL_1) == "open"


@pytest.mark.parametrize(
    ("value", "verdict_else", "verdict_safety"),
    [
        (899, "early", "early"),
        (900, "on_time", "on_time"),
        (1000, "on_time", "on_time"),
        (1001, "on_time", "late"),
        (1100, "on_time", "late"),
        (1101, "late", "late"),
    ],
)
def test_on_time_by_meter_is_within_ten_percent_of_the_limit(
    value: int, verdict_else: str, verdict_safety: str
) -> None:
    made = (done(MARCH_2, 0), done(date(2026, 3, 20), value))
    verdicts = [
        verdict(routine(history(), *made, safety=safety), 1) for safety in (False, True)
    ]
    assert verdicts == [verdict_else, verdict_safety]


def test_a_reading_taken_later_on_the_day_changes_no_verdict() -> None:
    """The meter jumps over its limit at 16:00; at noon only the calendar bound."""
    day = date(2026, 3, 15)
    readings = MeterHistory([read(MARCH_2, 0), read(day, 2000, hour=16)])
    inputs = routine(readings, done(day, hour=12), every_days=14)
    assert verdict(inputs, 0) == "on_time"


def test_without_any_reading_there_is_no_verdict_by_meter() -> None:
    assert verdict(routine(history(), done(MARCH_2)), 0) is None


@given(machine=machines(), on=days)
def test_the_earlier_of_two_dues_binds(
    machine: tuple[DueInputs, Case], on: date
) -> None:
    both = machine[0]
    dues = [
        next_due(replace(both, rule=rule), on=on)
        for rule in (
            replace(both.rule, every_units=None) if both.rule.every_days else None,
            replace(both.rule, every_days=None) if both.rule.every_units else None,
        )
        if rule is not None
    ]
    dated = [due for due in dues if due.due is not None]
    due = next_due(both, on=on)
    earliest = min((d for d in dated), key=lambda d: d.due or date.max, default=None)
    assert due.due == (earliest.due if earliest else None)
    assert due.latest == (earliest.latest if earliest else None)
    assert due.bound_by == (earliest.bound_by if earliest else None)


@given(machine=machines(), on=days)
def test_what_is_dated_later_is_left_out_of_account(
    machine: tuple[DueInputs, Case], on: date
) -> None:
    inputs, case = machine
    cut = replace(
        inputs,
        completions=tuple(c for c in inputs.completions if c.on <= on),
        readings=MeterHistory(r for r in case.readings if r.on <= on),
    )
    assert next_due(inputs, on=on) == next_due(cut, on=on)


@given(machine=machines(), used=st.integers(0, 5000))
def test_a_verdict_never_changes_when_the_forecast_moves(
    machine: tuple[DueInputs, Case], used: int
) -> None:
    inputs, case = machine
    later = date(2026, 9, 1)
    moved = replace(
        inputs, readings=MeterHistory([*case.readings, read(later, 500 + used)])
    )
    for index in range(len(inputs.completions)):
        assert verdict(moved, index) == verdict(inputs, index)


@settings(deadline=None)
@given(machine=machines(), on=days)
def test_a_window_opens_before_it_closes_around_its_due_date(
    machine: tuple[DueInputs, Case], on: date
) -> None:
    due = next_due(machine[0], on=on)
    if due.due is None:
        assert state(due, on=on) == "no_forecast"
        return
    assert due.earliest is not None
    assert due.earliest <= due.due
    assert due.latest is None or due.due <= due.latest
    if machine[0].rule.safety:
        assert due.latest == due.due


def test_a_history_that_contradicts_itself_is_refused() -> None:
    with pytest.raises(ValueError, match="Two readings at the same moment"):
        MeterHistory([read(MARCH_2, 1), read(MARCH_2, 2)])
    with pytest.raises(ValueError, match="The reading NaN is not a number"):
        MeterHistory([read(MARCH_2, "NaN")])
    swapped = [replace(read(MARCH_2, 1), at=9), replace(read(APRIL_1, 1), at=8)]
    with pytest.raises(ValueError, match="dated 2026-04-01 was taken before"):
        MeterHistory(swapped)


def test_completions_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="give them in order of time"):
        routine(history(), done(APRIL_1), done(MARCH_2))
