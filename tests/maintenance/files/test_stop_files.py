"""reasons.csv, planned_stops.csv, stops.csv, tallies.csv and confirmations.csv."""

from datetime import UTC, datetime

import pytest

from cells.models import Change, Shift
from maintenance.models import PlannedStop, Reason, Stop, Tally
from tests.plant_files import SMALL, and_rows, fault_texts, load_files, with_rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_frozen")]

STOPS = "stops.csv, line 5, column "
PLANNED = "planned_stops.csv, line 3, column "
TALLIES = "tallies.csv, line 3, column "
CONFIRMED = "confirmations.csv, line 3, column "


def stop(text: str) -> dict[str, str]:
    """The small plant with one more stop: ref, cell, position, reason, times …"""
    commas = SMALL["stops.csv"].splitlines()[0].count(",") - text.count(",")
    return and_rows("stops.csv", text + "," * commas)


REFUSED = [
    pytest.param(
        stop("S4,L1-10,,meeting,2026-03-02T08:00,2026-03-02T08:10"),
        STOPS + "reason: “Shift meeting” is a reason for planned stops: choose what "
        "stopped the cell, or ask a planner to declare a planned stop. What runs over "
        "a planned stop is a stop with a reason of its own.",
        id="planned-reason",
    ),
    pytest.param(
        stop("S4,L1-10,,gun,2026-03-02T08:00,2026-03-02T08:00"),
        STOPS + "ended_at: The end (Mon 2 March 08:00) is not after the start (Mon 2 "
        "March 08:00): correct one of the two.",
        id="end-not-after-start",
    ),
    pytest.param(
        stop("S4,L1-10,,gun,2026-03-04T11:00,2026-03-04T12:30"),
        STOPS + "ended_at: “End” (Wed 4 March 12:30) lies in the future: it is Wed 4 "
        "March 12:00. Give a time that has passed, or leave it empty.",
        id="future",
    ),
    pytest.param(
        stop("S4,L1-10,,gun,2026-01-02T08:00,2026-03-02T06:00"),
        STOPS + "ended_at: From 2026-01-02 08:00 to 2026-03-02 06:00 is longer than 31 "
        "days: correct the dates, or write it as several stops, one after the other.",
        id="too-long",
    ),
    pytest.param(
        stop("S4,L1-10,,tip,2016-03-02T08:00"),
        STOPS + "ended_at: From 2016-03-02 08:00 and still running is longer than 31 "
        "days: correct the dates, or write it as several stops, one after the other.",
        id="running-for-years",
    ),
    pytest.param(
        stop("S4,L1-10,,gun,2026-03-02T07:20,2026-03-02T08:00"),
        STOPS + "started_at: Cell L1-10 already has a stop “Gun fault” in that time, "
        "from Mon 2 March 07:00 to Mon 2 March 07:30: correct that one instead. (Its "
        "ref is S1, line 2.)",
        id="overlap",
    ),
    pytest.param(
        stop("S4,L1-20,,gun,2026-03-04T11:00,2026-03-04T11:50"),
        "stops.csv, line 3, column started_at: Cell L1-20 already has a stop “Gun "
        "fault” in that time, from Wed 4 March 11:00 to Wed 4 March 11:50: correct "
        "that one instead. (Its ref is S4, line 5.)",
        id="overlap-with-a-running-one",
    ),
    pytest.param(
        stop("S4,L1-20,,gun,2026-03-04T11:50"),
        STOPS + "reason: Cell L1-20 already has a running stop “Gun fault” since Wed 4 "
        "March 11:40: end that one first. (Its ref is S2.)",
        id="two-running",
    ),
    pytest.param(
        stop("S4,L1-10,R07,gun,2026-03-02T08:00,2026-03-02T08:10"),
        STOPS + "position: Cell L1-10 has no position “R07”: choose one of its own "
        "(R01) or leave it empty.",
        id="unknown-position",
    ),
    pytest.param(
        stop("S4,L1-11,,gun,2026-03-02T08:00,2026-03-02T08:10"),
        STOPS + "cell: No cell has the code 'L1-11': write one of L1-10, L1-20, L2-10, "
        "L2-20, or add it to cells.csv.",
        id="unknown-cell",
    ),
    pytest.param(
        stop("S4,L1-10,,Gun,2026-03-02T08:00,2026-03-02T08:10"),
        STOPS + "reason: No reason has the code 'Gun': write one of gun, meeting, tip, "
        "or add it to reasons.csv.",
        id="unknown-reason",
    ),
    pytest.param(
        stop("S4,L1-10,,gun,2025-10-26T02:30,2025-10-26T04:00"),
        STOPS + "started_at: 2025-10-26 02:30 happens twice in Europe/Berlin: write "
        "2025-10-26T02:30+02:00 or 2025-10-26T02:30+01:00.",
        id="ambiguous-time",
    ),
    pytest.param(
        stop("S4,L1-10,,gun,2025-03-30T02:30,2025-03-30T04:00"),
        STOPS + "started_at: 2025-03-30 02:30 does not exist in Europe/Berlin, where "
        "the clocks went from 2025-03-30 02:00 to 2025-03-30 03:00: write "
        "2025-03-30T01:30+01:00 or 2025-03-30T03:30+02:00.",
        id="missing-time",
    ),
    pytest.param(
        stop("S4,L1-10,,gun,2026-03-02T08:00,2026-03-02T08:30,,2026-03-02T07:50"),
        STOPS + "called_at: “Called” (Mon 2 March 07:50) lies before “start” (Mon 2 "
        "March 08:00): correct one of the two.",
        id="called-before-it-stopped",
    ),
    pytest.param(
        stop("S4,L1-10,,gun,2026-03-02T08:00,2026-03-02T08:30,,,,,-5"),
        STOPS + "parts_wait_s: '-5' is too small: write at least 0.",
        id="negative-wait",
    ),
    pytest.param(
        stop("S1,L1-10,,gun,2026-03-02T08:00,2026-03-02T08:30"),
        STOPS + "ref: Lines 2 and 5 are both for ref 'S1': keep one of them.",
        id="ref-twice",
    ),
    pytest.param(
        and_rows("reasons.csv", "drive,Drive,broken,,"),
        "reasons.csv, line 5, column loss_class: 'broken' is not known here: write one "
        "of planned, breakdown, setup, quality_hold, minor, people, supply, utilities, "
        "blocked, starved.",
        id="unknown-class",
    ),
    pytest.param(
        and_rows(
            "planned_stops.csv",
            "P2,L1,2026-03-05T06:15,2026-03-05T06:00,meeting,2026-03-01T10:00",
        ),
        PLANNED + "ends_at: The end (Thu 5 March 06:00) is not after the start (Thu 5 "
        "March 06:15): correct one of the two.",
        id="planned-end-before-start",
    ),
    pytest.param(
        and_rows(
            "planned_stops.csv",
            "P2,L1,2026-03-05T06:00,2026-03-05T06:15,gun,2026-03-01T10:00",
        ),
        PLANNED + "reason: “Gun fault” is a reason for stops that nobody planned "
        "(breakdown): choose a planned one.",
        id="unplanned-reason",
    ),
    pytest.param(
        and_rows(
            "planned_stops.csv",
            "P2,L1,2026-03-05T06:00,2026-03-05T06:15,meeting,2026-03-05T05:00",
        ),
        PLANNED + "declared_at: It cannot have been declared at 2026-03-05 05:00, "
        "which lies in the future: correct the time.",
        id="declared-tomorrow",
    ),
    pytest.param(
        and_rows(
            "planned_stops.csv",
            "P2,L1,2026-03-03T06:10,2026-03-03T06:20,meeting,2026-03-01T10:00",
        ),
        PLANNED + "starts_at: L1 already has a planned stop “Shift meeting” in that "
        "time, from Tue 3 March 06:00 to Tue 3 March 06:15: correct that one instead.",
        id="planned-twice",
    ),
    pytest.param(
        and_rows(
            "planned_stops.csv",
            "P2,L7,2026-03-05T06:00,2026-03-05T06:15,meeting,2026-03-01T10:00",
        ),
        PLANNED + "at: No cell has the code 'L7': write one of L1-10, L1-20, L2-10, "
        "L2-20, or add it to cells.csv. A line or an area will do as well.",
        id="planned-nowhere",
    ),
    pytest.param(
        and_rows("tallies.csv", "L1-10,2026-03-02,Early,meeting,1,60"),
        TALLIES + "reason: “Shift meeting” is a reason for planned stops: choose what "
        "stopped the cell, or ask a planner to declare a planned stop. What runs over "
        "a planned stop is a stop with a reason of its own.",
        id="tally-planned",
    ),
    pytest.param(
        and_rows("tallies.csv", "L1-20,2026-03-02,Early,tip,0,60"),
        TALLIES + "times: '0' is too small: write at least 1.",
        id="tally-never",
    ),
    pytest.param(
        and_rows("tallies.csv", "L1-20,2026-03-02,Early,tip,5,28801"),
        TALLIES + "seconds: 480.017 min is not between 0 and the 480 min of the shift: "
        "correct the minutes.",
        id="tally-too-long",
    ),
    pytest.param(
        and_rows("tallies.csv", "L1-20,2026-03-04,Late,tip,5,60"),
        TALLIES + "shift: Shift L1 2026-03-04 Late begins at Wed 4 March 14:00: enter "
        "its tallies once it has begun.",
        id="tally-to-come",
    ),
    pytest.param(
        and_rows("tallies.csv", "L1-20,2026-03-02,Erly,tip,5,60"),
        TALLIES + "shift: Line L1 has no shift 'Erly' on 2026-03-02: its shifts that "
        "day are Early, Late.",
        id="tally-of-no-shift",
    ),
    pytest.param(
        and_rows("tallies.csv", "L1-10,2026-03-02,Early,tip,5,60"),
        "tallies.csv, line 3, column cell, date, shift, reason: Lines 2 and 3 are both "
        "for cell 'L1-10', date '2026-03-02', shift 'Early', reason 'tip': keep one of "
        "them.",
        id="tally-twice",
    ),
    pytest.param(
        and_rows("confirmations.csv", "L1,2026-03-03,Early,2026-03-03T13:44"),
        CONFIRMED + "confirmed_at: Shift L1 2026-03-03 Early ends at 2026-03-03 14:00: "
        "it cannot be confirmed before 2026-03-03 13:45.",
        id="confirmed-early",
    ),
    pytest.param(
        and_rows("confirmations.csv", "L1,2026-03-03,Early,2026-03-04T13:44"),
        CONFIRMED + "confirmed_at: It cannot have been confirmed at 2026-03-04 13:44, "
        "which lies in the future: correct the time.",
        id="confirmed-tomorrow",
    ),
]


