import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from cells.models import StaleMark
from maintenance.models import Tally
from maintenance.tallies import correct_tally, log_tally, withdraw_tally
from tests.builders import at
from tests.maintenance.stop_cast import make_reason, marked, trail_of


@pytest.fixture
def seven_jams(cast, reasons):
    tally = log_tally(
        cell=cast.cells[0],
        shift=cast.early,
        reason=reasons.jam,
        times=7,
        seconds=540,
        by=cast.people.leader,
    )
    StaleMark.objects.all().delete()
    return tally


def said(fault: pytest.ExceptionInfo[ValidationError]) -> str:
    return " ".join(fault.value.messages)


@pytest.mark.parametrize(
    "loss_class",
    [
        "breakdown",
        "setup",
        "quality_hold",
        "minor",
        "people",
        "supply",
        "utilities",
        "blocked",
        "starved",
    ],
)
def test_every_class_but_planned_can_be_tallied(cast, loss_class):
    log_tally(
        cell=cast.cells[0],
        shift=cast.early,
        reason=make_reason("some", loss_class),
        times=12,
        seconds=360,
        by=cast.people.leader,
    )
    stored = Tally.objects.get()
    assert (stored.times, stored.seconds) == (12, 360)
    assert stored.logged_by == cast.people.leader
    assert marked() == [("L1-10", "Early")]


def test_a_tally_says_who_entered_it(seven_jams):
    assert trail_of(seven_jams, "tally") == [("", "", "entered", "")]


def test_more_than_the_shift_has_room_for_is_kept_as_entered(cast, reasons):
    log_tally(
        cell=cast.cells[0],
        shift=cast.early,
        reason=reasons.blocked,
        times=1,
        seconds=8 * 3600,
        by=cast.people.leader,
    )
    assert Tally.objects.get().seconds == 8 * 3600


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        pytest.param({"times": 0}, "0 times is not between 1 and", id="never"),
        pytest.param({"times": -3}, "-3 times is not between", id="negative times"),
        pytest.param({"times": 10**12}, "once a second (28800)", id="absurd times"),
        pytest.param({"seconds": -60}, "-1 min is not between 0", id="negative"),
        pytest.param(
            {"seconds": 8 * 3600 + 1}, "the 480 min of the shift", id="over the shift"
        ),
    ],
)
def test_impossible_numbers_are_refused(cast, reasons, facts, sentence):
    given = {"times": 7, "seconds": 540, **facts}
    with pytest.raises(ValidationError) as fault:
        log_tally(
            cell=cast.cells[0],
            shift=cast.early,
            reason=reasons.jam,
            by=cast.people.leader,
            **given,
        )
    assert sentence in said(fault)
    assert not Tally.objects.exists()
    assert marked() == []


@pytest.mark.parametrize(
    ("reason", "sentence"),
    [("meeting", "is a reason for planned stops"), ("old", "is no longer used")],
)
def test_planned_and_retired_reasons_are_refused(cast, reasons, reason, sentence):
    with pytest.raises(ValidationError) as fault:
        log_tally(
            cell=cast.cells[0],
            shift=cast.early,
            reason=getattr(reasons, reason),
            times=1,
            seconds=60,
            by=cast.people.leader,
        )
    assert sentence in said(fault)


def test_a_tally_of_a_cell_of_another_line_is_refused(cast, reasons):
    with pytest.raises(ValidationError) as fault:
        log_tally(
            cell=cast.other_cell,
            shift=cast.early,
            reason=reasons.jam,
            times=1,
            seconds=60,
            by=cast.people.admin,
        )
    assert "Cell P1-10 does not stand on line L1" in said(fault)


def test_a_tally_of_a_shift_that_has_not_begun_or_is_cancelled_is_refused(
    cast, reasons
):
    facts = {
        "cell": cast.cells[0],
        "reason": reasons.jam,
        "times": 1,
        "seconds": 60,
        "by": cast.people.leader,
    }
    with pytest.raises(ValidationError) as fault:
        log_tally(shift=cast.late, **facts)
    assert "begins at Mon 2 March 14:00" in said(fault)

    cast.early.ends_at = cast.early.starts_at
    with pytest.raises(ValidationError) as fault:
        log_tally(shift=cast.early, **facts)
    assert "is cancelled" in said(fault)


