"""PM compliance of stored tasks."""

from datetime import date, datetime

import pytest

from maintenance.compliance import ClosedTasks, by_month, figures
from maintenance.models import FirstDue, Routine, Task
from maintenance.tasks import safety_overdue
from tests.builders import Cast, at

pytestmark = pytest.mark.django_db

FEBRUARY = (date(2026, 2, 1), date(2026, 2, 28))


def make_routine(code: str = "wipe", **facts: object) -> Routine:
    given = {
        "name": f"Routine {code}",
        "kinds": ["weld"],
        "every_days": 28,
        "anchor": "completion",
        "minutes": 10,
        "skills": ["M"],
        "lockout": False,
        **facts,
    }
    return Routine.objects.create(code=code, **given)


def make_task(
    cast: Cast,
    routine: Routine,
    *,
    closed: date | None,
    verdict: str = "",
    done_at: datetime | None = None,
    **facts: object,
) -> Task:
    if verdict and done_at is None:
        done_at = at("08:00", closed)
    clock = f"m:{cast.robot.pk}" if not facts.get("closed_why") else "m:0"
    return Task.objects.create(
        routine=routine,
        machine=cast.robot,
        cell=cast.cells[0],
        clock=facts.pop("clock", clock),
        opened_on=date(2026, 1, 1),
        window_closed_on=closed,
        latest=closed,
        verdict=verdict,
        done_at=done_at,
        **facts,
    )


def test_compliance_is_done_on_time_out_of_all_whose_window_closed(cast):
    wipe = make_routine()
    for day, verdict in ((3, "on_time"), (4, "on_time"), (5, "late"), (6, "early")):
        make_task(cast, wipe, closed=date(2026, 2, day), verdict=verdict)
    make_task(cast, wipe, closed=date(2026, 2, 20))  # still open
    found = figures(*FEBRUARY).all
    assert (found.on_time, found.closed) == (2, 5)
    assert found.ratio == 0.4
    assert figures(*FEBRUARY).safety.ratio is None


def test_what_was_closed_without_being_done_stays_in_the_account(cast):
    wipe = make_routine()
    make_task(cast, wipe, closed=date(2026, 2, 20), closed_why="not needed")
    assert figures(*FEBRUARY).all.closed == 1
    assert [one.words for one in ClosedTasks(*FEBRUARY)] == [
        "closed without being done"
    ]


def test_a_record_that_was_a_mistake_leaves_the_account(cast):
    wipe = make_routine()
    make_task(
        cast,
        wipe,
        closed=date(2026, 2, 20),
        verdict="on_time",
        closed_why="recorded by mistake: other robot",
    )
    assert figures(*FEBRUARY).all.closed == 0


def test_labour_counts_every_head_of_every_skill(cast):
    wipe, lift = make_routine(), make_routine("lift", heads=2, skills=["M", "E"])
    make_task(cast, wipe, closed=date(2026, 2, 3), verdict="on_time")
    make_task(cast, lift, closed=date(2026, 2, 3), verdict="late")
    found = figures(*FEBRUARY).all
    assert (found.on_time_minutes, found.closed_minutes) == (10, 50)


def test_the_window_that_closes_today_has_not_closed_yet(cast):
    make_task(cast, make_routine(), closed=date(2026, 3, 2), verdict="on_time")
    assert figures(date(2026, 3, 1), date(2026, 3, 31)).all.closed == 0


def test_missed_grid_dates_count_each_in_their_own_month(cast):
    test = make_routine("test", anchor="calendar", safety=True)
    make_task(
        cast, test, closed=date(2025, 12, 29), missed=["2026-01-26", "2026-02-23"]
    )
    january, february = by_month(date(2026, 1, 1), date(2026, 2, 28))
    assert january[0] == date(2026, 1, 1)
    assert (january[1].safety.closed, february[1].safety.closed) == (1, 1)


def test_a_missed_grid_date_closes_at_the_end_of_its_own_window(cast):
    audit = make_routine("audit", anchor="calendar")  # 28 days, so 3 of tolerance
    make_task(cast, audit, closed=date(2026, 1, 2), missed=["2026-01-30"])
    assert figures(date(2026, 1, 30), date(2026, 2, 1)).all.closed == 0
    assert figures(date(2026, 2, 2), date(2026, 2, 2)).all.closed == 1


def test_nothing_is_missed_before_the_first_due_date_a_planner_set(cast):
    wipe = make_routine()
    FirstDue.objects.create(
        routine=wipe, machine=cast.robot, due=date(2026, 2, 21), why="spread"
    )
    make_task(cast, wipe, closed=date(2026, 2, 10), verdict="late")
    make_task(cast, wipe, closed=date(2026, 2, 11), verdict="on_time")
    make_task(cast, wipe, closed=date(2026, 2, 21))
    found = figures(*FEBRUARY).all
    assert (found.on_time, found.closed) == (1, 2)


def test_compliance_of_any_number_of_tasks_takes_five_queries(
    cast, django_assert_num_queries
):
    wipe = make_routine()
    for day in range(1, 20):
        make_task(cast, wipe, closed=date(2026, 2, day), verdict="on_time")
    with django_assert_num_queries(5):
        figures(*FEBRUARY)


def test_a_safety_test_is_overdue_from_the_day_after_its_due_date(cast):
    test = make_routine("test", safety=True)
    task = make_task(cast, test, closed=None)
    task.latest = date(2026, 3, 2)
    task.save()
    assert safety_overdue(date(2026, 3, 2)).count == 0
    late = safety_overdue(date(2026, 3, 3))
    assert (late.count, list(late.tasks)) == (1, [task])