@pytest.mark.parametrize(("files", "text"), REFUSED)
def test_refused(tmp_path, files, text):
    assert fault_texts(tmp_path, files) == [text]
    assert not Reason.objects.exists()


def test_a_cancelled_shift_is_neither_tallied_nor_confirmed(tmp_path):
    load_files(tmp_path, SMALL)
    off = and_rows("shifts.csv", "BODY,L1,Early,2026-03-02T06:00,2026-03-02T06:00,")
    load_files(tmp_path, {"shifts.csv": off["shifts.csv"]})
    files = {
        "tallies.csv": SMALL["tallies.csv"],
        "confirmations.csv": SMALL["confirmations.csv"],
    }
    assert fault_texts(tmp_path, files) == [
        "tallies.csv, line 2, column shift: Shift L1 2026-03-02 Early is cancelled: it "
        "has no minutes to lose.",
        "confirmations.csv, line 2, column shift: Shift L1 2026-03-02 Early is "
        "cancelled: there is nothing to confirm.",
    ]


def test_a_used_reason_keeps_its_class(tmp_path):
    load_files(tmp_path, SMALL)
    files = {
        "reasons.csv": SMALL["reasons.csv"].replace("fault,breakdown", "fault,setup")
    }
    assert fault_texts(tmp_path, files) == [
        "reasons.csv, line 2, column loss_class: “Gun fault” was logged as breakdown "
        "already, and those figures would change silently: retire it and add a new "
        "reason with the other class."
    ]


