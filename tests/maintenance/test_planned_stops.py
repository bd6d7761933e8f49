from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from cells.models import StaleMark
from maintenance.models import PlannedStop
from maintenance.planned_stops import (
    correct_planned_stop,
    declare_planned_stop,
    withdraw_planned_stop,
)
from tests.builders import NOW, at
from tests.maintenance.stop_cast import make_reason, marked, trail_of, z


def said(fault: pytest.ExceptionInfo[ValidationError]) -> str:
    return " ".join(fault.value.messages)


def declare(cast, reasons, start="13:00", end="13:30", place=None, **facts):
    given = {"by": cast.people.planner, "reason": reasons.meeting, **facts}
    return declare_planned_stop(
        place=place or cast.cells[0], starts_at=at(start), ends_at=at(end), **given
    )


def test_a_planned_stop_keeps_when_and_by_whom_it_was_declared(cast, reasons):
    planned = declare(cast, reasons)

    stored = PlannedStop.objects.get()
    assert stored.declared_at == NOW
    assert stored.declared_by == cast.people.planner
    assert stored.place == cast.cells[0]
    assert stored.ref.startswith("20260302T110000Z-")
    assert trail_of(planned, "plannedstop") == [("", "", "entered", "")]


def test_a_planned_stop_of_a_cell_marks_that_cell(cast, reasons):
    declare(cast, reasons)
    assert marked() == [("L1-10", "Early")]


@pytest.mark.parametrize("place", ["line", "area"])
def test_a_planned_stop_of_a_line_or_area_marks_its_cells_and_no_others(
    cast, reasons, place
):
    declare(cast, reasons, "13:30", "14:30", place=getattr(cast, place))
    assert marked() == [
        (cell, shift)
        for cell in ("L1-10", "L1-20", "L1-30")
        for shift in ("Early", "Late")
    ]


def test_one_that_has_passed_may_be_declared_late(cast, reasons):
    planned = declare(cast, reasons, "08:00", "08:30")
    assert planned.declared_at > planned.starts_at


def test_the_end_must_come_after_the_start(cast, reasons):
    with pytest.raises(ValidationError) as fault:
        declare(cast, reasons, "13:30", "13:00")
    assert "is not after the start" in said(fault)
    assert not PlannedStop.objects.exists()


def test_a_reason_of_another_class_is_refused(cast, reasons):
    with pytest.raises(ValidationError) as fault:
        declare(cast, reasons, reason=reasons.stuck)
    assert "a reason for stops that nobody planned (breakdown)" in said(fault)


def test_a_retired_reason_is_refused(cast, reasons):
    old = make_reason("old-meeting", "planned", retired_on="2026-01-31")
    with pytest.raises(ValidationError) as fault:
        declare(cast, reasons, reason=old)
    assert "is no longer used" in said(fault)


def test_one_of_more_than_a_month_is_asked_about(cast, reasons):
    facts = {
        "place": cast.cells[0],
        "starts_at": NOW,
        "ends_at": NOW + timedelta(days=32),
        "reason": reasons.meeting,
        "by": cast.people.planner,
    }
    with pytest.raises(ValidationError) as fault:
        declare_planned_stop(**facts)
    assert "longer than 31 days" in said(fault)
    assert declare_planned_stop(**facts, long_ok=True).ends_at == facts["ends_at"]


def test_the_same_place_reason_and_time_is_refused_naming_the_first(cast, reasons):
    declare(cast, reasons)
    with pytest.raises(ValidationError) as fault:
        declare(cast, reasons, "13:10", "13:40")
    assert "from Mon 2 March 13:00 to Mon 2 March 13:30" in said(fault)
    declare(cast, reasons, "13:30", "13:40")
    declare(cast, reasons, "13:10", "13:40", place=cast.line)


def test_one_moved_before_it_begins_is_declared_anew(cast, reasons, monday_noon):
    planned = declare(cast, reasons)
    StaleMark.objects.all().delete()
    monday_noon.move_to(at("12:30"))

    correct_planned_stop(
        planned=planned,
        changes={"starts_at": at("13:45"), "ends_at": at("14:15")},
        why="canteen is closed",
        by=cast.people.planner,
    )

    stored = PlannedStop.objects.get()
    assert stored.declared_at == at("12:30")
    assert ("declared_at", z(NOW), z(at("12:30")), "canteen is closed") in trail_of(
        planned, "plannedstop"
    )
    assert marked() == [("L1-10", "Early"), ("L1-10", "Late")]


