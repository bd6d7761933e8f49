from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from cells.models import Change, StaleMark
from maintenance import stops
from maintenance.models import Stop
from tests.builders import MONDAY, NOW, at
from tests.maintenance.stop_cast import a_stop, marked, trail_of, z

SECOND = timedelta(seconds=1)


def said(fault: pytest.ExceptionInfo[ValidationError], field: str = "__all__") -> str:
    error = fault.value
    if hasattr(error, "error_dict"):
        return " ".join(error.message_dict[field])
    return " ".join(error.messages)


def test_a_logged_stop_is_kept_with_who_entered_it(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20", note=" twice ")

    stored = Stop.objects.get(pk=stop.pk)
    assert (stored.started_at, stored.ended_at) == (at("08:00"), at("08:20"))
    assert stored.note == "twice"
    assert stored.logged_by == cast.people.leader
    assert stored.logged_at == NOW
    assert trail_of(stop) == [("", "", "entered", "")]


def test_a_logged_stop_marks_the_cell_shifts_it_touches(cast, reasons):
    a_stop(cast, reasons.stuck, "08:00", "08:20")
    assert marked() == [("L1-10", "Early")]


def test_a_stop_over_the_shift_change_marks_both_shifts(cast, reasons, monday_noon):
    monday_noon.move_to(at("15:00"))
    a_stop(cast, reasons.stuck, "13:50", "14:10")
    assert marked() == [("L1-10", "Early"), ("L1-10", "Late")]


def test_a_stop_that_ends_with_the_shift_does_not_touch_the_next(
    cast, reasons, monday_noon
):
    monday_noon.move_to(at("15:00"))
    a_stop(cast, reasons.stuck, "13:50", "14:00")
    assert marked() == [("L1-10", "Early")]


def test_a_running_stop_marks_no_shift_that_is_still_to_come(cast, reasons):
    a_stop(cast, reasons.stuck, "08:00", None)
    assert marked() == [("L1-10", "Early")]


def test_refs_grow_with_the_time_of_logging_even_within_a_second(
    cast, reasons, monday_noon
):
    first = a_stop(cast, reasons.stuck, "08:00", "08:10")
    second = a_stop(cast, reasons.stuck, "07:00", "07:10")
    monday_noon.move_to(NOW + SECOND)
    third = a_stop(cast, reasons.jam, "06:30", "06:31")

    assert first.ref < second.ref < third.ref
    assert first.ref.startswith("20260302T110000Z-")


@pytest.mark.parametrize(
    ("facts", "field", "sentence"),
    [
        pytest.param(
            {"started_at": at("09:00"), "ended_at": at("08:00")},
            "ended_at",
            "The end (Mon 2 March 08:00) is not after the start (Mon 2 March 09:00)",
            id="end before start",
        ),
        pytest.param(
            {"started_at": at("09:00"), "ended_at": at("09:00")},
            "ended_at",
            "is not after the start",
            id="no length",
        ),
        pytest.param(
            {"started_at": NOW + SECOND},
            "started_at",
            "“Start” (Mon 2 March 12:00) lies in the future",
            id="start in the future",
        ),
        pytest.param(
            {"started_at": at("09:00"), "ended_at": at("12:30")},
            "ended_at",
            "“End” (Mon 2 March 12:30) lies in the future: it is Mon 2 March 12:00.",
            id="end in the future",
        ),
        pytest.param(
            {"started_at": at("09:00"), "repaired_at": at("12:30")},
            "repaired_at",
            "“Repaired” (Mon 2 March 12:30) lies in the future",
            id="repaired in the future",
        ),
        pytest.param(
            {
                "started_at": at("09:00"),
                "arrived_at": at("09:20"),
                "repaired_at": at("09:10"),
            },
            "repaired_at",
            "“Repaired” (Mon 2 March 09:10) lies before “arrived” (Mon 2 March 09:20)",
            id="timeline out of order",
        ),
        pytest.param(
            {"started_at": at("09:00"), "called_at": at("08:59")},
            "called_at",
            "“Called” (Mon 2 March 08:59) lies before “start” (Mon 2 March 09:00)",
            id="called before it stopped",
        ),
        pytest.param(
            {
                "started_at": at("09:00"),
                "cause_found_at": at("09:10"),
                "repaired_at": at("09:20"),
                "parts_wait_s": 601,
            },
            "parts_wait_s",
            "The wait for parts (10 min) is longer than the repair it is part of "
            "(10 min",
            id="waited longer than repaired",
        ),
        pytest.param(
            {"started_at": at("09:00"), "position": "R99"},
            "position",
            "Cell L1-10 has no position “R99”: choose one of its own (GATE1, R01)",
            id="unknown position",
        ),
    ],
)
def test_what_cannot_be_true_of_a_stop_is_refused(
    cast, reasons, facts, field, sentence
):
    with pytest.raises(ValidationError) as fault:
        stops.log_stop(
            cell=cast.cells[0], reason=reasons.stuck, by=cast.people.leader, **facts
        )

    assert sentence in said(fault, field)
    assert not Stop.objects.exists()
    assert not StaleMark.objects.exists()
    assert not Change.objects.exists()


def test_a_planned_reason_is_refused(cast, reasons):
    with pytest.raises(ValidationError) as fault:
        a_stop(cast, reasons.meeting, "08:00", "08:20")
    assert "“meeting” is a reason for planned stops" in said(fault, "reason")


def test_a_retired_reason_is_refused(cast, reasons):
    with pytest.raises(ValidationError) as fault:
        a_stop(cast, reasons.old, "08:00", "08:20")
    assert "“old fault” is no longer used" in said(fault, "reason")


def test_a_stop_whose_reason_was_retired_since_can_still_be_corrected(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    reasons.stuck.retired_on = MONDAY
    reasons.stuck.save()

    stops.correct_stop(
        stop=stop,
        changes={"ended_at": at("08:30")},
        why="watch was slow",
        by=cast.people.leader,
    )

    assert Stop.objects.get().ended_at == at("08:30")


def test_a_retired_cell_is_refused_from_that_date_on(cast, reasons):
    cell = cast.cells[0]
    cell.retired_on = MONDAY
    cell.save()

    with pytest.raises(ValidationError) as fault:
        a_stop(cast, reasons.stuck, "08:00", "08:20")

    assert "Cell L1-10 is out of use since 2026-03-02" in said(fault, "cell")


def test_two_running_stops_of_one_cell_and_reason_are_refused(cast, reasons):
    stops.start_stop(cell=cast.cells[0], reason=reasons.stuck, by=cast.people.leader)

    with pytest.raises(ValidationError) as fault:
        stops.start_stop(
            cell=cast.cells[0], reason=reasons.stuck, by=cast.people.leader
        )

    assert "already has a running stop “stuck tip”" in said(fault, "reason")
    assert "end that one first" in said(fault, "reason")
    assert Stop.objects.count() == 1


def test_two_running_stops_with_different_reasons_may_be(cast, reasons):
    stops.start_stop(cell=cast.cells[0], reason=reasons.stuck, by=cast.people.leader)
    stops.start_stop(cell=cast.cells[0], reason=reasons.blocked, by=cast.people.leader)
    assert Stop.objects.running().count() == 2


@pytest.mark.parametrize(
    ("start", "end"),
    [
        pytest.param("08:10", "08:30", id="begins inside"),
        pytest.param("07:50", "08:01", id="ends inside"),
        pytest.param("07:00", "09:00", id="around"),
        pytest.param("08:05", "08:06", id="within"),
        pytest.param("08:19", None, id="running from inside"),
        pytest.param("07:00", None, id="running from before"),
    ],
)
def test_overlapping_stops_of_one_cell_and_reason_are_refused_naming_the_other(
    cast, reasons, start, end
):
    a_stop(cast, reasons.stuck, "08:00", "08:20")

    with pytest.raises(ValidationError) as fault:
        a_stop(cast, reasons.stuck, start, end)

    sentence = said(fault, "started_at")
    assert "from Mon 2 March 08:00 to Mon 2 March 08:20" in sentence
    assert "correct that one" in sentence


def test_a_stop_that_begins_where_the_last_one_ended_is_another_stop(cast, reasons):
    a_stop(cast, reasons.stuck, "08:00", "08:20")
    a_stop(cast, reasons.stuck, "08:20", "08:30")
    a_stop(cast, reasons.stuck, "07:50", "08:00")
    assert Stop.objects.count() == 3


def test_a_stop_of_more_than_a_month_is_asked_about_and_then_kept_as_entered(
    cast, reasons
):
    facts = {
        "cell": cast.cells[0],
        "reason": reasons.stuck,
        "started_at": at("08:00") - timedelta(days=32),
        "ended_at": at("08:00"),
        "by": cast.people.admin,
    }
    with pytest.raises(ValidationError) as fault:
        stops.log_stop(**facts)
    assert "longer than 31 days" in said(fault, "ended_at")

    stop = stops.log_stop(**facts, long_ok=True)
    assert stop.ended_at - stop.started_at == timedelta(days=32)


def test_a_running_stop_that_began_long_ago_is_asked_about(cast, reasons):
    with pytest.raises(ValidationError) as fault:
        stops.log_stop(
            cell=cast.cells[0],
            reason=reasons.stuck,
            started_at=NOW - timedelta(days=32),
            by=cast.people.leader,
        )
    assert "is it still running?" in said(fault, "started_at")


def test_one_tap_starts_and_ends_a_stop(cast, reasons, monday_noon):
    stop = stops.start_stop(
        cell=cast.cells[0], reason=reasons.stuck, by=cast.people.leader
    )
    monday_noon.move_to(at("12:07"))
    stops.end_stop(stop=stop, by=cast.people.leader)

    stored = Stop.objects.get()
    assert (stored.started_at, stored.ended_at) == (NOW, at("12:07"))
    assert trail_of(stop)[-1] == ("ended_at", "", z(at("12:07")), "")


def test_a_stop_ends_once(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    with pytest.raises(ValidationError) as fault:
        stops.end_stop(stop=stop, by=cast.people.leader)
    assert "ended at Mon 2 March 08:20 already" in said(fault)


def test_ending_a_stop_that_was_carried_over_marks_every_shift_it_touched(
    cast, reasons, monday_noon
):
    stop = a_stop(cast, reasons.stuck, "08:00", None)
    StaleMark.objects.all().delete()
    monday_noon.move_to(at("14:30"))

    stops.end_stop(stop=stop, by=cast.people.leader)

    assert marked() == [("L1-10", "Early"), ("L1-10", "Late")]


@pytest.mark.parametrize("which", stops.MOMENTS)
def test_one_tap_records_a_moment_of_the_repair(cast, reasons, which):
    stop = a_stop(cast, reasons.stuck, "08:00", None)
    StaleMark.objects.all().delete()

    stops.record_moment(stop=stop, which=which, by=cast.people.technician)

    assert getattr(Stop.objects.get(), which) == NOW
    assert trail_of(stop)[-1] == (which, "", z(NOW), "")
    # The ledger does not ask when a technician came.
    assert marked() == []


def test_a_moment_is_recorded_once(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", None, called_at=at("08:05"))
    with pytest.raises(ValidationError) as fault:
        stops.record_moment(stop=stop, which="called_at", by=cast.people.technician)
    assert "“Called” is recorded at Mon 2 March 08:05 already" in said(fault)


def test_no_other_field_passes_as_a_moment(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", None)
    with pytest.raises(TypeError, match="ended_at"):
        stops.record_moment(stop=stop, which="ended_at", by=cast.people.admin)


def test_a_correction_keeps_old_new_and_why(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")

    stops.correct_stop(
        stop=stop,
        changes={"ended_at": at("08:25"), "reason": reasons.jam, "note": ""},
        why="read the wrong clock",
        by=cast.people.leader,
    )

    assert set(trail_of(stop)[1:]) == {
        ("ended_at", z(at("08:20")), z(at("08:25")), "read the wrong clock"),
        ("reason", "stuck tip", "skid jam", "read the wrong clock"),
    }


def test_a_correction_needs_a_why(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    with pytest.raises(ValidationError) as fault:
        stops.correct_stop(
            stop=stop,
            changes={"ended_at": at("08:25")},
            why=" ",
            by=cast.people.leader,
        )
    assert "Say why" in said(fault, "why")
    assert Stop.objects.get().ended_at == at("08:20")


def test_a_correction_marks_old_and_new_shifts_of_old_and_new_cells(
    cast, reasons, monday_noon
):
    monday_noon.move_to(at("16:00"))
    stop = a_stop(cast, reasons.stuck, "13:00", "13:30")
    StaleMark.objects.all().delete()

    stops.correct_stop(
        stop=stop,
        changes={
            "cell": cast.cells[1],
            "started_at": at("15:00"),
            "ended_at": at("15:30"),
        },
        why="other cell, later",
        by=cast.people.leader,
    )

    assert marked() == [("L1-10", "Early"), ("L1-20", "Late")]


def test_a_corrected_note_marks_nothing(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    StaleMark.objects.all().delete()
    stops.correct_stop(
        stop=stop, changes={"note": "again"}, why="more", by=cast.people.leader
    )
    assert marked() == []


def test_a_correction_does_not_write_over_what_another_saved(cast, reasons):
    seen_by_first = a_stop(cast, reasons.stuck, "08:00", "08:20")
    seen_by_second = Stop.objects.get()

    stops.correct_stop(
        stop=seen_by_first,
        changes={"ended_at": at("08:25")},
        why="first",
        by=cast.people.leader,
    )
    stops.correct_stop(
        stop=seen_by_second,
        changes={"note": "hot"},
        why="second",
        by=cast.people.leader,
    )

    stored = Stop.objects.get()
    assert (stored.ended_at, stored.note) == (at("08:25"), "hot")


def test_a_withdrawn_stop_stays_readable_and_marks_what_it_touched(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    StaleMark.objects.all().delete()

    stops.withdraw_stop(stop=stop, why="was the cell beside", by=cast.people.leader)

    assert Stop.objects.get().withdrawn
    assert not Stop.objects.standing().exists()
    assert marked() == [("L1-10", "Early")]
    assert trail_of(stop)[-1] == ("withdrawn", "no", "yes", "was the cell beside")


def test_a_withdrawn_stop_makes_room_and_is_not_corrected(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    stops.withdraw_stop(stop=stop, why="mistake", by=cast.people.leader)
    a_stop(cast, reasons.stuck, "08:10", "08:30")

    with pytest.raises(ValidationError) as fault:
        stops.correct_stop(
            stop=stop, changes={"note": "x"}, why="x", by=cast.people.leader
        )
    assert "withdrawn: reinstate it first" in said(fault)


def test_a_withdrawn_stop_comes_back_with_a_reason(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    stops.withdraw_stop(stop=stop, why="mistake", by=cast.people.leader)
    StaleMark.objects.all().delete()

    stops.reinstate_stop(stop=stop, why="it was right", by=cast.people.leader)

    assert Stop.objects.standing().exists()
    assert marked() == [("L1-10", "Early")]


def test_a_withdrawn_stop_does_not_come_back_onto_another(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    stops.withdraw_stop(stop=stop, why="mistake", by=cast.people.leader)
    a_stop(cast, reasons.stuck, "08:10", "08:30")

    with pytest.raises(ValidationError) as fault:
        stops.reinstate_stop(stop=stop, why="it was right", by=cast.people.leader)
    assert "already has a stop" in said(fault, "started_at")


def test_an_import_has_no_rights_to_ask_for(cast, reasons):
    stop = stops.log_stop(
        cell=cast.cells[0],
        reason=reasons.stuck,
        started_at=at("08:00") - timedelta(days=100),
        ended_at=at("08:20") - timedelta(days=100),
        by=None,
        door="import",
    )
    assert Change.objects.get(record_id=stop.pk).door == "import"


def test_nobody_moves_a_stop_to_where_they_could_not_have_logged_it(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    long_ago = {
        "started_at": at("08:00") - timedelta(days=3),
        "ended_at": at("08:20") - timedelta(days=3),
    }
    with pytest.raises(PermissionDenied, match="until 24 h after"):
        stops.correct_stop(
            stop=stop, changes=long_ago, why="earlier", by=cast.people.leader
        )
    with pytest.raises(PermissionDenied, match="its area"):
        stops.correct_stop(
            stop=stop,
            changes={"cell": cast.other_cell},
            why="other",
            by=cast.people.leader,
        )
