from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.planning.due_dates import DueInputs, next_due, state, verdict
from maintenance.planning.routine_rule import Anchor, RoutineRule
from tests.cells.metering.builders import calendar
from tests.maintenance.planning.builders import done
from tests.maintenance.planning.strategies import START, days, with_completions

FOUR_WEEKS = timedelta(days=28)
MARCH_2 = date(2026, 3, 2)

intervals = st.integers(1, 60)


def routine(
    *made: date,
    every_days: int = 28,
    anchor: Anchor = "calendar",
    safety: bool = False,
    clock_start: date = MARCH_2 - FOUR_WEEKS,
    first_due: date | None = None,
) -> DueInputs:
    return DueInputs(
        rule=RoutineRule(every_days=every_days, anchor=anchor, safety=safety),
        clock_start=clock_start,
        production=calendar(),
        first_due=first_due,
        completions=tuple(done(day) for day in made),
    )


@pytest.mark.parametrize(
    ("anchor", "expected"),
    [
        # Common practice: 28 days, due 2 March 2026, done 5 March.
        ("calendar", date(2026, 3, 30)),
        ("completion", date(2026, 4, 2)),
    ],
)
def test_a_late_completion_moves_a_floating_date_and_no_fixed_one(
    anchor: Anchor, expected: date
) -> None:
    inputs = routine(date(2026, 3, 5), anchor=anchor)
    assert next_due(inputs, on=date(2026, 3, 4)).due == MARCH_2
    assert next_due(inputs, on=date(2026, 3, 5)).due == expected


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        pytest.param(date(2026, 2, 26), MARCH_2, id="4 days early serves nothing"),
        pytest.param(date(2026, 2, 27), MARCH_2 + FOUR_WEEKS, id="3 days early serves"),
        pytest.param(date(2026, 3, 26), MARCH_2 + FOUR_WEEKS, id="an extra one"),
        pytest.param(date(2026, 3, 27), MARCH_2 + 2 * FOUR_WEEKS, id="late for two"),
    ],
)
def test_a_fixed_date_is_served_from_its_tolerance_on(
    day: date, expected: date
) -> None:
    assert next_due(routine(day), on=day).due == expected


def test_never_done_the_clock_starts_when_machine_and_routine_are_there() -> None:
    assert next_due(routine(), on=MARCH_2).due == MARCH_2


@pytest.mark.parametrize("anchor", ["calendar", "completion"])
def test_a_planners_first_due_date_is_the_first(anchor: Anchor) -> None:
    inputs = routine(anchor=anchor, first_due=date(2026, 3, 18))
    assert next_due(inputs, on=MARCH_2).due == date(2026, 3, 18)


def test_the_grid_runs_from_a_planners_first_due_date() -> None:
    inputs = routine(date(2026, 3, 20), first_due=date(2026, 3, 18))
    assert next_due(inputs, on=date(2026, 3, 20)).due == date(2026, 4, 15)


def test_a_first_due_date_far_off_is_served_by_nothing_done_long_before() -> None:
    inputs = routine(date(2026, 2, 10), first_due=date(2026, 6, 1))
    assert next_due(inputs, on=MARCH_2).due == date(2026, 6, 1)


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        # A trade article's reading of the 10 % window, "within 3 days" of a 30-day
        # task (READ there; whole days are our rounding): due 31 March 2026.
        (date(2026, 3, 27), "early"),
        (date(2026, 3, 28), "on_time"),
        (date(2026, 4, 1), "on_time"),
        (date(2026, 4, 2), "on_time"),
        (date(2026, 4, 3), "on_time"),
        (date(2026, 4, 4), "late"),
    ],
)
def test_on_time_is_inside_the_window(day: date, expected: str) -> None:
    inputs = routine(
        day, every_days=30, anchor="completion", clock_start=date(2026, 3, 1)
    )
    assert verdict(inputs, 0) == expected


