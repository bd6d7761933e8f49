"""shift_patterns.csv, days_off.csv, shifts.csv and worked_breaks.csv."""

import pytest

from cells.models import Shift, WorkedBreak
from tests.plant_files import SMALL, and_rows, fault_texts, load_files, with_rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_frozen")]

PATTERNS = "shift_patterns.csv, line 4, column "
SHIFTS = "shifts.csv, line 3, column "
BREAKS = "worked_breaks.csv, line 3, column "

REFUSED = [
    pytest.param(
        and_rows(
            "shift_patterns.csv",
            "BODY,,Night,mon-thu,22:00,06:00,07:00-07:10,2026-03-02,,",
        ),
        PATTERNS + "breaks: The break 07:00-07:10 does not lie within the shift "
        "22:00-06:00: change one.",
        id="break-outside",
    ),
    pytest.param(
        and_rows(
            "shift_patterns.csv",
            "BODY,,Night,mon-thu,22:00,06:00,,2026-03-02,2026-03-01,",
        ),
        PATTERNS + "valid_to: 2026-03-01 lies before 2026-03-02, from which it is "
        "valid: change one.",
        id="valid-backwards",
    ),
    pytest.param(
        and_rows("shift_patterns.csv", "BODY,,Night,m-f,22:00,06:00,,2026-03-02,,"),
        PATTERNS + "weekdays: 'm-f' in 'm-f' is not a day or a range: write days like "
        "mon-fri or sat,sun.",
        id="weekdays",
    ),
    pytest.param(
        and_rows("shift_patterns.csv", "BODY,,Night,mon-thu,10pm,06:00,,2026-03-02,,"),
        PATTERNS + "start: '10pm' is not a time of day: write it like 06:00.",
        id="clock",
    ),
    pytest.param(
        and_rows("shift_patterns.csv", "BODY,L9,Night,mon,22:00,06:00,,2026-03-02,,"),
        PATTERNS + "line: No line has the code 'L9': write one of L1, L2, or add it to "
        "lines.csv.",
        id="unknown-line",
    ),
    pytest.param(
        and_rows("shift_patterns.csv", "BODY,,Mid,mon,13:00,15:00,,2026-03-02,,"),
        "shift_patterns.csv, line 4: Line L1: Early (2026-03-02 06:00 to 2026-03-02 "
        "14:00) and Mid (2026-03-02 13:00 to 2026-03-02 15:00) overlap: end the first "
        "before the second starts, or cancel one.",
        id="overlapping-patterns",
    ),
    pytest.param(
        and_rows("shifts.csv", "BODY,,Extra,2026-03-04T13:00,2026-03-04T15:00,"),
        "shifts.csv, line 3: Line L1: Early (2026-03-04 06:00 to 2026-03-04 14:00) and "
        "Extra (2026-03-04 13:00 to 2026-03-04 15:00) overlap: end the first before "
        "the second starts, or cancel one.",
        id="overlapping-one-off",
    ),
    pytest.param(
        and_rows("shifts.csv", "BODY,L1,Early,2026-03-08T10:00,2026-03-08T09:00,"),
        SHIFTS + "ends_at: Early would end before it starts: give a later end, or the "
        "start again to cancel the shift.",
        id="ends-before-it-starts",
    ),
    pytest.param(
        and_rows("shifts.csv", "BODY,L1,Erly,2026-03-09T06:00,2026-03-09T06:00,"),
        SHIFTS + "name: No pattern has a shift named Erly on 2026-03-09, so there is "
        "none to cancel: check the name and the date.",
        id="cancels-nothing",
    ),
    pytest.param(
        and_rows("shifts.csv", "BODY,L1,Early,2026-03-07T08:00,2026-03-07T10:00,"),
        SHIFTS + "starts_at: Lines 2 and 3 are both for L1 Early on 2026-03-07: keep "
        "one of them.",
        id="two-of-a-date",
    ),
    pytest.param(
        and_rows("shifts.csv", "BODY,L1,Early,2026-03-29T02:30,2026-03-29T08:00,"),
        SHIFTS + "starts_at: 2026-03-29 02:30 does not exist in Europe/Berlin, where "
        "the clocks went from 2026-03-29 02:00 to 2026-03-29 03:00: write "
        "2026-03-29T01:30+01:00 or 2026-03-29T03:30+02:00.",
        id="missing-time",
    ),
    pytest.param(
        and_rows("shifts.csv", "BODY,L1,Early,2026-10-25T02:30,2026-10-25T08:00,"),
        SHIFTS + "starts_at: 2026-10-25 02:30 happens twice in Europe/Berlin: write "
        "2026-10-25T02:30+02:00 or 2026-10-25T02:30+01:00.",
        id="ambiguous-time",
    ),
    pytest.param(
        and_rows("days_off.csv", "2026-03-06,,L2,again"),
        "days_off.csv, line 3, column date, area, line: Lines 2 and 3 are both for "
        "date '2026-03-06', area '', line 'L2': keep one of them.",
        id="day-off-twice",
    ),
    pytest.param(
        and_rows("days_off.csv", "2026-02-30,,,again"),
        "days_off.csv, line 3, column date: The day '2026-02-30' does not exist: check "
        "it.",
        id="no-such-day",
    ),
    pytest.param(
        and_rows("worked_breaks.csv", "L1-10,2026-03-02,Early,10:00"),
        BREAKS + "break_start: No break of shift L1 2026-03-02 Early starts then: its "
        "breaks start at 09:00, 11:30.",
        id="no-such-break",
    ),
    pytest.param(
        and_rows("worked_breaks.csv", "L1-10,2026-03-08,Early,09:00"),
        BREAKS + "shift: Line L1 has no shift on 2026-03-08: check the date, or plan "
        "one in shift_patterns.csv or shifts.csv.",
        id="no-shift-that-day",
    ),
    pytest.param(
        and_rows("worked_breaks.csv", "L1-10,2026-03-03,Night,09:00"),
        BREAKS + "shift: Line L1 has no shift 'Night' on 2026-03-03: its shifts that "
        "day are Early, Late.",
        id="no-such-shift",
    ),
]


