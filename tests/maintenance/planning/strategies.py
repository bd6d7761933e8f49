"""Random routines, machines and records, small enough to walk through day by day."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from hypothesis import strategies as st

from cells.metering.history import MeterHistory, MeterReading
from maintenance.planning.due_dates import Completion, DueInputs
from maintenance.planning.routine_rule import RoutineRule
from tests.cells.metering.builders import calendar, moment
from tests.maintenance.planning.oracle import Case

START = date(2026, 3, 1)
days = st.integers(0, 120).map(lambda step: START + timedelta(days=step))

rules = st.builds(
    RoutineRule,
    every_days=st.none() | st.integers(1, 60),
    every_units=st.integers(1, 100).map(Decimal),
    anchor=st.sampled_from(["completion", "calendar"]),
    safety=st.booleans(),
) | st.builds(
    RoutineRule,
    every_days=st.integers(1, 60),
    anchor=st.sampled_from(["completion", "calendar"]),
    safety=st.booleans(),
)

moments = st.tuples(days, st.integers(0, 23))


@st.composite
def meter_readings(draw: st.DrawFn) -> list[MeterReading]:
    """Mostly rising, now and then not: a meter that was put back."""
    value = 500
    readings = []
    for day, hour in sorted(draw(st.sets(moments, max_size=8))):
        value = max(0, value + 5 * draw(st.integers(-2, 15)))
        readings.append(
            MeterReading(at=moment(day, hour), on=day, value=Decimal(value))
        )
    return readings


@st.composite
def completions(
    draw: st.DrawFn, readings: list[MeterReading]
) -> tuple[list[Completion], list[MeterReading]]:
    """Completions, and the readings with those that were given with one."""
    taken = {reading.at: reading for reading in readings}
    made = []
    for day, hour in sorted(draw(st.sets(moments, max_size=4))):
        given = None
        if draw(st.booleans()):
            earlier = [r.value for at, r in sorted(taken.items()) if at <= moment(day)]
            given = earlier[-1] if earlier else Decimal(500)
            taken[moment(day, hour)] = MeterReading(
                at=moment(day, hour), on=day, value=given
            )
        made.append(Completion(at=moment(day, hour), on=day, reading=given))
    return made, [taken[at] for at in sorted(taken)]


def _producing(weekdays: frozenset[int], off: frozenset[date]) -> Callable[..., bool]:
    return lambda day: day.weekday() in weekdays and day not in off


@st.composite
def machines(draw: st.DrawFn) -> tuple[DueInputs, Case]:
    """The same record twice: for the package and for the oracle."""
    rule = draw(rules)
    made, readings = draw(completions(draw(meter_readings())))
    weekdays = draw(st.frozensets(st.integers(0, 6), max_size=6))
    april = [date(2026, 4, day) for day in range(1, 31)]
    off = draw(st.frozensets(st.sampled_from(april), max_size=8))
    clock_start = draw(days)
    later = st.integers(0, 50).map(lambda step: clock_start + timedelta(days=step))
    first_due = draw(st.none() | later)
    case = Case(rule, clock_start, first_due, made, readings, _producing(weekdays, off))
    inputs = DueInputs(
        rule=rule,
        clock_start=clock_start,
        production=calendar(weekdays, off),
        first_due=first_due,
        completions=tuple(made),
        readings=MeterHistory(readings),
    )
    return inputs, case


def with_completions(inputs: DueInputs, *made: Completion) -> DueInputs:
    return replace(inputs, completions=tuple(sorted(made, key=lambda done: done.at)))
