"""Patterns, days off and one-off shifts, and the stored shifts that follow them."""

from datetime import date, datetime, time

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from cells import calendar
from cells.calendar import PatternFacts
from cells.models import Area, Change, DayOff, Line, OneOffShift, Shift, ShiftPattern
from tests.builders import MONDAY, TUESDAY, Cast, at

pytestmark = pytest.mark.django_db

WEDNESDAY = date(2026, 3, 4)
SATURDAY = date(2026, 3, 7)
NIGHT = PatternFacts("Night", "mon-fri", time(22), time(6), "02:00-02:30")


def add(cast: Cast, facts: PatternFacts = NIGHT, **given: object) -> ShiftPattern:
    places: dict[str, Area | Line | None] = {"area": cast.area, "line": None}
    return calendar.add_pattern(
        **{**places, "valid_from": TUESDAY, "by": cast.people.planner, **given},
        facts=facts,
    )


def names_on(line: Line, day: date) -> list[str]:
    shifts = Shift.objects.worked().filter(line=line, production_date=day)
    return [shift.name for shift in shifts]


def test_a_new_pattern_stores_its_shifts_up_to_the_horizon(cast: Cast) -> None:
    add(cast)

    nights = Shift.objects.filter(line=cast.line, name="Night")
    assert nights.earliest("production_date").production_date == TUESDAY
    assert nights.latest("production_date").production_date == date(2026, 4, 27)
    assert not Shift.objects.filter(line=cast.other_line, name="Night").exists()
    trail = Change.objects.get(kind="shiftpattern")
    assert (trail.by, trail.new) == (cast.people.planner, "entered")


def test_a_pattern_of_the_past_makes_the_shifts_of_the_past(cast: Cast) -> None:
    add(cast, valid_from=date(2026, 1, 5))

    assert names_on(cast.line, date(2026, 1, 5)) == ["Early", "Late", "Night"]
    assert names_on(cast.line, date(2026, 1, 2)) == []


def test_overlapping_shifts_are_refused_with_both_named(cast: Cast) -> None:
    facts = PatternFacts("Extra", "wed", time(13), time(15), "")

    with pytest.raises(ValidationError) as refused:
        add(cast, facts)

    sentence = refused.value.messages[0]
    assert "Early (2026-03-04 06:00 to 2026-03-04 14:00)" in sentence
    assert "Extra (2026-03-04 13:00 to 2026-03-04 15:00)" in sentence
    assert not ShiftPattern.objects.filter(name="Extra").exists()
    assert not Shift.objects.filter(name="Extra").exists()


def test_an_overlap_beyond_the_horizon_is_refused_today(cast: Cast) -> None:
    facts = PatternFacts("Extra", "wed", time(13), time(15), "")

    with pytest.raises(ValidationError, match="overlap"):
        add(cast, facts, valid_from=date(2027, 3, 1))


