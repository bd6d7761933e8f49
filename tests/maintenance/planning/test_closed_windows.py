from datetime import date, timedelta
from decimal import Decimal

from maintenance.planning.closed_windows import closed_windows
from maintenance.planning.due_dates import DueInputs, next_due, verdict
from maintenance.planning.routine_rule import RoutineRule
from tests.cells.metering.builders import calendar, history
from tests.maintenance.planning.builders import done

MARCH_2 = date(2026, 3, 2)


def outcomes(inputs: DueInputs, on: date) -> list[tuple[date, str]]:
    closed = closed_windows(inputs, on=on, minutes=5)
    return [(window.closes, window.outcome) for window in closed]


def fixed(*made: date, first_due: date = MARCH_2) -> DueInputs:
    return DueInputs(
        rule=RoutineRule(every_days=28, anchor="calendar"),
        clock_start=date(2026, 1, 1),
        first_due=first_due,
        production=calendar(),
        completions=tuple(done(day) for day in made),
    )


def test_a_missed_grid_date_counts_beside_the_late_one() -> None:
    # Due 2 March, done on 4 May: 30 March and 27 April had passed.
    assert outcomes(fixed(date(2026, 5, 4)), date(2026, 5, 5)) == [
        (date(2026, 3, 5), "late"),
        (date(2026, 4, 2), "missed"),
        (date(2026, 4, 30), "missed"),
    ]


def test_an_extra_completion_ends_no_task() -> None:
    inputs = fixed(MARCH_2, date(2026, 3, 16), date(2026, 3, 30))
    assert outcomes(inputs, date(2026, 4, 3)) == [
        (date(2026, 3, 5), "on_time"),
        (date(2026, 4, 2), "on_time"),
    ]


def test_a_window_that_is_still_open_is_not_listed() -> None:
    assert outcomes(fixed(MARCH_2), date(2026, 3, 5)) == []
    assert outcomes(fixed(), date(2026, 3, 5)) == []
    assert outcomes(fixed(), date(2026, 3, 6)) == [(date(2026, 3, 5), "not_done")]


def test_nothing_counts_as_missed_before_the_planners_first_due_date() -> None:
    inputs = DueInputs(
        rule=RoutineRule(every_days=28, every_units=Decimal(100)),
        clock_start=MARCH_2,
        first_due=date(2026, 4, 20),
        production=calendar(),
        readings=history((MARCH_2, 0), (date(2026, 3, 9), 150)),
    )
    on = date(2026, 4, 1)
    assert next_due(inputs, on=on).due == date(2026, 3, 9)
    assert outcomes(inputs, on) == []


def test_a_window_that_has_closed_stays_where_it_closed() -> None:
    """100 a production date at first, so limit + 10 % on 17 March; then it stands."""
    first = ((MARCH_2, 0), (date(2026, 3, 9), 500))
    before = DueInputs(
        rule=RoutineRule(every_units=Decimal(1000)),
        clock_start=MARCH_2,
        production=calendar(),
        readings=history(*first),
    )
    closed = [(date(2026, 3, 17), "not_done")]
    assert outcomes(before, date(2026, 3, 17)) == []
    assert outcomes(before, date(2026, 3, 18)) == closed
    slower = DueInputs(
        rule=before.rule,
        clock_start=MARCH_2,
        production=calendar(),
        readings=history(*first, (date(2026, 3, 19), 520)),
    )
    later = date(2026, 3, 20)
    moved = next_due(slower, on=later)
    assert moved.latest is not None
    assert moved.latest > later
    assert outcomes(slower, later) == closed


def test_a_task_done_the_day_after_the_forecast_end_closes_as_it_stood_when_done() -> (
    None
):
    # Closing on 17 March by the forecast; 1,050 on the 18th moves it to the 19th.
    day = date(2026, 3, 18)
    inputs = DueInputs(
        rule=RoutineRule(every_units=Decimal(1000)),
        clock_start=MARCH_2,
        production=calendar(),
        completions=(done(day, 1050),),
        readings=history((MARCH_2, 0), (date(2026, 3, 9), 500), (day, 1050)),
    )
    assert outcomes(inputs, date(2026, 3, 20)) == [(date(2026, 3, 19), "on_time")]


def test_done_after_its_meter_window_closed_an_extra_completion_is_late() -> None:
    """Closed by meter on 17 March; the meter stood still, so then June bound again."""
    inputs = DueInputs(
        rule=RoutineRule(every_days=100, every_units=Decimal(1000), anchor="calendar"),
        clock_start=MARCH_2,
        production=calendar(),
        completions=(done(date(2026, 4, 7)),),
        readings=history(
            (MARCH_2, 0), (date(2026, 3, 9), 500), (date(2026, 4, 6), 501)
        ),
    )
    assert verdict(inputs, 0) == "extra"
    assert outcomes(inputs, date(2026, 4, 8)) == [(date(2026, 3, 17), "late")]


def test_by_meter_a_task_done_within_ten_percent_is_on_time_where_it_closed() -> None:
    inputs = DueInputs(
        rule=RoutineRule(every_units=Decimal(1000)),
        clock_start=MARCH_2,
        production=calendar(),
        completions=(done(date(2026, 3, 30), 1000),),
        readings=history(
            (MARCH_2, 0), (date(2026, 3, 9), 500), (date(2026, 3, 30), 1000)
        ),
    )
    closed = closed_windows(inputs, on=date(2026, 3, 31), minutes=45)
    assert [(w.closes, w.outcome, w.minutes) for w in closed] == [
        (date(2026, 3, 17), "on_time", 45)
    ]


def test_each_interval_of_a_faithful_record_is_one_window_on_time() -> None:
    made = [MARCH_2 + timedelta(days=28 * step) for step in range(5)]
    closed = outcomes(fixed(*made), date(2026, 12, 31) - timedelta(days=180))
    assert closed == [(day + timedelta(days=3), "on_time") for day in made]
