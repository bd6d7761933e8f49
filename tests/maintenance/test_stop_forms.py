"""Where text becomes moments and seconds, both clock changes included.

Europe/Berlin: on 29 March 2026 02:00 CET becomes 03:00 CEST, on 25 October 2026
03:00 CEST becomes 02:00 CET. (IANA time zone data.)
"""

from datetime import UTC, date, datetime

import pytest

from maintenance.forms.stops import CorrectStopForm, StopInShiftForm
from maintenance.forms.tallies import CorrectTallyForm, TallyForm
from maintenance.stops import FACTS, log_stop
from maintenance.tallies import log_tally
from tests.builders import at, make_shift
from tests.maintenance.stop_cast import a_stop

SPRING, AUTUMN = date(2026, 3, 28), date(2026, 10, 24)
FIRST = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)  # 02:30 CEST
SECOND = datetime(2026, 10, 25, 1, 30, tzinfo=UTC)  # 02:30 CET


def in_shift(shift, cell, reason, **data) -> StopInShiftForm:
    return StopInShiftForm({"reason": reason.pk, **data}, shift=shift, cell=cell)


def night_of(cast, on):
    return make_shift(cast.line, "Night", on=on, start="22:00", end="06:00", breaks="")


def test_clock_times_are_moments_of_the_shift(cast, reasons):
    form = in_shift(
        cast.early,
        cast.cells[0],
        reasons.stuck,
        started_at="08:00",
        ended_at="08:20",
        position="R01",
        note="hot",
    )
    assert form.is_valid(), form.errors
    assert form.facts() == {
        "cell": cast.cells[0],
        "reason": reasons.stuck,
        "started_at": at("08:00"),
        "ended_at": at("08:20"),
        "position": "R01",
        "note": "hot",
    }
    log_stop(by=cast.people.leader, **form.facts())


def test_without_an_end_it_is_a_running_stop(cast, reasons):
    form = in_shift(cast.early, cast.cells[0], reasons.stuck, started_at="08:00")
    assert form.is_valid(), form.errors
    assert form.facts()["ended_at"] is None


def test_without_a_cell_any_of_the_area_can_be_chosen(cast, reasons):
    data = {"cell": cast.cells[1].pk, "reason": reasons.stuck.pk, "started_at": "08:00"}
    form = StopInShiftForm(data, shift=cast.early)
    assert form.is_valid(), form.errors
    assert form.facts()["cell"] == cast.cells[1]
    other = StopInShiftForm({**data, "cell": cast.other_cell.pk}, shift=cast.early)
    assert "cell" in other.errors


def test_a_night_shift_finds_the_date_by_itself(cast, reasons):
    night = night_of(cast, date(2026, 3, 2))
    form = in_shift(
        night, cast.cells[0], reasons.stuck, started_at="23:50", ended_at="06:00"
    )
    assert form.is_valid(), form.errors
    assert form.facts()["started_at"] == at("23:50", date(2026, 3, 2))
    assert form.facts()["ended_at"] == at("06:00", date(2026, 3, 3))


@pytest.mark.parametrize(
    ("data", "field", "sentence"),
    [
        pytest.param(
            {"started_at": "05:59"},
            "started_at",
            "05:59 lies outside the shift, 06:00 to 14:00",
            id="before",
        ),
        pytest.param(
            {"started_at": "14:00"},
            "started_at",
            "lies outside",
            id="starts at its end",
        ),
        pytest.param(
            {"started_at": "08:00", "ended_at": "06:00"},
            "ended_at",
            "lies outside",
            id="ends at its start",
        ),
        pytest.param(
            {"started_at": "25:00"}, "started_at", "does not exist", id="no such hour"
        ),
        pytest.param(
            {"started_at": "eight"}, "started_at", "not a time of day", id="words"
        ),
        pytest.param({}, "started_at", "From is empty: fill it in.", id="nothing"),
    ],
)
def test_other_times_are_refused(cast, reasons, data, field, sentence):
    form = in_shift(cast.early, cast.cells[0], reasons.stuck, **data)
    assert sentence in " ".join(form.errors[field])


def test_a_stop_may_end_with_the_shift(cast, reasons):
    form = in_shift(
        cast.early, cast.cells[0], reasons.stuck, started_at="13:50", ended_at="14:00"
    )
    assert form.is_valid(), form.errors


def test_an_hour_that_comes_twice_is_asked_about(cast, reasons):
    night = night_of(cast, AUTUMN)
    data = {"started_at": "01:50", "ended_at": "02:30"}
    asked = in_shift(night, cast.cells[0], reasons.stuck, **data)
    assert "02:30 comes twice in this shift" in " ".join(asked.errors["ended_at"])
    choices = asked.fields["ended_at_which"].choices
    assert [label[:10] for _, label in choices] == ["02:30 CEST", "02:30 CET "]
    assert "started_at_which" not in asked.fields

    for (value, _), moment in zip(choices, (FIRST, SECOND), strict=True):
        answered = in_shift(
            night, cast.cells[0], reasons.stuck, **data, ended_at_which=value
        )
        assert answered.is_valid(), answered.errors
        assert answered.facts()["ended_at"] == moment


