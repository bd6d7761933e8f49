"""Work is recorded done, corrected, withdrawn; a failed safety test is answered for."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from cells.models import Change, Reading
from maintenance.models import SafetyAlert, StepResult, Task
from maintenance.tasks import (
    RowsRefusedError,
    Work,
    accept_alert,
    complete_many,
    complete_task,
    correct_completion,
    withdraw_completion,
)
from tests.builders import MONDAY, Role, at, make_machine, make_reading, make_user
from tests.maintenance.task_cast import (
    keep_in_step,
    make_routine,
    make_step,
    open_task,
    report,
    was_done,
)


@pytest.fixture
def wipe(cast):
    """Every 28 days; never done since 6 January 2025, so late."""
    routine = make_routine()
    keep_in_step()
    return routine


def refusal(error: pytest.ExceptionInfo[ValidationError], field: str) -> str:
    return " ".join(error.value.message_dict[field])


def test_a_completion_is_recorded_judged_and_followed_by_the_next(cast, wipe):
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 2)))
    keep_in_step()
    task = open_task(wipe, cast.robot)
    recorded = complete_task(**report(cast, task, note="drip at axis 2"))
    task = recorded.task
    assert (task.done_at, task.done_by) == (at("11:00"), cast.people.technician)
    # Due 2 March (2 February + 28), the window 27 February to 5 March: on time.
    assert (task.due, task.verdict) == (MONDAY, "on_time")
    assert open_task(wipe, cast.robot).due == MONDAY + timedelta(days=28)
    assert recorded.question == ""


def test_the_trail_says_who_reported_what(cast, wipe):
    task = complete_task(**report(cast, open_task(wipe, cast.robot))).task
    trail = Change.objects.filter(kind="task", record_id=task.pk)
    assert {change.by for change in trail} == {cast.people.technician}
    assert dict(trail.values_list("field", "new"))["found"] == "normal"


def test_a_task_is_recorded_done_once(cast, wipe):
    first, second = open_task(wipe, cast.robot), open_task(wipe, cast.robot)
    complete_task(**report(cast, first))
    with pytest.raises(ValidationError, match="is recorded done already"):
        complete_task(**report(cast, second, done_at=at("11:30")))


def test_work_in_the_future_is_refused(cast, wipe):
    task = open_task(wipe, cast.robot)
    with pytest.raises(ValidationError) as error:
        complete_task(**report(cast, task, done_at=at("12:01")))
    assert "12:01, which lies in the future" in refusal(error, "done_at")
    assert open_task(wipe, cast.robot) == task


def test_work_before_the_last_completion_is_refused(cast, wipe):
    was_done(wipe, cast.robot, at("10:00"))
    keep_in_step()
    with pytest.raises(ValidationError) as error:
        complete_task(**report(cast, open_task(wipe, cast.robot), done_at=at("09:00")))
    assert "was recorded done at Mon 2 March 10:00" in refusal(error, "done_at")


def test_work_entered_two_days_late_needs_a_why(cast, wipe):
    task = open_task(wipe, cast.robot)
    done_at = at("11:59", date(2026, 2, 28))
    with pytest.raises(ValidationError) as error:
        complete_task(**report(cast, task, done_at=done_at))
    assert "say why it is entered only now" in refusal(error, "why")
    done = complete_task(**report(cast, task, done_at=done_at, why="system was off"))
    assert open_task(wipe, cast.robot).due == date(2026, 3, 28)
    assert done.task.entered_at == at("12:00")


def test_work_of_exactly_two_days_ago_needs_no_why(cast, wipe):
    done_at = at("12:00", date(2026, 2, 28))
    complete_task(**report(cast, open_task(wipe, cast.robot), done_at=done_at))


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        pytest.param({"minutes": -1}, "minutes", "-1 minutes cannot be", id="negative"),
        pytest.param({"minutes": 99_999}, "minutes", "cannot be", id="absurd"),
        pytest.param({"found": "fine"}, "found", "Choose", id="unknown-condition"),
        pytest.param({"note": "x" * 501}, "note", "shorten it", id="long-note"),
        pytest.param(
            {"reading": Decimal(5)}, "reading", "goes by no meter", id="no-meter"
        ),
    ],
)
def test_impossible_facts_are_refused_by_field(cast, wipe, facts, field, words):
    task = open_task(wipe, cast.robot)
    with pytest.raises(ValidationError) as error:
        complete_task(**report(cast, task, **facts))
    assert words in refusal(error, field)
    assert Task.objects.done().count() == 0


# Lockout


def test_work_under_lockout_is_not_recorded_without_a_sheet(cast):
    cell = cast.cells[0]
    cell.lockout_sheet, cell.lockout_revision = "LS-10", "C"
    cell.save()
    grease = make_routine("grease", lockout=True)
    keep_in_step()
    task = open_task(grease, cast.robot)
    with pytest.raises(ValidationError) as error:
        complete_task(**report(cast, task))
    assert "LS-10 revision C is on record" in refusal(error, "lockout_sheet")
    done = complete_task(**report(cast, task, lockout_sheet="LS-10 revision C"))
    assert done.task.lockout_sheet == "LS-10 revision C"


def test_a_cell_without_a_sheet_sends_people_to_safety(cast):
    grease = make_routine("grease", lockout=True)
    keep_in_step()
    task = open_task(grease, cast.robot)
    with pytest.raises(ValidationError) as error:
        complete_task(**report(cast, task, lockout_sheet="  "))
    assert "none on record: ask safety" in refusal(error, "lockout_sheet")
    complete_task(**report(cast, task, lockout_sheet="as given by safety: T-7"))


# Steps


def test_values_of_steps_are_recorded_beyond_their_limits_too(cast, wipe):
    force = make_step(wipe, unit="kN", act_low=Decimal("1.84"), repeat=2)
    task = open_task(wipe, cast.robot)
    complete_task(
        **report(cast, task, results={force.pk: [Decimal("1.2"), Decimal("1.9")]})
    )
    rows = StepResult.objects.filter(task=task).values_list("number", "value")
    assert list(rows) == [(1, Decimal("1.2")), (2, Decimal("1.9"))]


def test_a_value_that_was_not_taken_leaves_its_number_free(cast, wipe):
    force = make_step(wipe, unit="kN", repeat=2)
    task = open_task(wipe, cast.robot)
    complete_task(**report(cast, task, results={force.pk: [None, Decimal(2)]}))
    assert StepResult.objects.get().number == 2


@pytest.mark.parametrize(
    ("values", "words"),
    [
        pytest.param([1, 2], "takes 1 value, not 2", id="too-many"),
        pytest.param(["NaN"], "cannot be recorded", id="no-number"),
        pytest.param(["1.23456"], "at most four decimals", id="too-fine"),
        pytest.param([10**10], "Give a number up to", id="absurd"),
    ],
)
def test_values_that_a_step_cannot_take_are_refused(cast, wipe, values, words):
    force = make_step(wipe, unit="kN")
    task = open_task(wipe, cast.robot)
    with pytest.raises(ValidationError) as error:
        complete_task(
            **report(cast, task, results={force.pk: [Decimal(v) for v in values]})
        )
    assert words in refusal(error, "results")


def test_a_step_without_a_unit_or_limit_takes_no_value(cast, wipe):
    look = make_step(wipe)
    with pytest.raises(ValidationError) as error:
        complete_task(
            **report(cast, open_task(wipe, cast.robot), results={look.pk: [Decimal(1)]})
        )
    assert "takes 0 values, not 1" in refusal(error, "results")


def test_a_step_of_another_routine_is_refused(cast, wipe):
    other = make_step(make_routine("other"), unit="mm")
    with pytest.raises(ValidationError) as error:
        complete_task(
            **report(
                cast, open_task(wipe, cast.robot), results={other.pk: [Decimal(1)]}
            )
        )
    assert "no such step any more" in refusal(error, "results")


# Readings


@pytest.fixture
def spin(cast):
    """Every 500 motion hours; read 1,000 on 2 February and 1,100 on 23 February."""
    routine = make_routine(
        "spin", every_days=None, every_units=Decimal(500), meter="motion hours"
    )
    make_reading(cast.meter, "1000", read_at=at("06:30", date(2026, 2, 2)))
    make_reading(cast.meter, "1100", read_at=at("06:30", date(2026, 2, 23)))
    keep_in_step()
    return routine


def test_a_reading_given_with_a_completion_is_a_reading(cast, spin):
    task = open_task(spin, cast.robot)
    recorded = complete_task(**report(cast, task, reading=Decimal(1140)))
    reading = Reading.objects.get(read_at=at("11:00"))
    assert (reading.value, reading.confirmed) == (Decimal(1140), True)
    assert recorded.question == ""
    assert open_task(spin, cast.robot).meter_limit == Decimal(1640)


def test_an_unconfirmed_reading_moves_no_due_date(cast, spin):
    task = open_task(spin, cast.robot)
    recorded = complete_task(**report(cast, task, reading=Decimal(900)))
    assert "below" in recorded.question
    # The limit goes by the last reading that counts: 1,100 + 500.
    assert open_task(spin, cast.robot).meter_limit == Decimal(1600)


def test_a_reading_of_a_meter_that_is_not_there_is_refused(cast):
    pump = make_routine("pump", every_units=Decimal(5), meter="strokes")
    keep_in_step()
    with pytest.raises(ValidationError) as error:
        complete_task(**report(cast, open_task(pump, cast.robot), reading=Decimal(1)))
    assert "has no meter “strokes” on record" in refusal(error, "reading")


def test_a_refused_reading_saves_nothing_of_the_completion(cast, spin):
    make_reading(cast.meter, "1130", read_at=at("11:00"))
    task = open_task(spin, cast.robot)
    with pytest.raises(ValidationError) as error:
        complete_task(**report(cast, task, reading=Decimal(1140)))
    assert "reads 1130 at" in refusal(error, "reading")
    assert Task.objects.done().count() == 0


# Many at once


@pytest.fixture
def two_robots(cast, wipe):
    other = make_machine("W-0002", cell=cast.cells[1], position="R02")
    keep_in_step()
    return [open_task(wipe, cast.robot), open_task(wipe, other)]


def work(task: Task, **facts: object) -> Work:
    given = {"done_at": at("11:00"), "minutes": 5, "found": "normal", **facts}
    return Work(task=task, **given)


def test_many_are_recorded_at_once_each_with_its_own_values(cast, two_robots):
    first, second = two_robots
    complete_many(
        [work(first, minutes=3), work(second, minutes=8, found="worn")],
        by=cast.people.technician,
    )
    done = Task.objects.done().order_by("machine__serial")
    assert [(task.minutes, task.found) for task in done] == [(3, "normal"), (8, "worn")]
    assert Task.objects.open().count() == 2


def test_one_bad_row_of_many_saves_none_and_is_named(cast, two_robots):
    first, second = two_robots
    with pytest.raises(RowsRefusedError) as refused:
        complete_many(
            [work(first), work(second, minutes=-4)], by=cast.people.technician
        )
    assert list(refused.value.by_row) == [1]
    assert "-4 minutes" in str(refused.value.by_row[1].message_dict["minutes"])
    assert Task.objects.done().count() == 0


def test_the_row_whose_reading_is_refused_is_named(cast, spin):
    other = make_machine("W-0002", cell=cast.cells[1], position="R02")
    hours = other.meters.create(name="motion hours")
    make_reading(hours, "50", read_at=at("11:00"))
    keep_in_step()
    tasks = [open_task(spin, cast.robot), open_task(spin, other)]
    with pytest.raises(RowsRefusedError) as refused:
        complete_many(
            [
                work(tasks[0], reading=Decimal(1150)),
                work(tasks[1], reading=Decimal(60)),
            ],
            by=cast.people.technician,
        )
    assert list(refused.value.by_row) == [1]
    assert Reading.objects.filter(value=1150).count() == 0


def test_two_tasks_of_one_machine_may_bring_the_same_reading(cast, spin):
    twin = make_routine("twin", every_units=Decimal(90), meter="motion hours")
    keep_in_step()
    tasks = [open_task(spin, cast.robot), open_task(twin, cast.robot)]
    complete_many(
        [work(task, reading=Decimal(1150)) for task in tasks],
        by=cast.people.technician,
    )
    assert Reading.objects.filter(value=1150).count() == 1
    assert open_task(twin, cast.robot).meter_limit == Decimal(1240)


# Rights


@pytest.mark.parametrize("who", ["technician", "planner", "admin"])
def test_technician_and_planner_record_work(cast, wipe, who):
    task = open_task(wipe, cast.robot)
    complete_task(**report(cast, task, by=getattr(cast.people, who)))


@pytest.mark.parametrize(
    "who",
    ["leader", "area_manager", "plant_manager", "safety_officer", "reader", "stranger"],
)
def test_others_do_not_record_work(cast, wipe, who):
    task = open_task(wipe, cast.robot)
    with pytest.raises(PermissionDenied, match="technician or a planner"):
        complete_task(**report(cast, task, by=getattr(cast.people, who)))


def test_the_safety_officer_records_safety_tests(cast):
    test = make_routine("test", safety=True)
    keep_in_step()
    task = open_task(test, cast.robot)
    complete_task(**report(cast, task, by=cast.people.safety_officer))


def test_a_leader_records_an_operators_round_in_their_own_area(cast):
    around = make_routine("round", skills=["O"])
    keep_in_step()
    task = open_task(around, cast.robot)
    with pytest.raises(PermissionDenied):
        complete_task(**report(cast, task, by=cast.people.stranger))
    complete_task(**report(cast, task, by=cast.people.leader))


# Corrections


def test_a_correction_moves_the_next_due_date_and_leaves_a_trail(cast, wipe):
    task = complete_task(**report(cast, open_task(wipe, cast.robot))).task
    earlier = at("22:00", date(2026, 2, 27))
    correct_completion(
        task=task,
        changes={"done_at": earlier, "minutes": 30},
        by=cast.people.technician,
        why="wrong day",
    )
    assert open_task(wipe, cast.robot).due == date(2026, 3, 27)
    change = Change.objects.get(kind="task", field="minutes", old="12")
    assert (change.new, change.why) == ("30", "wrong day")


def test_a_correction_takes_the_reading_along(cast, spin):
    task = complete_task(
        **report(cast, open_task(spin, cast.robot), reading=Decimal(1140))
    ).task
    correct_completion(
        task=task,
        changes={"done_at": at("10:00")},
        by=cast.people.planner,
        why="an hour earlier",
    )
    assert Reading.objects.get(value=1140).read_at == at("10:00")
    assert open_task(spin, cast.robot).meter_limit == Decimal(1640)


def test_a_corrected_time_does_not_pass_another_record(cast, wipe):
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 2)))
    keep_in_step()
    task = complete_task(**report(cast, open_task(wipe, cast.robot))).task
    with pytest.raises(ValidationError) as error:
        correct_completion(
            task=task,
            changes={"done_at": at("08:00", date(2026, 2, 1))},
            by=cast.people.planner,
            why="typo",
        )
    assert "cannot pass that record" in refusal(error, "done_at")


def test_whoever_recorded_it_corrects_it_for_72_hours(cast, wipe, monday_noon):
    task = complete_task(**report(cast, open_task(wipe, cast.robot))).task
    monday_noon.move_to(at("12:00") + timedelta(hours=72, seconds=1))
    facts = {"task": task, "changes": {"minutes": 1}, "why": "typo"}
    with pytest.raises(PermissionDenied, match="whoever entered it for 72 h"):
        correct_completion(**facts, by=cast.people.technician)
    correct_completion(**facts, by=cast.people.planner)


def test_another_technician_does_not_correct_it(cast, wipe):
    task = complete_task(**report(cast, open_task(wipe, cast.robot))).task
    other = make_user("other-technician", Role.TECHNICIAN)
    with pytest.raises(PermissionDenied):
        correct_completion(task=task, changes={"minutes": 1}, by=other, why="mine")


def test_a_withdrawn_record_stays_and_the_open_task_comes_back(cast, wipe):
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 2)))
    keep_in_step()
    before = open_task(wipe, cast.robot)
    task = complete_task(**report(cast, before)).task
    withdraw_completion(task=task, by=cast.people.technician, why="other robot")
    task.refresh_from_db()
    assert task.closed_why == "recorded by mistake: other robot"
    back = open_task(wipe, cast.robot)
    assert (back.due, back.latest) == (MONDAY, date(2026, 3, 5))
    # And the same moment may be recorded again.
    complete_task(**report(cast, back))


def test_an_open_task_has_nothing_to_withdraw(cast, wipe):
    with pytest.raises(ValidationError, match="not recorded done"):
        withdraw_completion(
            task=open_task(wipe, cast.robot), by=cast.people.planner, why="x"
        )


# Safety tests that fail


@pytest.fixture
def failed(cast):
    test = make_routine("test", safety=True)
    keep_in_step()
    task = open_task(test, cast.robot)
    return complete_task(**report(cast, task, found="failed")).alert


def test_a_failed_safety_test_raises_an_alert(cast, failed):
    assert SafetyAlert.objects.get() == failed
    assert failed.accepted_at is None


def test_other_work_found_failed_raises_none(cast, wipe):
    recorded = complete_task(
        **report(cast, open_task(wipe, cast.robot), found="failed")
    )
    assert recorded.alert is None


@pytest.mark.parametrize("who", ["safety_officer", "area_manager", "plant_manager"])
def test_a_named_person_accepts_it_with_the_measure(cast, failed, who):
    user = getattr(cast.people, who)
    accept_alert(alert=failed, measure=" gate changed, tested again ", by=user)
    failed.refresh_from_db()
    assert (failed.accepted_by, failed.measure) == (user, "gate changed, tested again")


@pytest.mark.parametrize("who", ["technician", "planner", "leader", "reader"])
def test_nobody_else_accepts_it(cast, failed, who):
    with pytest.raises(PermissionDenied, match="accepted by the safety officer"):
        accept_alert(alert=failed, measure="done", by=getattr(cast.people, who))


def test_an_alert_is_accepted_once_and_not_without_a_measure(cast, failed):
    officer = cast.people.safety_officer
    with pytest.raises(ValidationError) as error:
        accept_alert(alert=failed, measure=" ", by=officer)
    assert "Say what is done" in refusal(error, "measure")
    accept_alert(alert=failed, measure="changed", by=officer)
    with pytest.raises(ValidationError, match="has accepted this alert already"):
        accept_alert(alert=failed, measure="again", by=officer)


def test_a_correction_to_failed_raises_the_alert_too(cast):
    test = make_routine("test", safety=True)
    keep_in_step()
    task = complete_task(**report(cast, open_task(test, cast.robot))).task
    correct_completion(
        task=task, changes={"found": "failed"}, by=cast.people.planner, why="misread"
    )
    assert SafetyAlert.objects.get().task == task