def test_a_retired_reason_is_good_for_what_happened_before(tmp_path):
    load_files(tmp_path, SMALL)
    Reason.objects.filter(code="tip").update(retired_on="2026-03-03")
    before = "ref,cell,reason,started_at,ended_at\n"
    before += "T1,L1-10,tip,2026-03-02T08:00,2026-03-02T08:10\n"
    after = before + "T2,L1-10,tip,2026-03-03T08:00,2026-03-03T08:10\n"
    assert fault_texts(tmp_path, {"stops.csv": before}) == []
    assert fault_texts(tmp_path, {"stops.csv": after}) == [
        "stops.csv, line 3, column reason: The reason “Tip stick” is no longer used: "
        "choose another one."
    ]


def test_a_stop_that_overlaps_a_stored_one_is_refused_by_its_ref(tmp_path):
    load_files(tmp_path, SMALL)
    text = "ref,cell,reason,started_at,ended_at\n"
    text += "T1,L1-10,gun,2026-03-02T06:50,2026-03-02T07:01\n"
    assert fault_texts(tmp_path, {"stops.csv": text}) == [
        "stops.csv, line 2, column started_at: Cell L1-10 already has a stop “Gun "
        "fault” in that time, from Mon 2 March 07:00 to Mon 2 March 07:30: correct "
        "that one instead. (Its ref is S1.)"
    ]
    assert Stop.objects.count() == 3