def test_an_answer_that_was_not_offered_is_no_answer(cast, reasons):
    night = night_of(cast, AUTUMN)
    form = in_shift(
        night,
        cast.cells[0],
        reasons.stuck,
        started_at="02:30",
        started_at_which="2026-10-25T05:00:00+00:00",
    )
    assert "comes twice" in " ".join(form.errors["started_at"])


def test_an_hour_that_was_skipped_is_refused_with_what_it_could_be(cast, reasons):
    night = night_of(cast, SPRING)
    form = in_shift(night, cast.cells[0], reasons.stuck, started_at="02:30")
    assert "does not exist" in " ".join(form.errors["started_at"])
    assert len(form.fields["started_at_which"].choices) == 2


def test_the_correction_form_keeps_the_second_of_two_equal_times(
    cast, reasons, monday_noon
):
    monday_noon.move_to(datetime(2026, 10, 25, 5, tzinfo=UTC))
    night_of(cast, AUTUMN)
    stop = log_stop(
        cell=cast.cells[0],
        reason=reasons.stuck,
        started_at=SECOND,
        ended_at=datetime(2026, 10, 25, 2, 30, tzinfo=UTC),
        by=cast.people.leader,
    )
    shown = CorrectStopForm(stop=stop, may_change=FACTS)
    assert shown.fields["started_at_which"].initial == SECOND.isoformat()
    sent = {
        "cell": stop.cell_id,
        "reason": stop.reason_id,
        "started_at": "2026-10-25T02:30:00",
        "ended_at": "2026-10-25T03:30:00",
        "why": "x",
    }

    asked = CorrectStopForm(sent, stop=stop, may_change=FACTS)
    same = CorrectStopForm(
        {**sent, "started_at_which": SECOND.isoformat()}, stop=stop, may_change=FACTS
    )
    moved = CorrectStopForm(
        {**sent, "started_at_which": FIRST.isoformat()}, stop=stop, may_change=FACTS
    )

    assert "happens twice" in " ".join(asked.errors["started_at"])
    assert same.is_valid(), same.errors
    assert same.facts()["changes"] == {}
    assert moved.is_valid(), moved.errors
    assert moved.facts()["changes"] == {"started_at": FIRST}


def test_the_correction_form_offers_only_what_may_change(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    form = CorrectStopForm(stop=stop, may_change=("cause",))
    visible = [field.name for field in form.visible_fields()]
    assert visible == ["cause", "why"]


def test_a_reason_or_cell_retired_since_can_stay(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    reasons.stuck.retired_on = stop.cell.retired_on = date(2026, 3, 2)
    reasons.stuck.save()
    stop.cell.save()
    form = CorrectStopForm(stop=stop, may_change=FACTS)
    assert reasons.stuck in form.fields["reason"].queryset
    assert reasons.old not in form.fields["reason"].queryset
    assert stop.cell in form.fields["cell"].queryset


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("9", 540), ("9.5", 570), ("9,5", 570), ("9:05", 545), ("0", 0), ("0.25", 15)],
)
def test_minutes_become_seconds(cast, reasons, text, seconds):
    data = {"reason": reasons.jam.pk, "times": "7", "seconds": text}
    form = TallyForm(data, shift=cast.early, cell=cast.cells[0])
    assert form.is_valid(), form.errors
    assert form.facts() == {
        "cell": cast.cells[0],
        "shift": cast.early,
        "reason": reasons.jam,
        "times": 7,
        "seconds": seconds,
    }


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("nine", "“nine” is not a number of minutes"),
        ("-9", "“-9” is not a number of minutes"),
        ("9:75", "is not a number of minutes"),
        ("9.33", "no whole number of seconds: write it like 9:20"),
        ("99999999", "is not a number of minutes"),
    ],
)
def test_what_is_no_number_of_minutes_is_refused(cast, reasons, text, sentence):
    data = {"reason": reasons.jam.pk, "times": "7", "seconds": text}
    form = TallyForm(data, shift=cast.early, cell=cast.cells[0])
    assert sentence in " ".join(form.errors["seconds"])


def test_a_tally_is_of_a_cell_of_the_line(cast, reasons):
    form = TallyForm(shift=cast.early)
    assert list(form.fields["cell"].queryset) == cast.cells


def test_a_tally_is_shown_for_correction_as_it_stands(cast, reasons):
    tally = log_tally(
        cell=cast.cells[0],
        shift=cast.early,
        reason=reasons.jam,
        times=7,
        seconds=545,
        by=cast.people.leader,
    )
    assert 'value="9:05"' in str(CorrectTallyForm(tally=tally)["seconds"])
    form = CorrectTallyForm(
        {"reason": reasons.jam.pk, "times": "8", "seconds": "10", "why": "one more"},
        tally=tally,
    )
    assert form.is_valid(), form.errors
    assert form.changes() == {"reason": reasons.jam, "times": 8, "seconds": 600}
