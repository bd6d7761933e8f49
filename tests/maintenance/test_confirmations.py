from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from cells.models import StaleMark
from maintenance.confirmations import confirm_shift, running_at_its_end
from maintenance.models import ShiftConfirmation
from maintenance.stops import end_stop
from tests.builders import at
from tests.maintenance.stop_cast import a_stop, marked


def said(fault: pytest.ExceptionInfo[ValidationError]) -> str:
    return " ".join(fault.value.messages)


def test_a_confirmed_shift_says_who_and_when_and_marks_every_cell(cast, monday_noon):
    monday_noon.move_to(at("14:02"))

    confirm_shift(shift=cast.early, by=cast.people.leader)

    stored = ShiftConfirmation.objects.get()
    assert (stored.confirmed_at, stored.confirmed_by) == (
        at("14:02"),
        cast.people.leader,
    )
    assert marked() == [(cell.code, "Early") for cell in cast.cells]


def test_a_shift_is_confirmed_from_a_quarter_of_an_hour_before_its_end(
    cast, monday_noon
):
    monday_noon.move_to(at("13:45") - timedelta(seconds=1))
    with pytest.raises(ValidationError) as fault:
        confirm_shift(shift=cast.early, by=cast.people.leader)
    assert "ends at 14:00: confirm it from 13:45 on" in said(fault)
    monday_noon.move_to(at("13:45"))
    confirm_shift(shift=cast.early, by=cast.people.leader)


def test_a_shift_is_confirmed_once(cast, monday_noon):
    monday_noon.move_to(at("14:02"))
    confirm_shift(shift=cast.early, by=cast.people.leader)
    with pytest.raises(ValidationError) as fault:
        confirm_shift(shift=cast.early, by=cast.people.area_manager)
    assert "was confirmed by leader at Mon 2 March 14:02" in said(fault)


def test_a_stop_without_an_end_asks_whether_it_is_still_running(
    cast, reasons, monday_noon
):
    stuck = a_stop(cast, reasons.stuck, "11:00", None)
    jam = a_stop(cast, reasons.jam, "11:00", None, cell=cast.cells[1])
    StaleMark.objects.all().delete()
    monday_noon.move_to(at("14:02"))
    assert list(running_at_its_end(cast.early)) == [stuck, jam]

    with pytest.raises(ValidationError) as fault:
        confirm_shift(shift=cast.early, by=cast.people.leader, still_running=[jam])

    assert "Cell L1-10: “stuck tip” has been running since" in said(fault)
    assert "still running, or end it" in said(fault)
    assert "L1-20" not in said(fault)
    assert not ShiftConfirmation.objects.exists()
    assert marked() == []


def test_with_each_running_stop_answered_the_shift_is_confirmed(
    cast, reasons, monday_noon
):
    stuck = a_stop(cast, reasons.stuck, "11:00", None)
    jam = a_stop(cast, reasons.jam, "11:00", None, cell=cast.cells[1])
    monday_noon.move_to(at("13:50"))
    end_stop(stop=stuck, by=cast.people.leader)

    confirm_shift(shift=cast.early, by=cast.people.leader, still_running=[jam.pk])

    assert ShiftConfirmation.objects.count() == 1


def test_what_began_after_the_shift_does_not_hold_it_up(cast, reasons, monday_noon):
    monday_noon.move_to(at("15:00"))
    a_stop(cast, reasons.stuck, "14:00", None)
    confirm_shift(shift=cast.early, by=cast.people.leader)
    assert ShiftConfirmation.objects.count() == 1


def test_a_cancelled_shift_is_not_confirmed(cast, monday_noon):
    monday_noon.move_to(at("15:00"))
    cast.early.ends_at = cast.early.starts_at
    with pytest.raises(ValidationError) as fault:
        confirm_shift(shift=cast.early, by=cast.people.leader)
    assert "nothing to confirm" in said(fault)


@pytest.mark.parametrize(
    "person", ["technician", "planner", "plant_manager", "reader", "stranger"]
)
def test_only_the_lines_leader_and_the_areas_manager_confirm(cast, monday_noon, person):
    monday_noon.move_to(at("15:00"))
    with pytest.raises(PermissionDenied, match="confirmed by its team leader"):
        confirm_shift(shift=cast.early, by=getattr(cast.people, person))
    confirm_shift(shift=cast.early, by=cast.people.area_manager)