def test_one_made_shorter_stays_declared_when_it_was(cast, reasons, monday_noon):
    planned = declare(cast, reasons)
    monday_noon.move_to(at("13:20"))

    correct_planned_stop(
        planned=planned,
        changes={"ends_at": at("13:15")},
        why="was quick",
        by=cast.people.planner,
    )

    stored = PlannedStop.objects.get()
    assert (stored.ends_at, stored.declared_at) == (at("13:15"), NOW)


def test_running_over_is_not_planned(cast, reasons, monday_noon):
    planned = declare(cast, reasons)
    monday_noon.move_to(at("13:40"))

    with pytest.raises(ValidationError) as fault:
        correct_planned_stop(
            planned=planned,
            changes={"ends_at": at("13:50")},
            why="ran over",
            by=cast.people.planner,
        )

    assert "running over is not planned" in said(fault)
    assert PlannedStop.objects.get().ends_at == at("13:30")


def test_one_that_has_begun_does_not_spread_to_more_cells(cast, reasons, monday_noon):
    planned = declare(cast, reasons)
    monday_noon.move_to(at("13:10"))
    with pytest.raises(ValidationError) as fault:
        correct_planned_stop(
            planned=planned,
            changes={"place": cast.line},
            why="all met",
            by=cast.people.planner,
        )
    assert "cells that were not declared before" in said(fault)


def test_one_taken_from_a_line_to_a_cell_marks_all_that_it_touched(cast, reasons):
    planned = declare(cast, reasons, place=cast.line)
    StaleMark.objects.all().delete()

    corrected = correct_planned_stop(
        planned=planned,
        changes={"place": cast.cells[0]},
        why="only one cell",
        by=cast.people.planner,
    )

    assert corrected.place == cast.cells[0]
    assert corrected.line is None
    assert sorted(set(marked())) == [
        ("L1-10", "Early"),
        ("L1-20", "Early"),
        ("L1-30", "Early"),
    ]


def test_a_withdrawn_one_stays_readable_and_is_not_changed(cast, reasons):
    planned = declare(cast, reasons)
    StaleMark.objects.all().delete()

    withdraw_planned_stop(planned=planned, why="cancelled", by=cast.people.planner)

    assert PlannedStop.objects.get().withdrawn
    assert marked() == [("L1-10", "Early")]
    with pytest.raises(ValidationError, match="withdrawn: declare another one"):
        correct_planned_stop(
            planned=planned,
            changes={"ends_at": at("13:20")},
            why="x",
            by=cast.people.planner,
        )


def test_corrections_and_withdrawals_need_a_why(cast, reasons):
    planned = declare(cast, reasons)
    with pytest.raises(ValidationError, match="Say why"):
        correct_planned_stop(
            planned=planned, changes={}, why=" ", by=cast.people.planner
        )
    with pytest.raises(ValidationError, match="Say why"):
        withdraw_planned_stop(planned=planned, why="", by=cast.people.planner)


@pytest.mark.parametrize("person", ["planner", "plant_manager", "area_manager"])
def test_planners_and_managers_declare(cast, reasons, person):
    declare(cast, reasons, place=cast.area, by=getattr(cast.people, person))
    assert PlannedStop.objects.count() == 1


@pytest.mark.parametrize(
    "person", ["leader", "technician", "safety_officer", "reader", "stranger"]
)
def test_nobody_else_declares_corrects_or_withdraws(cast, reasons, person):
    by = getattr(cast.people, person)
    with pytest.raises(PermissionDenied, match="by a planner, the plant manager"):
        declare(cast, reasons, by=by)
    planned = declare(cast, reasons)
    with pytest.raises(PermissionDenied):
        correct_planned_stop(planned=planned, changes={}, why="x", by=by)
    with pytest.raises(PermissionDenied):
        withdraw_planned_stop(planned=planned, why="x", by=by)


def test_an_area_manager_declares_in_no_other_area(cast, reasons):
    with pytest.raises(PermissionDenied):
        declare(cast, reasons, place=cast.other_line, by=cast.people.area_manager)
    planned = declare(cast, reasons)
    with pytest.raises(PermissionDenied):
        correct_planned_stop(
            planned=planned,
            changes={"place": cast.other_cell},
            why="x",
            by=cast.people.area_manager,
        )
