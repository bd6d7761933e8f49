"""routines.csv, steps.csv, first_due.csv, done.csv, step_results.csv and crews.csv."""

import pytest

from cells.models import Reading
from maintenance.models import Routine, StepResult, Task
from tests.plant_files import SMALL, and_rows, fault_texts, load_files

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_frozen")]

ROUTINES = "routines.csv, line 4, column "
STEPS = "steps.csv, line 4, column "
DONE = "done.csv, line 4, column "
RESULTS = "step_results.csv, line 4, column "


def routine(text: str) -> dict[str, str]:
    return and_rows("routines.csv", text)


REFUSED = [
    pytest.param(
        routine("x,Look,weld,,,,completion,5,1,M,no,no,no,machine,,"),
        ROUTINES + "every_days: The routine has no interval: write every_days, "
        "every_units or both.",
        id="no-interval",
    ),
    pytest.param(
        routine("x,Look,weld,,100,,completion,5,1,M,no,no,no,machine,,"),
        ROUTINES + "meter: every_units (100) are units of a meter: write the meter's "
        "name.",
        id="units-of-nothing",
    ),
    pytest.param(
        routine("x,Look,weld,0,,,completion,5,1,M,no,no,no,machine,,"),
        ROUTINES + "every_days: '0' is too small: write at least 1.",
        id="every-0-days",
    ),
    pytest.param(
        routine("x,Look,weld,28,0,spots,completion,5,1,M,no,no,no,machine,,"),
        ROUTINES + "every_units: 0 units are no interval: write more, or nothing.",
        id="every-0-units",
    ),
    pytest.param(
        routine("x,Look,weld,28,,,completion,5,1,M,yes,no,yes,machine,,"),
        ROUTINES + "running_allowed: Work under lockout cannot be allowed while the "
        "cell runs: write no in lockout or in running_allowed.",
        id="lockout-while-running",
    ),
    pytest.param(
        routine("x,Look,welder,28,,,completion,5,1,M,no,no,no,machine,,"),
        ROUTINES + "kinds: 'welder' is not known here: write one of weld, seal, "
        "handling, arc, stud, hem, vision, equipment, fixture, gate, light curtain, "
        "scanner, emergency stop, tip dresser, weld gun, weld controller, robot "
        "controller, dress pack, gripper, tool changer, sealer pump, doser, turntable, "
        "lift, conveyor, cell panel, water panel, air panel, extraction.",
        id="unknown-kind",
    ),
    pytest.param(
        routine("x,Look,weld,28,,,completion,5,1,M,maybe,no,no,machine,,"),
        ROUTINES + "lockout: 'maybe' is neither yes nor no: write one of them.",
        id="maybe",
    ),
    pytest.param(
        routine("x,Look,weld,28,,,completion,0,1,M,no,no,no,machine,,"),
        ROUTINES + "minutes: '0' is too small: write at least 1.",
        id="no-minutes",
    ),
    pytest.param(
        and_rows("steps.csv", "force,3,Force,kN,3,2,,,1"),
        STEPS + "watch_low: watch_low (2) is below act_low (3): write the limits from "
        "low to high.",
        id="limits-upside-down",
    ),
    pytest.param(
        and_rows("steps.csv", "force,1,Again,kN,,,,,1"),
        "steps.csv, line 4, column routine, order: Lines 2 and 4 are both for routine "
        "'force', order '1': keep one of them.",
        id="step-twice",
    ),
    pytest.param(
        and_rows("steps.csv", "grease,1,Again,kN,,,,,1"),
        STEPS + "routine: No routine has the code 'grease': write one of force, pin, "
        "or add it to routines.csv.",
        id="unknown-routine",
    ),
    pytest.param(
        and_rows("first_due.csv", "force,R2,2026-04-01,spread"),
        "first_due.csv, line 3, column serial: R2 is a handling robot, and “Weld "
        "force” is for weld only: check the serial number.",
        id="first-due-of-another-kind",
    ),
    pytest.param(
        and_rows("first_due.csv", "pin,R2,2026-04-01,"),
        "first_due.csv, line 3, column why: why is empty: fill it in.",
        id="first-due-without-a-reason",
    ),
    pytest.param(
        and_rows("done.csv", "force,R1,,,2026-03-04T12:30,,,"),
        DONE + "done_at: It cannot have been done at 2026-03-04 12:30, which lies in "
        "the future: correct the time.",
        id="done-tomorrow",
    ),
    pytest.param(
        and_rows("done.csv", "force,R2,,,2026-03-03T12:30,,,"),
        DONE + "serial: R2 is a handling robot, and “Weld force” is for weld only: "
        "check the serial number.",
        id="done-on-another-kind",
    ),
    pytest.param(
        and_rows("done.csv", "force,R9,,,2026-03-03T12:30,,,"),
        DONE + "serial: No machine has the code 'R9': write one of R1, R2, or add it "
        "to machines.csv.",
        id="done-on-an-unknown-machine",
    ),
    pytest.param(
        and_rows("done.csv", "force,,L1-10,R01,2026-03-03T12:30,,,"),
        DONE + "serial: “Weld force” follows the machine: write its serial, and leave "
        "cell and position empty.",
        id="place-of-a-machine",
    ),
    pytest.param(
        and_rows("done.csv", "pin,R1,,,2026-03-03T12:30,,,"),
        DONE + "cell: “Against the pin” follows the place: write its cell and "
        "position, and leave serial empty.",
        id="machine-of-a-place",
    ),
    pytest.param(
        and_rows("done.csv", "pin,,L1-10,R07,2026-03-03T12:30,,,"),
        DONE + "position: Cell L1-10 has no position 'R07': write one of its own "
        "(R01).",
        id="unknown-position",
    ),
    pytest.param(
        and_rows("done.csv", "pin,,L1-10,R01,2026-03-03T12:30,,,5"),
        DONE + "reading: “Against the pin” goes by no meter, so 5 is a reading of "
        "nothing: leave it empty.",
        id="reading-of-nothing",
    ),
    pytest.param(
        and_rows("done.csv", "force,R1,,,2026-03-03T12:30,,,8999"),
        DONE + "reading: The reading 8999 of R1 spots at 2026-03-03 12:30 is below the "
        "last one (9000 at 2026-03-02 06:00): correct one of them.",
        id="reading-below-the-last",
    ),
    pytest.param(
        and_rows("done.csv", "force,R1,,,2026-03-03T12:30,,broken,"),
        DONE + "found: 'broken' is not known here: write one of as_new, normal, worn, "
        "worn_out, failed.",
        id="found",
    ),
    pytest.param(
        and_rows("done.csv", "force,R1,,,2026-02-16T23:30,,,"),
        "done.csv, line 4, column routine, serial, cell, position, done_at: Lines 2 "
        "and 4 are both for routine 'force', serial 'R1', cell '', position '', "
        "done_at '2026-02-16T23:30': keep one of them.",
        id="done-twice",
    ),
    pytest.param(
        and_rows("step_results.csv", "force,R1,2026-02-16T23:30,1,2.00"),
        RESULTS + "value: Step 1 of “Weld force” takes 2 values, and this is number 3: "
        "remove it, or raise repeat in steps.csv.",
        id="too-many-values",
    ),
    pytest.param(
        and_rows("step_results.csv", "force,R1,2026-02-16T23:30,3,2.00"),
        RESULTS + "order: “Weld force” has no step 3: its steps are 1, 2.",
        id="unknown-step",
    ),
    pytest.param(
        and_rows("step_results.csv", "force,R1,2026-02-16T23:30,2,2.00"),
        RESULTS + "order: Step 2 of “Weld force” takes no value, as it has neither a "
        "unit nor a limit: remove the row.",
        id="step-without-values",
    ),
    pytest.param(
        and_rows("step_results.csv", "force,R1,2026-02-17T23:30,1,2.00"),
        RESULTS + "done_at: “Weld force” was not done on R1 at 2026-02-17 23:30: add "
        "it to done.csv.",
        id="never-done",
    ),
    pytest.param(
        and_rows("crews.csv", "Days,W,BODY,mon-fri,06:00,14:00,0,,"),
        "crews.csv, line 3, column heads: '0' is too small: write at least 1.",
        id="no-heads",
    ),
    pytest.param(
        and_rows(
            "crews.csv", "Days,W,BODY,mon-fri,06:00,14:00,1,2026-02-01,2026-01-01"
        ),
        "crews.csv, line 3, column valid_to: 2026-01-01 lies before 2026-02-01, from "
        "which it is valid: change one.",
        id="valid-backwards",
    ),
]


