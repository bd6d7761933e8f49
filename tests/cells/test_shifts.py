"""Stored shifts: made, altered, cancelled, and the marks that this leaves."""

from datetime import date, timedelta

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError

from cells import jobs, shifts
from cells.models import Change, Line, Shift, ShiftBreak, StaleMark, WorkedBreak
from cells.moments import to_seconds
from tests import builders
from tests.builders import MONDAY, TUESDAY, Cast, at

pytestmark = pytest.mark.django_db


def hours(shift: Shift) -> float:
    return (to_seconds(shift.ends_at) - to_seconds(shift.starts_at)) / 3600


def materialise(line: Line, first: date, last: date) -> shifts.Outcome:
    return shifts.materialise(lines=[line], first=first, last=last)


def test_patterns_become_shifts_with_breaks_and_marks(cast: Cast) -> None:
    outcome = materialise(cast.line, TUESDAY, TUESDAY)

    early, late = Shift.objects.filter(line=cast.line, production_date=TUESDAY)
    assert (early.name, late.name) == ("Early", "Late")
    assert early.starts_at == at("06:00", TUESDAY)
    assert [rest.starts_at for rest in early.breaks.all()] == [
        at("09:00", TUESDAY),
        at("11:30", TUESDAY),
    ]
    assert outcome.created == [early.pk, late.pk]
    marked = set(StaleMark.objects.values_list("cell", "shift"))
    assert marked == {
        (cell.pk, shift.pk) for cell in cast.cells for shift in (early, late)
    }


def test_doing_it_twice_changes_nothing(cast: Cast) -> None:
    materialise(cast.line, MONDAY, TUESDAY)
    rows = list(Shift.objects.order_by("pk").values())
    marks = StaleMark.objects.count()

    outcome = materialise(cast.line, MONDAY, TUESDAY)

    assert outcome == shifts.Outcome()
    assert list(Shift.objects.order_by("pk").values()) == rows
    assert StaleMark.objects.count() == marks


def test_only_a_shift_that_changes_is_marked(cast: Cast) -> None:
    late = cast.patterns[1]
    late.end = late.end.replace(hour=21)
    late.save()

    outcome = materialise(cast.line, MONDAY, MONDAY)

    assert outcome.altered == [cast.late.pk]
    assert set(StaleMark.objects.values_list("shift", flat=True)) == {cast.late.pk}
    cast.late.refresh_from_db()
    assert hours(cast.late) == 7
    change = Change.objects.get(kind="shift", field="ends_at")
    assert (change.old, change.new) == ("2026-03-02T21:00:00Z", "2026-03-02T20:00:00Z")


def test_a_moved_break_alters_its_shift(cast: Cast) -> None:
    cast.patterns[1].breaks = "18:15-18:45"
    cast.patterns[1].save()

    outcome = materialise(cast.line, MONDAY, MONDAY)

    assert outcome.altered == [cast.late.pk]
    [rest] = cast.late.breaks.all()
    assert (rest.starts_at, rest.ends_at) == (at("18:15"), at("18:45"))


def test_a_shift_that_falls_out_goes_when_nothing_hangs_on_it(cast: Cast) -> None:
    cast.patterns[1].delete()

    outcome = materialise(cast.line, MONDAY, MONDAY)

    assert outcome.deleted == [cast.late.pk]
    assert not Shift.objects.filter(pk=cast.late.pk).exists()


def test_a_shift_that_falls_out_stays_without_length_when_something_does(
    cast: Cast,
) -> None:
    WorkedBreak.objects.create(
        cell=cast.cells[0], shift=cast.late, break_start=at("18:00")
    )
    cast.patterns[1].delete()

    outcome = materialise(cast.line, MONDAY, MONDAY)

    cast.late.refresh_from_db()
    assert outcome.cancelled == [cast.late.pk]
    assert cast.late.is_cancelled
    assert not ShiftBreak.objects.filter(shift=cast.late).exists()
    assert StaleMark.objects.filter(shift=cast.late).count() == 3
    assert materialise(cast.line, MONDAY, MONDAY) == shifts.Outcome()


def test_a_cancelled_shift_that_is_planned_again_comes_back(cast: Cast) -> None:
    shift = cast.early
    shift.ends_at = shift.starts_at
    shift.save()
    shift.breaks.all().delete()

    outcome = materialise(cast.line, MONDAY, MONDAY)

    shift.refresh_from_db()
    assert outcome.altered == [shift.pk]
    assert hours(shift) == 8
    assert shift.breaks.count() == 2


@pytest.mark.parametrize(
    ("sunday", "length"),
    [
        # The clocks of Europe/Berlin change on these Sundays (MEMORY: the last
        # Sundays of March and October); 22:00 to 06:00 is 8 hours by the clock.
        pytest.param(date(2026, 3, 29), 7, id="the clocks go forward"),
        pytest.param(date(2026, 10, 25), 9, id="the clocks go back"),
        pytest.param(date(2026, 3, 22), 8, id="an ordinary night"),
    ],
)
def test_a_night_shift_is_as_long_as_the_night_was(
    cast: Cast, sunday: date, length: int
) -> None:
    saturday = sunday - timedelta(days=1)
    builders.make_pattern(
        cast.area, "Night", start="22:00", end="06:00", breaks="", weekdays="sat"
    )

    materialise(cast.line, saturday, sunday)

    assert hours(Shift.objects.get(name="Night")) == length


