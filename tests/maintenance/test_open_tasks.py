"""Tasks follow the facts: opened, moved, closed and judged, however often it runs."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from cells.meters import confirm_reading, enter_reading
from cells.models import Machine
from cells.placements import place_machine, remove_machine, swap_machine
from maintenance.compliance import figures
from maintenance.jobs import update_tasks as nightly
from maintenance.models import FirstDue, Task
from maintenance.open_tasks import judge, update_tasks
from maintenance.planning.compliance import ClosedWindow, pm_compliance
from tests.builders import MONDAY, at, make_machine, make_reading
from tests.maintenance.planning import oracle
from tests.maintenance.random_plant import cases, make_past
from tests.maintenance.task_cast import (
    keep_in_step,
    make_routine,
    open_task,
    was_done,
)

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


def stored() -> list[tuple[object, ...]]:
    columns = [field.attname for field in Task._meta.concrete_fields]
    return list(Task.objects.order_by("pk").values_list(*columns))


@pytest.mark.parametrize("seed", range(5))
def test_open_tasks_are_what_asking_row_after_row_gives(cast, seed):
    make_past(cast, seed)
    keep_in_step()
    asked = {(task.routine_id, task.machine_id): task for task in Task.objects.open()}
    count = 0
    for routine, placed, case in cases(MONDAY):
        answer = oracle.answer_on(case, MONDAY)
        task = asked[routine.pk, placed.machine_id]
        assert (task.due, task.earliest, task.latest, task.bound_by or None) == (
            answer.due,
            answer.earliest,
            answer.latest,
            answer.bound_by,
        )
        assert task.meter_limit == answer.limit
        assert task.missed == [day.isoformat() for day in answer.missed]
        count += 1
    assert len(asked) == count


@pytest.mark.parametrize("seed", range(5))
def test_compliance_is_what_living_every_day_gives(cast, seed):
    """Of what stands on Monday: its record, judged once, against a walk day by day."""
    make_past(cast, seed)
    keep_in_step()
    windows = [
        ClosedWindow(
            closes=closes,
            outcome=outcome,
            safety=routine.safety,
            minutes=routine.labour_minutes,
        )
        for routine, _, case in cases(MONDAY)
        for closes, outcome in oracle.closed_windows(case, MONDAY)
    ]
    period = {"first": date(2025, 12, 1), "last": MONDAY - DAY}
    assert windows
    assert figures(**period) == pm_compliance(windows, **period)


@pytest.mark.parametrize("seed", range(3))
def test_doing_it_twice_changes_nothing(cast, seed):
    make_past(cast, seed)
    nightly()
    once = stored()
    assert (judge(), update_tasks()) == (0, 0)
    nightly()
    assert stored() == once


@pytest.mark.parametrize("seed", range(2))
def test_machine_after_machine_gives_what_all_at_once_gives(cast, seed):
    make_past(cast, seed)
    for machine in Machine.objects.all():
        judge(machines=[machine.pk])
        update_tasks(machines=[machine.pk])
    assert (judge(), update_tasks()) == (0, 0)


def test_a_new_routine_opens_one_task_per_machine(cast):
    make_routine(kinds=["weld", "handling"])
    assert update_tasks() == 2
    machines = Task.objects.open().values_list("machine__serial", flat=True)
    assert sorted(machines) == ["H-0001", "W-0001"]


def test_a_window_that_has_closed_stays_where_it_closed(cast, by_patterns, monday_noon):
    spin = make_routine(every_days=None, every_units=Decimal(100), meter="motion hours")
    make_reading(cast.meter, "0", read_at=at("06:30", date(2026, 1, 5)))
    make_reading(cast.meter, "85", read_at=at("06:30", date(2026, 2, 2)))
    keep_in_step()
    task = open_task(spin, cast.robot)
    assert task.latest is not None
    closes = task.latest
    monday_noon.move_to(at("12:00", closes + DAY))
    update_tasks()
    assert open_task(spin, cast.robot).window_closed_on == closes
    # A slower reading moves the forecast away; the window has closed all the same.
    make_reading(cast.meter, "86", read_at=at("06:30", closes + DAY))
    update_tasks()
    moved = open_task(spin, cast.robot)
    assert moved.latest is None or moved.latest > closes
    assert moved.window_closed_on == closes


def test_a_night_that_the_job_slept_is_made_up_for(cast, monday_noon):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 9)))
    update_tasks()
    monday_noon.move_to(at("12:00", date(2026, 4, 20)))
    update_tasks()
    # Due 9 March, three days of tolerance.
    assert open_task(wipe, cast.robot).window_closed_on == date(2026, 3, 12)


def test_missed_grid_dates_are_counted_and_no_second_task_opens(cast, monday_noon):
    test = make_routine("test", anchor="calendar", safety=True)
    was_done(test, cast.robot, at("08:00", date(2026, 2, 2)))
    FirstDue.objects.create(
        routine=test, machine=cast.robot, due=date(2026, 2, 2), why="grid"
    )
    keep_in_step()
    assert open_task(test, cast.robot).due == MONDAY
    monday_noon.move_to(at("12:00", date(2026, 5, 1)))
    nightly()
    task = open_task(test, cast.robot)
    assert (task.due, task.missed) == (MONDAY, ["2026-03-30", "2026-04-27"])


# Swaps and moves


@pytest.fixture
def spare(cast):
    return make_machine("W-0009")


def test_a_swap_keeps_the_clock_of_the_machine_with_the_machine(cast, spare):
    grease = make_routine("grease", every_days=90)
    was_done(grease, cast.robot, at("08:00", date(2026, 2, 2)))
    keep_in_step()
    swap_machine(
        out=cast.robot, into=spare, swapped_on=MONDAY, by=cast.people.planner, why="x"
    )
    # The robot that came in was never done: its clock starts when it was placed.
    assert open_task(grease, spare).due == MONDAY + timedelta(days=90)
    assert not Task.objects.open().filter(machine=cast.robot).exists()
    place_machine(
        machine=cast.robot,
        cell=cast.cells[2],
        position="R05",
        placed_on=MONDAY,
        by=cast.people.planner,
    )
    back = open_task(grease, cast.robot)
    assert back.due == date(2026, 2, 2) + timedelta(days=90)
    assert (back.cell, back.position) == (cast.cells[2], "R05")


def test_a_swap_keeps_the_clock_of_the_place_at_the_place(cast, spare):
    bolts = make_routine("bolts", every_days=90, follows="place")
    was_done(bolts, cast.robot, at("08:00", date(2026, 2, 2)))
    keep_in_step()
    before = open_task(bolts, cast.robot)
    swap_machine(
        out=cast.robot, into=spare, swapped_on=MONDAY, by=cast.people.planner, why="x"
    )
    after = open_task(bolts, spare)
    assert (after.pk, after.due) == (before.pk, before.due)


def test_a_machine_that_is_taken_out_has_its_tasks_closed_with_a_cause(cast):
    wipe = make_routine()
    keep_in_step()
    task = open_task(wipe, cast.robot)
    remove_machine(
        machine=cast.robot, removed_on=MONDAY, by=cast.people.planner, why="scrapped"
    )
    task.refresh_from_db()
    assert task.closed_why == "not needed: nothing stands there any more that it is for"


def test_a_retired_routine_has_its_tasks_closed_with_a_cause(cast):
    wipe = make_routine()
    keep_in_step()
    wipe.retired_on = MONDAY
    wipe.save()
    update_tasks(routines=[wipe.pk])
    assert Task.objects.get().closed_why == "not needed: the routine is retired"


def test_two_machines_in_one_place_share_the_task_of_the_place(cast):
    """A registry fault, listed on the health page; it must not stop the job."""
    make_routine("bolts", follows="place")
    keep_in_step()
    second = make_machine("W-0002", cell=cast.cells[0], position="R01")
    keep_in_step()
    update_tasks(machines=[second.pk])
    update_tasks(machines=[cast.robot.pk])
    assert Task.objects.open().count() == 1


# Readings


def test_a_confirmed_reading_moves_the_task_in_the_same_moment(cast, by_patterns):
    spin = make_routine(every_days=None, every_units=Decimal(100), meter="motion hours")
    make_reading(cast.meter, "1000", read_at=at("06:30", date(2026, 2, 2)))
    make_reading(cast.meter, "1040", read_at=at("06:30", date(2026, 2, 9)))
    keep_in_step()
    before = open_task(spin, cast.robot).due
    reading = enter_reading(
        meter=cast.meter,
        value=Decimal(1900),
        read_at=at("10:00"),
        by=cast.people.technician,
    )
    assert open_task(spin, cast.robot).due == before
    confirm_reading(reading=reading, by=cast.people.planner, why="read twice")
    assert open_task(spin, cast.robot).due == MONDAY


def test_a_meter_without_a_forecast_says_so(cast):
    spin = make_routine(every_days=None, every_units=Decimal(100), meter="motion hours")
    keep_in_step()
    task = open_task(spin, cast.robot)
    assert (task.due, task.bound_by, task.meter_not_read) == (None, "", True)


# Verdicts


def test_a_new_interval_does_not_judge_what_was_done_under_the_old(cast):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00", date(2026, 1, 5)))
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 2)))
    keep_in_step()
    last = Task.objects.done().latest("done_at")
    assert last.verdict == "on_time"
    wipe.every_days, wipe.rule_since = 7, at("09:00")
    wipe.save()
    keep_in_step()
    last.refresh_from_db()
    assert last.verdict == "on_time"
    assert open_task(wipe, cast.robot).due == date(2026, 2, 9)
