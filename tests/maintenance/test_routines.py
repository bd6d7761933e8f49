"""Routines are added, changed and retired; steps are kept; first due dates spread."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from cells.models import Change
from maintenance.models import FirstDue, Routine, Step, Task
from maintenance.open_tasks import update_tasks
from maintenance.routines import (
    StepFacts,
    add_routine,
    change_routine,
    retire_routine,
    set_first_due,
    set_steps,
    spread_first_dues,
)
from maintenance.tasks import complete_task
from tests.builders import MONDAY, at, make_machine
from tests.maintenance.task_cast import (
    keep_in_step,
    make_routine,
    make_step,
    open_task,
    report,
    was_done,
)

FACTS = {
    "code": "aim",
    "name": "Aim",
    "kinds": ["weld"],
    "tags": [],
    "every_days": 28,
    "anchor": "completion",
    "minutes": 5,
    "skills": ["C"],
    "lockout": False,
}


def test_an_added_routine_opens_its_tasks_at_once(cast):
    routine = add_routine(by=cast.people.planner, **FACTS)
    assert open_task(routine, cast.robot).due == date(2025, 1, 6) + timedelta(days=28)


def test_a_code_is_taken_once(cast):
    add_routine(by=cast.people.planner, **FACTS)
    with pytest.raises(ValidationError, match="taken"):
        add_routine(by=cast.people.planner, **{**FACTS, "code": "AIM"})


@pytest.mark.parametrize(
    ("who", "safety"),
    [("planner", True), ("safety_officer", False), ("technician", False)],
)
def test_planner_and_safety_officer_each_have_their_own(cast, who, safety):
    user = getattr(cast.people, who)
    with pytest.raises(PermissionDenied):
        add_routine(by=user, **FACTS, safety=safety)
    assert not Routine.objects.exists()


def test_a_planner_cannot_make_a_routine_a_safety_test_or_end_one(cast):
    wipe, test = make_routine(), make_routine("test", safety=True)
    for routine, safety in ((wipe, True), (test, False)):
        with pytest.raises(PermissionDenied):
            change_routine(
                routine=routine,
                changes={"safety": safety},
                by=cast.people.planner,
                why="x",
            )


def test_a_change_moves_open_tasks_and_keeps_old_verdicts(cast):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00", date(2026, 1, 5)))
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 2)))
    keep_in_step()
    change_routine(
        routine=wipe, changes={"every_days": 14}, by=cast.people.planner, why="worn"
    )
    keep_in_step()
    assert open_task(wipe, cast.robot).due == date(2026, 2, 16)
    assert Task.objects.done().latest("done_at").verdict == "on_time"
    change = Change.objects.get(kind="routine", field="every_days")
    assert (change.old, change.new, change.why) == ("28", "14", "worn")


def test_a_new_name_is_no_new_rule(cast):
    wipe = make_routine()
    change_routine(
        routine=wipe, changes={"name": "Wipe"}, by=cast.people.planner, why="typo"
    )
    wipe.refresh_from_db()
    assert (wipe.name, wipe.rule_since) == ("Wipe", None)


def test_a_routine_that_was_done_keeps_what_it_follows(cast):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00"))
    with pytest.raises(ValidationError, match="retire it and add one"):
        change_routine(
            routine=wipe, changes={"follows": "place"}, by=cast.people.planner, why="x"
        )


def test_a_retired_routine_asks_nobody_and_keeps_its_record(cast):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00"))
    keep_in_step()
    retire_routine(routine=wipe, by=cast.people.planner, why="no use")
    assert not Task.objects.open().exists()
    assert Task.objects.done().count() == 1
    with pytest.raises(ValidationError, match="is retired since"):
        retire_routine(routine=wipe, by=cast.people.planner, why="again")


# Steps


def steps_of(routine: Routine) -> list[tuple[int, str]]:
    current = Step.objects.current().filter(routine=routine).order_by("order")
    return list(current.values_list("order", "text"))


def save(cast, routine, *steps):
    set_steps(routine=routine, steps=steps, by=cast.people.planner, why="new sheet")


def test_steps_are_set_in_their_order_and_change_places(cast):
    wipe = make_routine()
    save(cast, wipe, StepFacts(id=None, text="look"), StepFacts(id=None, text="wipe"))
    look, clean = Step.objects.order_by("order")
    save(
        cast,
        wipe,
        StepFacts(id=clean.pk, text="wipe"),
        StepFacts(id=look.pk, text="look"),
    )
    assert steps_of(wipe) == [(1, "wipe"), (2, "look")]
    assert Step.objects.count() == 2


def test_a_step_without_results_is_changed_or_deleted(cast):
    wipe = make_routine()
    save(cast, wipe, StepFacts(id=None, text="look"), StepFacts(id=None, text="wipe"))
    look = Step.objects.get(text="look")
    save(cast, wipe, StepFacts(id=look.pk, text="look well"))
    assert steps_of(wipe) == [(1, "look well")]
    assert Step.objects.get().pk == look.pk
    assert Change.objects.filter(kind="step", new="removed").exists()


@pytest.fixture
def measured(cast):
    """A step with a result: 1.5 kN, inside its limits."""
    wipe = make_routine()
    step = make_step(wipe, unit="kN", act_high=Decimal(2))
    keep_in_step()
    task = open_task(wipe, cast.robot)
    complete_task(**report(cast, task, results={step.pk: [Decimal("1.5")]}))
    return step


def test_a_changed_step_keeps_its_results_and_their_limits(cast, measured):
    given = StepFacts(id=measured.pk, text="Step 1", unit="kN", act_high=Decimal(1))
    save(cast, measured.routine, given)
    measured.refresh_from_db()
    assert (measured.retired_on, measured.act_high) == (MONDAY, Decimal(2))
    assert measured.results.count() == 1
    new = Step.objects.current().get()
    assert (new.order, new.act_high) == (1, Decimal(1))


def test_a_step_with_results_only_changes_its_place(cast, measured):
    save(
        cast,
        measured.routine,
        StepFacts(id=None, text="first"),
        StepFacts(id=measured.pk, text="Step 1", unit="kN", act_high=Decimal(2)),
    )
    assert steps_of(measured.routine) == [(1, "first"), (2, "Step 1")]
    measured.refresh_from_db()
    assert measured.retired_on is None


def test_a_step_that_is_left_out_keeps_its_results(cast, measured):
    save(cast, measured.routine)
    measured.refresh_from_db()
    assert measured.retired_on == MONDAY


def test_limits_from_high_to_low_are_refused(cast):
    wipe = make_routine()
    with pytest.raises(ValidationError, match=r"act high \(1\) is below watch high"):
        save(
            cast,
            wipe,
            StepFacts(id=None, text="x", watch_high=Decimal(2), act_high=Decimal(1)),
        )


def test_a_step_that_somebody_took_out_meanwhile_is_said(cast, measured):
    with pytest.raises(ValidationError, match="changed by somebody else"):
        save(cast, measured.routine, StepFacts(id=measured.pk + 99, text="x"))


# First due dates


@pytest.fixture
def six(cast):
    robots = [
        make_machine(f"W-10{n}", cell=cast.cells[1], position=f"R1{n}")
        for n in range(5)
    ]
    return [cast.robot, *robots]


def spread(cast, routine, machines, **facts):
    given = {
        "first": date(2026, 3, 9),
        "last": date(2026, 3, 15),
        "why": "new",
        **facts,
    }
    return spread_first_dues(
        routine=routine, machines=machines, by=cast.people.planner, **given
    )


def test_first_due_dates_are_spread_evenly_over_production_dates(cast, six):
    """Six machines over Monday to Friday, the only production dates of that week."""
    wipe = make_routine()
    update_tasks()
    spread(cast, wipe, six)
    dues = list(Task.objects.open().order_by("due").values_list("due__day", flat=True))
    assert dues == [9, 9, 10, 11, 12, 13]


def test_fewer_machines_than_dates_leave_gaps(cast, six):
    wipe = make_routine()
    first, second = spread(cast, wipe, six[:2])
    assert (first.due.day, second.due.day) == (9, 11)


def test_nothing_is_missed_before_a_first_due_date_and_it_is_after(cast, monday_noon):
    wipe = make_routine()
    keep_in_step()
    assert open_task(wipe, cast.robot).window_closed_on is not None
    set_first_due(
        routine=wipe,
        machine=cast.robot,
        due=date(2026, 3, 9),
        by=cast.people.planner,
        why="spread",
    )
    task = open_task(wipe, cast.robot)
    assert (task.due, task.window_closed_on) == (date(2026, 3, 9), None)
    monday_noon.move_to(at("12:00", date(2026, 3, 20)))
    update_tasks()
    assert open_task(wipe, cast.robot).window_closed_on == date(2026, 3, 12)


def test_a_first_due_date_is_set_anew_with_its_trail(cast, six):
    wipe = make_routine()
    spread(cast, wipe, six)
    spread(cast, wipe, six[:1], first=date(2026, 3, 10), why="shutdown")
    first = FirstDue.objects.get(machine=cast.robot)
    assert (first.due, first.why) == (date(2026, 3, 10), "shutdown")
    change = Change.objects.get(kind="firstdue", field="due")
    assert (change.old, change.new) == ("2026-03-09", "2026-03-10")


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        pytest.param({"first": date(2026, 3, 1)}, "lies in the past", id="past"),
        pytest.param({"last": date(2026, 3, 8)}, "swap the two", id="backwards"),
        pytest.param({"last": date(2027, 4, 1)}, "longer than a year", id="long"),
        pytest.param(
            {"first": date(2026, 3, 14)}, "has no shift from", id="weekend-only"
        ),
        pytest.param({"why": " "}, "Say why", id="no-reason"),
        pytest.param({"machines": []}, "choose one or more", id="no-machine"),
    ],
)
def test_a_spread_that_cannot_be_is_refused(cast, six, facts, words):
    wipe = make_routine()
    with pytest.raises(ValidationError, match=words):
        spread(cast, wipe, facts.pop("machines", six), **facts)
    assert not FirstDue.objects.exists()


def test_machines_that_it_is_not_for_or_was_done_on_are_refused(cast):
    wipe = make_routine()
    with pytest.raises(ValidationError, match="is not for H-0001"):
        spread(cast, wipe, [cast.handler])
    was_done(wipe, cast.robot, at("08:00"))
    with pytest.raises(ValidationError, match="was done on W-0001 already"):
        spread(cast, wipe, [cast.robot])


def test_only_a_planner_spreads_and_only_the_safety_officer_safety_tests(cast):
    test = make_routine("test", safety=True)
    facts = {"machine": cast.robot, "due": date(2026, 3, 9), "why": "spread"}
    with pytest.raises(PermissionDenied):
        set_first_due(routine=make_routine(), by=cast.people.technician, **facts)
    with pytest.raises(PermissionDenied):
        set_first_due(routine=test, by=cast.people.planner, **facts)
    set_first_due(routine=test, by=cast.people.safety_officer, **facts)