def test_shifts_are_stored_eight_weeks_ahead(cast: Cast) -> None:
    jobs.extend_shifts()

    last = Shift.objects.filter(line=cast.line).latest("production_date")
    # 56 days after Monday 2 March, 27 April, is a Monday again.
    assert last.production_date == date(2026, 4, 27)
    # 41 weekdays from 2 March to 27 April, both included, twice a day.
    assert Shift.objects.filter(line=cast.line).count() == 82


def test_the_job_fills_the_days_on_which_it_did_not_run(cast: Cast) -> None:
    jobs.extend_shifts()
    Shift.objects.filter(production_date__gt=TUESDAY).delete()

    with time_machine.travel(at("12:00", date(2026, 3, 12)), tick=False):
        jobs.extend_shifts()

    days = Shift.objects.filter(line=cast.line).dates("production_date", "day")
    assert date(2026, 3, 4) in days


def test_a_clash_on_one_line_holds_up_no_other(
    cast: Cast, caplog: pytest.LogCaptureFixture
) -> None:
    builders.make_pattern(
        cast.area, "Extra", start="13:00", end="15:00", breaks="", line=cast.line
    )
    builders.make_pattern(
        cast.area, "More", start="14:00", end="16:00", breaks="", line=cast.line
    )
    builders.make_pattern(cast.other_line.area, "Day", start="07:00", end="15:00")

    jobs.extend_shifts()

    assert "Line L1: Extra" in caplog.text
    assert "overlap" in caplog.text
    assert Shift.objects.filter(line=cast.other_line, name="Day").exists()


def test_bulk_work_asks_few_questions_of_the_database(
    cast: Cast, django_assert_max_num_queries: object
) -> None:
    lines = [cast.line] + [
        builders.make_line(f"L{number}", area=cast.area, order=number)
        for number in range(2, 12)
    ]
    with django_assert_max_num_queries(25):
        outcome = shifts.materialise(
            lines=lines, first=MONDAY, last=MONDAY + timedelta(days=55)
        )
    # 40 weekdays, two shifts, 11 lines, less the two that are there.
    assert len(outcome.created) == 40 * 2 * 11 - 2


def test_a_break_worked_through_marks_its_cell_only(cast: Cast) -> None:
    worked = shifts.work_through_break(
        cell=cast.cells[1],
        shift=cast.early,
        break_start=at("09:00"),
        by=cast.people.leader,
    )

    assert not worked.withdrawn
    mark = StaleMark.objects.get()
    assert (mark.cell, mark.shift) == (cast.cells[1], cast.early)
    assert Change.objects.get().by == cast.people.leader


def test_a_break_worked_through_can_be_withdrawn_and_entered_again(cast: Cast) -> None:
    entry = {
        "cell": cast.cells[1],
        "shift": cast.early,
        "break_start": at("09:00"),
        "by": cast.people.leader,
    }
    worked = shifts.work_through_break(**entry)
    shifts.withdraw_worked_break(worked=worked, by=cast.people.leader, why="not so")
    assert worked.withdrawn

    assert shifts.work_through_break(**entry).pk == worked.pk
    worked.refresh_from_db()
    assert not worked.withdrawn
    assert Change.objects.filter(field="withdrawn").count() == 2


def test_a_moment_that_is_no_break_cannot_be_worked_through(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="No break of shift L1 2026-03-02 Early"):
        shifts.work_through_break(
            cell=cast.cells[1],
            shift=cast.early,
            break_start=at("10:00"),
            by=cast.people.leader,
        )


def test_a_cell_of_another_line_has_no_part_in_the_shift(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="does not stand in line L1"):
        shifts.work_through_break(
            cell=cast.other_cell,
            shift=cast.early,
            break_start=at("09:00"),
            by=cast.people.planner,
        )


@pytest.mark.parametrize(
    ("who", "days_later", "may"),
    [
        ("leader", 0, True),
        ("leader", 2, False),
        ("stranger", 0, False),
        ("area_manager", 10, True),
        ("area_manager", 20, False),
        ("planner", 400, True),
        ("technician", 0, False),
    ],
)
def test_who_may_say_that_a_break_was_worked_through(
    cast: Cast, who: str, days_later: int, may: bool
) -> None:
    user = getattr(cast.people, who)
    with time_machine.travel(builders.NOW + timedelta(days=days_later), tick=False):
        assert shifts.may_mark_breaks(user, cast.early) == may
        if not may:
            with pytest.raises(PermissionDenied, match="The leader of line L1"):
                shifts.work_through_break(
                    cell=cast.cells[0],
                    shift=cast.early,
                    break_start=at("09:00"),
                    by=user,
                )