@pytest.mark.parametrize(
    ("facts", "field", "sentence"),
    [
        (
            NIGHT._replace(weekdays="mo-fr"),
            "weekdays",
            "'mo-fr' in 'mo-fr' is not a day",
        ),
        (NIGHT._replace(breaks="02:00"), "breaks", "'02:00' in '02:00' is not a break"),
        (
            NIGHT._replace(breaks="07:00-07:10"),
            "breaks",
            "does not lie within the shift",
        ),
    ],
)
def test_what_cannot_be_a_pattern_is_refused_by_field(
    cast: Cast, facts: PatternFacts, field: str, sentence: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        add(cast, facts)
    assert sentence in refused.value.message_dict[field][0]


@pytest.mark.parametrize("name", ["a/b", "=A1", " x", ""])
def test_a_shifts_name_must_fit_in_an_address_and_a_file(cast: Cast, name: str) -> None:
    with pytest.raises(ValidationError) as refused:
        add(cast, NIGHT._replace(name=name))
    assert "name" in refused.value.message_dict


def test_a_pattern_of_decades_ago_is_a_slip_of_the_keys(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="more than 10 years back: check the"):
        add(cast, valid_from=date(2006, 3, 2))


def test_a_line_of_another_area_is_refused(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="Line P1 belongs to area PAINT"):
        add(cast, line=cast.other_line)


def test_a_lines_own_patterns_replace_all_of_its_areas_from_their_date_on(
    cast: Cast,
) -> None:
    add(cast)
    day = PatternFacts("Day", "mon-fri", time(7), time(15), "")

    add(cast, day, line=cast.line, valid_from=WEDNESDAY)

    assert names_on(cast.line, TUESDAY) == ["Early", "Late", "Night"]
    assert names_on(cast.line, WEDNESDAY) == ["Day"]


def test_a_change_leaves_what_was_before_its_date(cast: Cast) -> None:
    night = add(cast)

    changed = calendar.change_pattern(
        pattern=night,
        facts=NIGHT._replace(start=time(23)),
        from_date=WEDNESDAY,
        by=cast.people.planner,
        why="later start",
    )

    starts = {
        shift.production_date: shift.starts_at
        for shift in Shift.objects.filter(name="Night", line=cast.line)
    }
    assert starts[TUESDAY] == at("22:00", TUESDAY)
    assert starts[WEDNESDAY] == at("23:00", WEDNESDAY)
    night.refresh_from_db()
    assert (night.valid_to, changed.valid_from) == (TUESDAY, WEDNESDAY)
    assert Change.objects.get(field="valid_to").why == "later start"


def test_a_change_from_the_first_day_corrects_the_pattern_itself(cast: Cast) -> None:
    night = add(cast)

    changed = calendar.change_pattern(
        pattern=night,
        facts=NIGHT._replace(start=time(23)),
        from_date=TUESDAY,
        by=cast.people.planner,
        why="typing error",
    )

    assert changed.pk == night.pk
    assert ShiftPattern.objects.filter(name="Night").count() == 1
    change = Change.objects.get(field="start")
    assert (change.old, change.new) == ("22:00:00", "23:00:00")


def test_a_change_outside_the_patterns_time_is_refused(cast: Cast) -> None:
    night = add(cast)
    with pytest.raises(ValidationError, match="holds from 2026-03-03 on: give a date"):
        calendar.change_pattern(
            pattern=night,
            facts=NIGHT,
            from_date=MONDAY,
            by=cast.people.planner,
            why="?",
        )


def test_an_ended_pattern_gives_no_later_shifts(cast: Cast) -> None:
    night = add(cast)

    calendar.end_pattern(
        pattern=night, last_day=WEDNESDAY, by=cast.people.planner, why="no night"
    )

    nights = Shift.objects.filter(name="Night", line=cast.line)
    assert [shift.production_date for shift in nights] == [TUESDAY, WEDNESDAY]


def test_a_removed_pattern_stays_in_the_trail(cast: Cast) -> None:
    night = add(cast)

    calendar.remove_pattern(pattern=night, by=cast.people.planner, why="wrong area")

    assert not Shift.objects.filter(name="Night").exists()
    gone = Change.objects.get(new="removed")
    assert "weekdays mon-fri" in gone.old
    assert gone.why == "wrong area"


def test_a_day_off_of_the_plant_empties_the_day_everywhere(cast: Cast) -> None:
    add(cast)

    day_off = calendar.add_day_off(
        on=WEDNESDAY, area=None, line=None, name="Holiday", by=cast.people.planner
    )
    assert names_on(cast.line, WEDNESDAY) == []

    calendar.remove_day_off(day_off=day_off, by=cast.people.planner, why="moved")
    assert names_on(cast.line, WEDNESDAY) == ["Early", "Late", "Night"]
    assert not DayOff.objects.exists()


def test_the_same_day_off_twice_is_refused(cast: Cast) -> None:
    entry = {"on": WEDNESDAY, "area": cast.area, "line": None, "name": "Off"}
    calendar.add_day_off(**entry, by=cast.people.planner)
    with pytest.raises(ValidationError, match="already a day off"):
        calendar.add_day_off(**entry, by=cast.people.planner)


def one_off(
    cast: Cast, name: str, starts_at: datetime, ends_at: datetime
) -> OneOffShift:
    return calendar.set_one_off_shift(
        area=cast.area,
        line=cast.line,
        name=name,
        starts_at=starts_at,
        ends_at=ends_at,
        by=cast.people.planner,
    )


def test_overtime_holds_on_a_day_without_a_pattern(cast: Cast) -> None:
    one_off(cast, "Early", at("06:00", SATURDAY), at("12:00", SATURDAY))
    assert names_on(cast.line, SATURDAY) == ["Early"]


def test_a_one_off_stands_in_for_the_patterns_shift_and_gives_it_back(
    cast: Cast,
) -> None:
    overtime = one_off(cast, "Late", at("14:00", TUESDAY), at("23:00", TUESDAY))
    assert Shift.objects.get(name="Late", production_date=TUESDAY).ends_at == at(
        "23:00", TUESDAY
    )

    calendar.remove_one_off_shift(
        one_off=overtime, by=cast.people.planner, why="not needed"
    )
    assert Shift.objects.get(name="Late", production_date=TUESDAY).ends_at == at(
        "22:00", TUESDAY
    )


def test_a_one_off_entered_again_is_changed(cast: Cast) -> None:
    first = one_off(cast, "Late", at("14:00", TUESDAY), at("23:00", TUESDAY))
    again = one_off(cast, "Late", at("14:00", TUESDAY), at("20:00", TUESDAY))

    assert again.pk == first.pk
    change = Change.objects.get(kind="oneoffshift", field="ends_at")
    assert change.new == "2026-03-03T19:00:00Z"


def test_a_one_off_without_length_cancels(cast: Cast) -> None:
    one_off(cast, "Late", at("14:00", TUESDAY), at("14:00", TUESDAY))
    assert names_on(cast.line, TUESDAY) == ["Early"]


def test_cancelling_a_shift_that_is_not_planned_is_refused(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="No pattern has a shift named Lunch"):
        one_off(cast, "Lunch", at("14:00", TUESDAY), at("14:00", TUESDAY))


def test_a_one_off_that_ends_before_it_starts_is_refused(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="would end before it starts"):
        one_off(cast, "Late", at("14:00", TUESDAY), at("13:00", TUESDAY))


@pytest.mark.parametrize("who", ["leader", "area_manager", "plant_manager", "reader"])
def test_only_a_planner_edits_the_calendar(cast: Cast, who: str) -> None:
    with pytest.raises(PermissionDenied, match="Only a planner edits the calendar"):
        add(cast, by=getattr(cast.people, who))