def test_stops_that_touch_or_are_withdrawn_do_not_overlap(tmp_path):
    files = stop("S4,L1-10,,gun,2026-03-02T07:30,2026-03-02T08:00")
    files["stops.csv"] += stop("S5,L1-20,,gun,2026-03-02T10:05,2026-03-02T10:20")[
        "stops.csv"
    ].splitlines()[-1]
    assert fault_texts(tmp_path, files) == []


def test_one_running_stop_may_end_where_the_next_begins_in_one_file(tmp_path):
    load_files(tmp_path, SMALL)
    text = "ref,cell,reason,started_at,ended_at\n"
    text += "T1,L1-20,gun,2026-03-04T11:55,\n"
    text += "S2,L1-20,gun,2026-03-04T11:40,2026-03-04T11:50\n"
    assert fault_texts(tmp_path, {"stops.csv": text}) == []
    assert [one.ref for one in Stop.objects.running()] == ["T1"]


def test_a_long_stop_that_a_person_accepted_does_not_stop_the_next_load(tmp_path):
    load_files(tmp_path, SMALL)
    Stop.objects.filter(ref="S2").update(started_at=datetime(2026, 1, 2, 7, tzinfo=UTC))
    text = "ref,cell,reason,started_at,ended_at,note\n"
    text += "S2,L1-20,gun,2026-01-02T08:00,,dismantled\n"
    assert fault_texts(tmp_path, {"stops.csv": text}) == []
    assert Stop.objects.get(ref="S2").note == "dismantled"


def test_a_planned_stop_that_has_begun_does_not_grow(tmp_path):
    load_files(tmp_path, SMALL)
    longer = SMALL["planned_stops.csv"].replace("03T06:15", "03T06:30")
    (text,) = fault_texts(tmp_path, {"planned_stops.csv": longer})
    assert text.startswith(
        "planned_stops.csv, line 2, column ends_at: This planned stop began at Tue 3 "
        "March 06:00 and would now cover time or cells that were not declared before"
    )
    assert PlannedStop.objects.get().ends_at.minute == 15


def test_a_planned_stop_to_come_may_be_declared_anew(tmp_path):
    row = "P2,L1,2026-03-05T06:00,2026-03-05T06:15,meeting,2026-03-01T10:00"
    load_files(tmp_path, and_rows("planned_stops.csv", row))
    Change.objects.all().delete()
    row = "P2,BODY,2026-03-05T06:00,2026-03-05T06:30,meeting,2026-03-04T10:00"
    assert fault_texts(tmp_path, and_rows("planned_stops.csv", row)) == []
    fields = Change.objects.order_by("id").values_list("field", flat=True)
    assert list(fields) == ["area", "line", "ends_at", "declared_at"]
    assert PlannedStop.objects.get(ref="P2").place.code == "BODY"


def test_a_withdrawn_tally_comes_back_only_with_other_numbers(tmp_path):
    load_files(tmp_path, SMALL)
    Tally.objects.update(withdrawn=True)
    load_files(tmp_path, SMALL)
    assert Tally.objects.get().withdrawn
    load_files(tmp_path, with_rows("tallies.csv", "L1-10,2026-03-02,Early,tip,8,540"))
    assert not Tally.objects.get().withdrawn


def test_a_file_of_many_stops_is_read_in_pieces(tmp_path):
    """More rows than are looked up and written at once."""
    minute = "2026-03-0{day}T{hour:02}:{minute:02}"
    rows = []
    for n in range(4500):
        cell, k = ("L1-10", "L1-20", "L2-10")[n % 3], n // 3
        hour, rest = divmod(k, 60)
        day, hour = divmod(hour, 24)
        start = minute.format(day=day + 1, hour=hour, minute=rest)
        rows.append(f"N{n},{cell},tip,{start},{start}:30")
    text = "\n".join(["ref,cell,reason,started_at,ended_at", *rows, ""])
    assert load_files(tmp_path, {**SMALL, "stops.csv": text}).faults == []
    assert Stop.objects.count() == 4500
    text = text.replace(
        "N4400,L2-10,tip,2026-03-02T00:26", "N4400,L2-10,tip,2026-03-02T00:25"
    )
    (fault,) = fault_texts(tmp_path, {"stops.csv": text})
    assert fault.startswith("stops.csv, line 4402, column started_at: Cell L2-10 ")
    assert Shift.objects.exists()
