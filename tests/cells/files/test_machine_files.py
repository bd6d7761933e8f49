"""machines.csv, meters.csv and readings.csv: what they refuse."""

import pytest

from cells.models import Machine
from tests.plant_files import NOW, SMALL, and_rows, fault_texts, load_files, with_rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_frozen")]


MACHINES = "machines.csv, line 5, column "
METERS = "meters.csv, line 4, column "
READINGS = "readings.csv, line 4, column "

REFUSED = [
    pytest.param(
        and_rows("machines.csv", "R3,weld,L1-10,R02,2026-03-05,,,"),
        MACHINES + "placed_on: 2026-03-05 lies in the future: enter it on the day it "
        "is done.",
        id="placed-tomorrow",
    ),
    pytest.param(
        and_rows("machines.csv", "R3,weld,L1-10,R02,2026-03-02,,,2026-03-01"),
        MACHINES + "removed_on: R3 was placed on 2026-03-02, after 2026-03-01: give a "
        "later date.",
        id="removed-before-placed",
    ),
    pytest.param(
        and_rows("machines.csv", "R1,weld,L1-20,R05,2026-02-02,210 kg class,gun;pack,"),
        MACHINES + "placed_on: R1 was placed in L1-20 R05 on 2026-02-02, but stood in "
        "L1-10 R01 from 2025-01-06 without an end: give the day on which it was "
        "removed there, or a later date here.",
        id="stands-in-two-places",
    ),
    pytest.param(
        and_rows("machines.csv", "R2,handling,L1-10,R05,2025-06-01,,,2025-07-01"),
        MACHINES + "placed_on: R2 was placed in L1-10 R05 on 2025-06-01, but stood in "
        "L1-20 R01 from 2025-01-06 until 2026-02-02: give the day on which it was "
        "removed there, or a later date here.",
        id="stood-in-two-places",
    ),
    pytest.param(
        and_rows(
            "machines.csv",
            "R1,seal,L1-20,R05,2024-02-02,210 kg class,gun;pack,2024-03-01",
        ),
        MACHINES + "kind: Line 2 says otherwise of R1: write the same kind in every "
        "row of a machine.",
        id="two-kinds",
    ),
    pytest.param(
        and_rows("machines.csv", "r1,weld,L1-20,R05,2026-02-02,,,"),
        MACHINES + "serial: The serial number “r1” belongs to the machine R1 already, "
        "capitals or not: write it the same way everywhere.",
        id="serial-in-small-letters",
    ),
    pytest.param(
        and_rows("machines.csv", "R3,weld,L9,R05,2026-02-02,,,"),
        MACHINES + "cell: No cell has the code 'L9': write one of L1-10, L1-20, L2-10, "
        "L2-20, or add it to cells.csv.",
        id="unknown-cell",
    ),
    pytest.param(
        and_rows("machines.csv", "R3,weld,L1-10,R05,2026-02-02,,gun;gun,"),
        MACHINES + "tags: 'gun;gun' names gun twice: name it once.",
        id="tag-twice",
    ),
    pytest.param(
        and_rows("meters.csv", "R9,hours,h,1"),
        METERS + "serial: No machine has the code 'R9': write one of R1, R2, or add it "
        "to machines.csv.",
        id="meter-of-an-unknown-machine",
    ),
    pytest.param(
        and_rows("meters.csv", "R1,hours,h,0"),
        METERS + "max_per_hour: A meter that runs 0 an hour never moves: write the "
        "most it can run, or leave it empty.",
        id="meter-that-never-moves",
    ),
    pytest.param(
        and_rows("meters.csv", "R1,Spots,,"),
        METERS + "meter: R1 has a meter named “spots”: write it the same way, or give "
        "another name.",
        id="meter-in-capitals",
    ),
    pytest.param(
        and_rows("readings.csv", "R1,hours,2026-03-03T06:00,5"),
        READINGS + "meter: R1 has no meter 'hours': its meters are spots; add it to "
        "meters.csv.",
        id="unknown-meter",
    ),
    pytest.param(
        and_rows("readings.csv", "R1,spots,2026-03-03T06:00,8999"),
        READINGS
        + "value: The reading 8999 of R1 spots at 2026-03-03 06:00 is below the "
        "last one (9000 at 2026-03-02 06:00): correct one of them.",
        id="below-the-last",
    ),
    pytest.param(
        and_rows("readings.csv", "R1,spots,2026-03-04T12:01,9100"),
        READINGS + "read_at: R1 spots cannot have been read at 2026-03-04 12:01, which "
        "lies in the future: correct the time.",
        id="future",
    ),
    pytest.param(
        and_rows("readings.csv", "R1,spots,2026-03-03T06:00,-5"),
        READINGS + "value: '-5' is too small: write at least 0.",
        id="negative",
    ),
    pytest.param(
        and_rows("readings.csv", "R1,spots,2026-03-03T06:00,9e15"),
        READINGS + "value: '9e15' is too large: write at most 1000000000000.",
        id="absurd",
    ),
    pytest.param(
        and_rows("readings.csv", "R1,spots,2026-03-02T06:00,9000"),
        "readings.csv, line 4, column serial, meter, read_at: Lines 3 and 4 are both "
        "for serial 'R1', meter 'spots', read_at '2026-03-02T06:00': keep one of them.",
        id="reading-twice",
    ),
    pytest.param(
        and_rows("readings.csv", "R1,spots,2026-02-16T23:30,5001"),
        "done.csv, line 2, column reading: R1 spots reads 5001 at 2026-02-16 23:30 in "
        "another file of this load, not 5000: correct one of them.",
        id="otherwise-than-the-completion",
    ),
]


@pytest.mark.parametrize(("files", "text"), REFUSED)
def test_refused(tmp_path, files, text):
    assert fault_texts(tmp_path, files) == [text]
    assert not Machine.objects.exists()


def test_a_reading_between_others_is_held_against_the_next_one(tmp_path):
    load_files(tmp_path, SMALL)
    files = with_rows("readings.csv", "R1,spots,2026-02-20T06:00,9500")
    assert fault_texts(tmp_path, {"readings.csv": files["readings.csv"]}) == [
        "readings.csv, line 2, column value: The reading 9500 of R1 spots at "
        "2026-02-20 06:00 is above the next one (9000 at 2026-03-02 06:00): correct "
        "one of them."
    ]


def test_a_meter_that_was_confirmed_lower_does_not_stop_the_next_load(tmp_path):
    load_files(tmp_path, SMALL)
    machine = Machine.objects.get(serial="R1")
    meter = machine.meters.get()
    meter.readings.create(read_at=NOW, value=50)  # replaced, and confirmed on a page
    assert fault_texts(tmp_path, SMALL) == []
