"""From stored facts to due dates: right against asking row after row."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from cells.meters import confirm_reading, enter_reading, withdraw_reading
from cells.models import Machine
from maintenance.due import subjects
from maintenance.planning.due_dates import verdict
from tests.builders import MONDAY, at, make_machine, make_reading
from tests.maintenance.planning import oracle
from tests.maintenance.random_plant import cases, make_past
from tests.maintenance.task_cast import make_routine, was_done

pytestmark = pytest.mark.django_db


def due_of(routine, on=MONDAY):
    (subject,) = subjects(on, routines=[routine.pk])
    return subject.due(on)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("on", [date(2026, 1, 26), MONDAY], ids=str)
def test_due_dates_are_what_asking_row_after_row_gives(cast, seed, on):
    make_past(cast, seed)
    asked = {
        (one.routine.code, one.placement.pk): (one, one.due(on)) for one in subjects(on)
    }
    expected = {(routine.code, placed.pk): case for routine, placed, case in cases(on)}
    assert set(asked) == set(expected)
    for key, case in expected.items():
        _, due = asked[key]
        answer = oracle.answer_on(case, on)
        assert (due.due, due.earliest, due.latest, due.bound_by) == (
            answer.due,
            answer.earliest,
            answer.latest,
            answer.bound_by,
        ), key
        assert due.meter_limit == answer.limit, key
        assert list(due.missed_grid_dates) == answer.missed, key


@pytest.mark.parametrize("seed", range(5))
def test_verdicts_are_what_asking_row_after_row_gives(cast, seed):
    make_past(cast, seed)
    asked = {
        (one.routine.code, one.placement.pk): one
        for one in subjects(MONDAY, whole_record=True)
    }
    judged = 0
    for routine, placed, case in cases(MONDAY):
        inputs = asked[routine.code, placed.pk].inputs
        for index in range(len(inputs.completions)):
            assert verdict(inputs, index) == oracle.verdict(case, index)
            judged += 1
    assert judged


@pytest.mark.parametrize("seed", range(2))
def test_asking_for_some_machines_gives_what_asking_for_all_gives(cast, seed):
    make_past(cast, seed)
    everything = {
        (one.routine.pk, one.placement.pk): one.due(MONDAY) for one in subjects(MONDAY)
    }
    some = {
        (one.routine.pk, one.placement.pk): one.due(MONDAY)
        for machine in Machine.objects.all()
        for one in subjects(MONDAY, machines=[machine.pk])
    }
    assert some == everything


def test_what_is_dated_after_the_day_is_left_out_of_account(cast):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 2)))
    was_done(wipe, cast.robot, at("23:30", date(2026, 2, 20)))
    assert due_of(wipe, date(2026, 2, 19)).due == date(2026, 3, 2)
    assert due_of(wipe, date(2026, 2, 20)).due == date(2026, 3, 20)


def test_a_completion_belongs_to_the_plants_date(cast):
    """Half past midnight in Berlin is still the day before in UTC."""
    wipe = make_routine()
    was_done(wipe, cast.robot, at("00:30", date(2026, 2, 2)))
    assert due_of(wipe).last_done == date(2026, 2, 2)


def test_only_machines_of_its_kind_that_carry_all_its_tags_have_it(cast):
    cast.robot.tags = ["hot", "old"]
    cast.robot.save()
    make_machine("W-0002", cell=cast.cells[1], position="R02", tags=["hot"])
    both = make_routine(tags=["hot", "old"])
    assert [one.machine for one in subjects(MONDAY, routines=[both.pk])] == [cast.robot]


def test_a_retired_cell_asks_for_nothing(cast):
    wipe = make_routine()
    cell = cast.cells[0]
    cell.retired_on = MONDAY
    cell.save()
    assert subjects(MONDAY, routines=[wipe.pk]) == []
    assert len(subjects(MONDAY - timedelta(days=1), routines=[wipe.pk])) == 1


@pytest.fixture
def spin(cast):
    """Every 500 hours; 40 h from one Monday to the next, 1,000 on 2 February."""
    make_reading(cast.meter, "1000", read_at=at("06:30", date(2026, 2, 2)))
    make_reading(cast.meter, "1040", read_at=at("06:30", date(2026, 2, 9)))
    return make_routine(every_days=None, every_units=Decimal(100), meter="motion hours")


def test_a_questioned_reading_moves_the_date_once_it_is_confirmed(cast, spin):
    before = due_of(spin)
    reading = enter_reading(
        meter=cast.meter,
        value=Decimal(1900),
        read_at=at("10:00"),
        by=cast.people.technician,
    )
    assert not reading.confirmed
    assert due_of(spin) == before
    confirm_reading(reading=reading, by=cast.people.planner, why="read twice")
    assert due_of(spin).due == MONDAY
    withdraw_reading(reading=reading, by=cast.people.planner, why="it was the other")
    assert due_of(spin) == before


def test_the_queries_do_not_grow_with_the_machines(cast, django_assert_max_num_queries):
    make_routine()
    with django_assert_max_num_queries(30) as one:
        subjects(MONDAY)
    for number in range(20):
        make_machine(f"W-1{number}", cell=cast.cells[1], position=f"X{number}")
    with django_assert_max_num_queries(len(one)):
        assert len(subjects(MONDAY)) == 21