@pytest.mark.parametrize(("files", "text"), REFUSED)
def test_refused(tmp_path, files, text):
    assert fault_texts(tmp_path, files) == [text]
    assert not Shift.objects.exists()


def test_a_line_is_planned_with_its_own_area_only(tmp_path):
    files = {
        **and_rows(
            "shift_patterns.csv", "PAINT,L1,Night,mon,22:00,06:00,,2026-03-02,,"
        ),
        "areas.csv": SMALL["areas.csv"] + "PAINT,Paint shop,,\n",
    }
    assert fault_texts(tmp_path, files) == [
        PATTERNS + "line: Line L1 belongs to area BODY: choose a line of area PAINT."
    ]


def test_a_one_off_shift_replaces_the_patterns_of_its_name_and_date(tmp_path):
    files = and_rows("shifts.csv", "BODY,,Early,2026-03-03T05:00,2026-03-03T14:00,")
    assert load_files(tmp_path, files).faults == []
    starts = Shift.objects.filter(production_date="2026-03-03", name="Early")
    assert {shift.starts_at.hour for shift in starts} == {4}  # 05:00 in Berlin
    assert starts.count() == 2


def test_a_one_off_shift_without_length_cancels(tmp_path):
    files = and_rows("shifts.csv", "BODY,L2,Late,2026-03-03T14:00,2026-03-03T14:00,")
    assert load_files(tmp_path, files).faults == []
    late = Shift.objects.filter(production_date="2026-03-03", name="Late")
    assert [shift.line.code for shift in late] == ["L1"]


def test_a_shift_that_is_cancelled_later_is_kept_for_what_hangs_on_it(tmp_path):
    load_files(tmp_path, SMALL)
    files = and_rows("shifts.csv", "BODY,L1,Early,2026-03-02T06:00,2026-03-02T06:00,")
    assert load_files(tmp_path, {"shifts.csv": files["shifts.csv"]}).faults == []
    early = Shift.objects.get(
        line__code="L1", production_date="2026-03-02", name="Early"
    )
    assert early.is_cancelled
    assert early.counts.count() == 2


@pytest.mark.parametrize("text", ["09:00", "2026-03-02T09:00", "2026-03-02T08:00Z"])
def test_a_break_is_named_by_its_clock_time_or_its_moment(tmp_path, text):
    files = with_rows("worked_breaks.csv", f"L1-10,2026-03-02,Early,{text}")
    assert load_files(tmp_path, files).faults == []
    assert WorkedBreak.objects.get().break_start.hour == 8


def test_a_withdrawn_worked_break_stays_withdrawn(tmp_path):
    load_files(tmp_path, SMALL)
    WorkedBreak.objects.update(withdrawn=True)
    assert load_files(tmp_path, SMALL).faults == []
    assert WorkedBreak.objects.get().withdrawn