@pytest.mark.parametrize(("files", "text"), REFUSED)
def test_refused(tmp_path, files, text):
    assert fault_texts(tmp_path, files) == [text]
    assert not Routine.objects.exists()


def test_two_completions_at_once_share_one_reading(tmp_path):
    files = {
        **routine("caps,Caps,weld,,20000,spots,completion,5,1,W,no,no,no,machine,,"),
        "done.csv": SMALL["done.csv"] + "caps,R1,,,2026-02-16T23:30,,,5000\n",
    }
    assert fault_texts(tmp_path, files) == []
    assert Reading.objects.filter(value=5000).count() == 1
    files["done.csv"] = files["done.csv"].replace(",,,5000", ",,,5001")
    assert fault_texts(tmp_path, files) == [
        "done.csv, line 4, column reading: R1 spots cannot read 5001 and 5000 at "
        "2026-02-16 23:30: correct one of them."
    ]


def test_a_changed_reading_of_a_completion_changes_both_records(tmp_path):
    load_files(tmp_path, SMALL)
    files = {"done.csv": SMALL["done.csv"].replace(",5000", ",5100")}
    assert fault_texts(tmp_path, files) == []
    assert Reading.objects.get(value=5100)
    assert Task.objects.done().get(routine__code="force").reading == 5100


def test_a_completion_that_was_recorded_by_mistake_stays_closed(tmp_path):
    load_files(tmp_path, SMALL)
    Task.objects.done().filter(routine__code="pin").update(closed_why="wrong robot")
    assert fault_texts(tmp_path, SMALL) == []
    assert Task.objects.filter(done_at__isnull=False).count() == 2
    assert not Task.objects.done().filter(routine__code="pin").exists()


def test_a_corrected_value_of_a_step_is_told_by_its_place(tmp_path):
    load_files(tmp_path, SMALL)
    text = SMALL["step_results.csv"].replace("1.99", "1.95")
    assert fault_texts(tmp_path, {"step_results.csv": text}) == []
    values = StepResult.objects.order_by("number").values_list("value", flat=True)
    assert [str(value) for value in values] == ["2.0100", "1.9500"]
