from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from maintenance.models import LossClass, Reason
from maintenance.reasons import (
    add_reason,
    change_reason,
    offer_reason_again,
    reasons_by_cell,
    reasons_for,
    retire_reason,
)
from maintenance.stops import log_stop
from maintenance.tallies import log_tally
from oee.ledger.classes import LOSS_CLASSES
from tests.builders import MONDAY, NOW
from tests.maintenance.stop_cast import a_stop, make_reason, trail_of


def said(fault: pytest.ExceptionInfo[ValidationError]) -> str:
    return " ".join(fault.value.messages)


def test_the_classes_are_those_of_the_ledger_in_its_order():
    assert tuple(LossClass.values) == LOSS_CLASSES


def test_a_cells_own_habits_come_first_then_the_groups(cast, reasons):
    a_stop(cast, reasons.jam, "08:00", "08:10")
    a_stop(cast, reasons.jam, "09:00", "09:10")
    a_stop(cast, reasons.stuck, "10:00", "10:10")
    # Another cell's habits are not this one's.
    a_stop(cast, reasons.blocked, "08:00", "08:10", cell=cast.cells[1])
    make_reason("burn-back", group="Arc")

    names = [reason.name for reason in reasons_for(cast.cells[0])]

    assert names == ["skid jam", "stuck tip", "burn back", "blocked"]


def test_tallies_are_habits_too(cast, reasons):
    log_tally(
        cell=cast.cells[0],
        shift=cast.early,
        reason=reasons.stuck,
        times=9,
        seconds=60,
        by=cast.people.leader,
    )
    assert reasons_for(cast.cells[0])[0] == reasons.stuck


def test_what_happened_more_than_90_days_ago_is_forgotten(cast, reasons):
    log_stop(
        cell=cast.cells[0],
        reason=reasons.stuck,
        started_at=NOW - timedelta(days=91),
        ended_at=NOW - timedelta(days=91, minutes=-5),
        by=None,
    )
    assert reasons_for(cast.cells[0])[0] == reasons.blocked  # by group


def test_planned_and_retired_reasons_are_not_offered(cast, reasons):
    offered = reasons_for(cast.cells[0], limit=None)
    assert reasons.meeting not in offered
    assert reasons.old not in offered
    assert len(reasons_for(cast.cells[0], limit=2)) == 2


def test_many_cells_cost_three_queries(cast, reasons, django_assert_num_queries):
    a_stop(cast, reasons.jam, "08:00", "08:10", cell=cast.cells[2])
    with django_assert_num_queries(3):
        offered = reasons_by_cell(cast.cells)
    assert offered[cast.cells[2].pk][0] == reasons.jam
    assert offered[cast.cells[0].pk][0] == reasons.blocked


def test_a_planner_adds_changes_and_retires(cast):
    reason = add_reason(
        code="drive",
        name="drive",
        loss_class="breakdown",
        group="Robot",
        by=cast.people.planner,
    )
    change_reason(
        reason=reason,
        changes={"name": "drive or motor", "loss_class": "minor"},
        why="clearer",
        by=cast.people.planner,
    )
    retire_reason(reason=reason, why="merged", by=cast.people.planner)
    assert Reason.objects.get(code="drive").retired_on == MONDAY
    offer_reason_again(reason=reason, why="needed", by=cast.people.planner)

    stored = Reason.objects.get(code="drive")
    assert (stored.name, stored.loss_class) == ("drive or motor", "minor")
    assert [row[:3] for row in trail_of(reason, "reason")] == [
        ("", "", "entered"),
        ("name", "drive", "drive or motor"),
        ("loss_class", "breakdown", "minor"),
        ("retired_on", "", "2026-03-02"),
        ("retired_on", "2026-03-02", ""),
    ]


def test_a_used_reason_keeps_its_class(cast, reasons):
    a_stop(cast, reasons.stuck, "08:00", "08:10")
    with pytest.raises(ValidationError) as fault:
        change_reason(
            reason=reasons.stuck,
            changes={"loss_class": "minor"},
            why="is short",
            by=cast.people.planner,
        )
    assert "those figures would change silently: retire it" in said(fault)
    change_reason(
        reason=reasons.stuck,
        changes={"name": "tip stuck", "loss_class": "breakdown"},
        why="word order",
        by=cast.people.planner,
    )
    assert Reason.objects.get(pk=reasons.stuck.pk).name == "tip stuck"


def test_a_code_is_used_once(cast, reasons):
    with pytest.raises(ValidationError, match="already exists"):
        add_reason(
            code="stuck-tip", name="x", loss_class="minor", by=cast.people.planner
        )


def test_retiring_twice_and_offering_what_is_offered_are_refused(cast, reasons):
    with pytest.raises(ValidationError, match="is retired since 2026-01-31"):
        retire_reason(reason=reasons.old, why="x", by=cast.people.planner)
    with pytest.raises(ValidationError, match="is offered already"):
        offer_reason_again(reason=reasons.jam, why="x", by=cast.people.planner)
    with pytest.raises(ValidationError, match="Say why"):
        retire_reason(reason=reasons.jam, why=" ", by=cast.people.planner)


@pytest.mark.parametrize("person", ["leader", "technician", "plant_manager", "reader"])
def test_only_a_planner_edits_reasons(cast, reasons, person):
    by = getattr(cast.people, person)
    with pytest.raises(PermissionDenied, match="by a planner"):
        add_reason(code="x", name="x", loss_class="minor", by=by)
    with pytest.raises(PermissionDenied):
        retire_reason(reason=reasons.jam, why="x", by=by)
