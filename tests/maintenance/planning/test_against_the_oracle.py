"""The package against the slow, obvious rules of oracle.py."""

from datetime import date

from hypothesis import given, settings

from maintenance.planning.closed_windows import closed_windows
from maintenance.planning.due_dates import DueInputs, next_due, verdict
from tests.maintenance.planning import oracle
from tests.maintenance.planning.oracle import Case
from tests.maintenance.planning.strategies import days, machines


@settings(deadline=None)  # the oracle is slow on purpose
@given(machine=machines(), on=days)
def test_the_due_date_is_the_one_found_by_walking_day_by_day(
    machine: tuple[DueInputs, Case], on: date
) -> None:
    inputs, case = machine
    due = next_due(inputs, on=on)
    expected = oracle.answer_on(case, on)
    assert (due.due, due.earliest, due.latest) == (
        expected.due,
        expected.earliest,
        expected.latest,
    )
    assert due.bound_by == expected.bound_by
    assert due.meter_limit == expected.limit
    assert list(due.missed_grid_dates) == expected.missed


@settings(deadline=None)  # the oracle is slow on purpose
@given(machine=machines())
def test_every_verdict_is_the_one_found_by_walking_day_by_day(
    machine: tuple[DueInputs, Case],
) -> None:
    inputs, case = machine
    for index in range(len(inputs.completions)):
        assert verdict(inputs, index) == oracle.verdict(case, index)


@settings(deadline=None)  # the oracle is slow on purpose
@given(machine=machines(), on=days)
def test_the_closed_windows_are_those_of_a_record_lived_day_by_day(
    machine: tuple[DueInputs, Case], on: date
) -> None:
    inputs, case = machine
    closed = closed_windows(inputs, on=on, minutes=5)
    assert [(w.closes, w.outcome) for w in closed] == oracle.closed_windows(case, on)
    assert all(window.safety == case.rule.safety for window in closed)