def test_the_same_tally_twice_is_refused_naming_the_first(cast, reasons, seven_jams):
    with pytest.raises(ValidationError) as fault:
        log_tally(
            cell=cast.cells[0],
            shift=cast.early,
            reason=reasons.jam,
            times=2,
            seconds=60,
            by=cast.people.leader,
        )
    assert "already has a tally “skid jam” in this shift (7 times)" in said(fault)


def test_a_corrected_tally_keeps_the_old_numbers(cast, seven_jams):
    correct_tally(
        tally=seven_jams,
        changes={"times": 8, "seconds": 600},
        why="one more",
        by=cast.people.leader,
    )
    assert Tally.objects.get().seconds == 600
    assert trail_of(seven_jams, "tally")[1:] == [
        ("times", "7", "8", "one more"),
        ("seconds", "540", "600", "one more"),
    ]
    assert marked() == [("L1-10", "Early")]


def test_a_tally_moved_to_another_cell_marks_both(cast, seven_jams):
    correct_tally(
        tally=seven_jams,
        changes={"cell": cast.cells[1]},
        why="other cell",
        by=cast.people.leader,
    )
    assert marked() == [("L1-10", "Early"), ("L1-20", "Early")]


def test_a_correction_that_changes_nothing_marks_nothing(cast, seven_jams):
    correct_tally(
        tally=seven_jams, changes={"times": 7}, why="same", by=cast.people.leader
    )
    assert marked() == []


def test_a_correction_needs_a_why_and_room(cast, reasons, seven_jams):
    with pytest.raises(ValidationError) as fault:
        correct_tally(
            tally=seven_jams, changes={"times": 8}, why="", by=cast.people.leader
        )
    assert "Say why" in said(fault)

    log_tally(
        cell=cast.cells[0],
        shift=cast.early,
        reason=reasons.blocked,
        times=1,
        seconds=60,
        by=cast.people.leader,
    )
    with pytest.raises(ValidationError) as fault:
        correct_tally(
            tally=seven_jams,
            changes={"reason": reasons.blocked},
            why="was blocked",
            by=cast.people.leader,
        )
    assert "already has a tally “blocked”" in said(fault)


def test_a_withdrawn_tally_stays_readable_and_can_be_entered_again(
    cast, reasons, seven_jams
):
    withdraw_tally(tally=seven_jams, why="wrong cell", by=cast.people.leader)
    assert marked() == [("L1-10", "Early")]
    with pytest.raises(ValidationError) as fault:
        correct_tally(
            tally=seven_jams, changes={"times": 8}, why="x", by=cast.people.leader
        )
    assert "withdrawn: enter it again" in said(fault)

    again = log_tally(
        cell=cast.cells[0],
        shift=cast.early,
        reason=reasons.jam,
        times=3,
        seconds=120,
        by=cast.people.leader,
    )

    assert again.pk == seven_jams.pk
    stored = Tally.objects.get()
    assert (stored.withdrawn, stored.times, stored.seconds) == (False, 3, 120)
    assert ("withdrawn", "no", "yes", "wrong cell") in trail_of(again, "tally")
    assert ("times", "7", "3", "entered again") in trail_of(again, "tally")


def test_who_may_tally_and_until_when(cast, reasons, seven_jams, monday_noon):
    for person in (cast.people.technician, cast.people.planner, cast.people.stranger):
        with pytest.raises(PermissionDenied):
            log_tally(
                cell=cast.cells[1],
                shift=cast.early,
                reason=reasons.jam,
                times=1,
                seconds=60,
                by=person,
            )
        with pytest.raises(PermissionDenied):
            withdraw_tally(tally=seven_jams, why="x", by=person)
    # The early shift ends at 14:00, so the leader's day is over a second later.
    monday_noon.move_to(at("14:00", cast.early.production_date.replace(day=3)))
    correct_tally(
        tally=seven_jams, changes={"times": 8}, why="x", by=cast.people.leader
    )
    monday_noon.shift(1)
    with pytest.raises(PermissionDenied, match="until 24 h after"):
        correct_tally(
            tally=seven_jams, changes={"times": 9}, why="x", by=cast.people.leader
        )
    correct_tally(
        tally=seven_jams, changes={"times": 9}, why="x", by=cast.people.area_manager
    )