def test_a_safety_test_may_be_early_and_never_late() -> None:
    due = next_due(routine(safety=True), on=MARCH_2)
    assert (due.earliest, due.latest) == (date(2026, 2, 27), MARCH_2)
    verdicts = [
        verdict(routine(MARCH_2 + timedelta(days=late), safety=True), 0)
        for late in (-3, 0, 1)
    ]
    assert verdicts == ["on_time", "on_time", "late"]


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (date(2026, 2, 26), "ahead"),
        (date(2026, 2, 27), "open"),
        (date(2026, 3, 5), "open"),
        (date(2026, 3, 6), "late"),
    ],
)
def test_the_state_follows_the_window(day: date, expected: str) -> None:
    assert state(next_due(routine(), on=day), on=day) == expected


def test_grid_dates_that_pass_while_a_task_stays_open_are_missed() -> None:
    inputs = routine()
    on_the_day = next_due(inputs, on=date(2026, 4, 27))
    assert on_the_day.missed_grid_dates == (date(2026, 3, 30),)
    day_after = next_due(inputs, on=date(2026, 4, 28))
    assert day_after.due == MARCH_2
    assert day_after.missed_grid_dates == (date(2026, 3, 30), date(2026, 4, 27))


def test_a_floating_date_misses_no_grid() -> None:
    due = next_due(routine(anchor="completion"), on=date(2026, 12, 1))
    assert due.missed_grid_dates == ()


def test_days_do_not_drift_as_months_do() -> None:
    """From 31 January, month by month ends on 28 March, in one step on 30 April.

    Whole days have no such trap (own arithmetic): one by one or at once, three times
    28 days from 31 January 2026 is 25 April.
    """
    inputs = routine(
        date(2026, 2, 28), date(2026, 3, 28), clock_start=date(2026, 1, 31)
    )
    dues = [
        next_due(inputs, on=day).due
        for day in (date(2026, 1, 31), date(2026, 2, 28), date(2026, 3, 28))
    ]
    assert dues == [date(2026, 2, 28), date(2026, 3, 28), date(2026, 4, 25)]


@given(every_days=intervals, made=st.lists(days, max_size=4), on=days)
def test_every_fixed_due_date_lies_on_the_grid(
    every_days: int, made: list[date], on: date
) -> None:
    inputs = routine(*sorted(made), every_days=every_days, clock_start=START)
    due = next_due(inputs, on=on).due
    assert due is not None
    assert due > START
    assert (due - START).days % every_days == 0


@given(every_days=intervals, last=days, later=st.integers(0, 200))
def test_an_extra_completion_before_the_next_window_moves_no_grid_date(
    every_days: int, last: date, later: int
) -> None:
    alone = routine(last, every_days=every_days, clock_start=START)
    due = next_due(alone, on=last)
    assert due.due is not None
    assert due.earliest is not None
    room = (due.earliest - last).days
    assert room > 0
    extra = last + timedelta(days=later % room)
    twice = with_completions(alone, done(last), done(extra, hour=13))
    assert next_due(twice, on=extra).due == due.due
    assert verdict(twice, 1) == "extra"


@given(
    every_days=intervals,
    made=st.lists(days, max_size=4),
    on=days,
    anchor=st.sampled_from(["calendar", "completion"]),
    spread=st.none() | st.integers(0, 90),
)
def test_nothing_is_due_before_the_clocks_start(
    every_days: int, made: list[date], on: date, anchor: Anchor, spread: int | None
) -> None:
    first_due = None if spread is None else START + timedelta(days=spread)
    inputs = routine(
        *sorted(made),
        every_days=every_days,
        anchor=anchor,
        clock_start=START,
        first_due=first_due,
    )
    due = next_due(inputs, on=on).due
    assert due is not None
    assert due >= START
    if anchor == "calendar" and first_due is not None:
        assert due >= first_due


@given(every_days=intervals, made=st.lists(days, max_size=3), on=days)
def test_at_most_one_window_is_due_and_the_rest_is_missed(
    every_days: int, made: list[date], on: date
) -> None:
    inputs = routine(*sorted(made), every_days=every_days, clock_start=START)
    due = next_due(inputs, on=on)
    assert due.due is not None
    passed = list(due.missed_grid_dates)
    assert all(due.due < day < on for day in passed)
    assert len(passed) == max(0, (on - due.due - timedelta(days=1)).days // every_days)
