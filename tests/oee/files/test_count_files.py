"""variants.csv, ideal_cycles.csv, counts.csv and plan.csv: what they refuse."""

import pytest

from cells.models import StaleMark
from oee.models import Variant
from tests.plant_files import SMALL, and_rows, fault_texts, load_files, with_rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_frozen")]

CYCLES = "ideal_cycles.csv, line 4, column "
COUNTS = "counts.csv, line 6, column "
PLAN = "plan.csv, line 3, column "
EARLY = "2026-03-03,Early,,"


def count(text: str) -> dict[str, str]:
    return and_rows("counts.csv", text)


REFUSED = [
    pytest.param(
        count(f"L1,{EARLY},H,100,101,,"),
        COUNTS + "good: First-time good (101) is above the total made (100): check "
        "both.",
        id="good-above-total",
    ),
    pytest.param(
        count(f"L1,{EARLY},H,100,90,8,3"),
        COUNTS + "rework: Rework (8) and scrap (3) make 11, but 100 made less 90 "
        "first-time good leave 10: mend one of the four.",
        id="rework-and-scrap",
    ),
    pytest.param(
        count(f"L1,{EARLY},H,-1,0,,"),
        COUNTS + "total: '-1' is too small: write at least 0.",
        id="negative",
    ),
    pytest.param(
        count(f"L1,{EARLY},H,1000001,0,,"),
        COUNTS + "total: '1000001' is too large: write at most 1000000.",
        id="absurd",
    ),
    pytest.param(
        count(f"L1,{EARLY},H,100.5,90,,"),
        COUNTS + "total: '100.5' is not a whole number: write digits only, like 12.",
        id="half-a-body",
    ),
    pytest.param(
        count(f"L1,{EARLY},E,100,90,,"),
        COUNTS + "variant: No variant has the code 'E': write one of H, S, or add it "
        "to variants.csv.",
        id="unknown-variant",
    ),
    pytest.param(
        count(f"L7,{EARLY},H,100,90,,"),
        COUNTS + "at: No cell has the code 'L7': write one of L1-10, L1-20, L2-10, "
        "L2-20, or add it to cells.csv. A line will do as well.",
        id="nowhere",
    ),
    pytest.param(
        count(f"L2/M,{EARLY},H,100,90,,"),
        COUNTS + "at: Line L2 has no leg 'M': its legs are L, R.",
        id="unknown-leg",
    ),
    pytest.param(
        count(f"L1/M,{EARLY},H,100,90,,"),
        COUNTS + "at: Line L1 has no leg 'M': it has none.",
        id="line-without-legs",
    ),
    pytest.param(
        count(f"L1-10/M,{EARLY},H,100,90,,"),
        COUNTS + "at: No line has the code 'L1-10': write one of L1, L2, or add it to "
        "lines.csv.",
        id="leg-of-a-cell",
    ),
    pytest.param(
        count(f"L2/,{EARLY},H,100,90,,"),
        COUNTS + "at: 'L2/' names no leg after the slash: write one.",
        id="no-leg",
    ),
    pytest.param(
        count("L1,2026-03-03,Night,,,H,100,90,,"),
        COUNTS + "shift: Line L1 has no shift 'Night' on 2026-03-03: its shifts that "
        "day are Early, Late.",
        id="no-such-shift",
    ),
    pytest.param(
        count("L1,2026-03-04,Late,,,H,100,90,,"),
        COUNTS + "shift: L1 2026-03-04 Late has not begun: count it once it runs.",
        id="shift-to-come",
    ),
    pytest.param(
        count("L1,2026-03-03,,,,H,100,90,,"),
        COUNTS + "shift: A shift is named by its date and its name: give both.",
        id="date-alone",
    ),
    pytest.param(
        count("L1,,,,,H,100,90,,"),
        COUNTS + "shift: Give the date and shift, or a start and an end where no shift "
        "was planned.",
        id="no-time",
    ),
    pytest.param(
        count("L1,2026-03-03,Early,2026-03-03T06:00,2026-03-03T07:00,H,100,90,,"),
        "counts.csv, line 6: Give a shift, or a start and an end, not both.",
        id="shift-and-span",
    ),
    pytest.param(
        count("L1,,,2026-03-01T10:00,2026-03-01T09:00,H,100,90,,"),
        COUNTS + "ends_at: The end (2026-03-01 09:00) must lie after the start "
        "(2026-03-01 10:00).",
        id="end-before-start",
    ),
    pytest.param(
        count("L1,,,2026-03-03T10:00,2026-03-03T11:00,H,100,90,,"),
        COUNTS + "starts_at: L1 2026-03-03 Early was planned between these moments: "
        "give its date and shift instead.",
        id="span-in-a-shift",
    ),
    pytest.param(
        count("L1,2026-03-02,Early,,,H,1,1,,"),
        "counts.csv, line 6, column at, date, shift, starts_at, variant: Lines 2 and 6 "
        "are both for at 'L1', date '2026-03-02', shift 'Early', starts_at '', variant "
        "'H': keep one of them.",
        id="count-twice",
    ),
    pytest.param(
        and_rows("ideal_cycles.csv", "L1-20,S,0,2026-01-01"),
        CYCLES + "seconds: The ideal cycle (0 s) must be above 0 s: give the seconds "
        "that one body takes at best.",
        id="cycle-0",
    ),
    pytest.param(
        and_rows("ideal_cycles.csv", "L1-20,S,86401,2026-01-01"),
        CYCLES + "seconds: The ideal cycle (86401 s) is longer than a day: check the "
        "digits.",
        id="cycle-absurd",
    ),
    pytest.param(
        and_rows("ideal_cycles.csv", "L1-20,S,44.1234567,2026-01-01"),
        CYCLES + "seconds: '44.1234567' has too many decimals: write at most 6.",
        id="cycle-decimals",
    ),
    pytest.param(
        and_rows("plan.csv", "L1,2026-03-08,Early,500"),
        PLAN + "shift: Line L1 has no shift on 2026-03-08: check the date, or plan one "
        "in shift_patterns.csv or shifts.csv.",
        id="plan-without-shift",
    ),
    pytest.param(
        and_rows("plan.csv", "L1,2026-03-03,Early,-5"),
        PLAN + "bodies: '-5' is too small: write at least 0.",
        id="plan-negative",
    ),
    pytest.param(
        and_rows("variants.csv", "=H,formula"),
        "variants.csv, line 4, column code: '=H' starts with =, which a spreadsheet "
        "would not leave alone: start the code with a letter or a digit.",
        id="code-that-runs",
    ),
]


@pytest.mark.parametrize(("files", "text"), REFUSED)
def test_refused(tmp_path, files, text):
    assert fault_texts(tmp_path, files) == [text]
    assert not Variant.objects.exists()


def test_a_formula_in_a_name_is_text(tmp_path):
    files = {**SMALL, "variants.csv": "code,name\nH,=1+1\nS,saloon\n"}
    assert fault_texts(tmp_path, files) == []
    assert Variant.objects.get(code="H").name == "=1+1"


def test_a_cancelled_shift_has_no_count_and_no_plan(tmp_path):
    load_files(tmp_path, SMALL)
    off = and_rows("shifts.csv", "BODY,L1,Early,2026-03-03T06:00,2026-03-03T06:00,")
    files = {
        "shifts.csv": off["shifts.csv"],
        "counts.csv": with_rows("counts.csv", f"L1,{EARLY},H,10,10,,")["counts.csv"],
        "plan.csv": with_rows("plan.csv", "L1,2026-03-03,Early,1")["plan.csv"],
    }
    # Nothing hangs on that shift, so it is gone and not kept without length.
    assert fault_texts(tmp_path, files) == [
        "counts.csv, line 2, column shift: Line L1 has no shift 'Early' on 2026-03-03: "
        "its shifts that day are Late.",
        "plan.csv, line 2, column shift: Line L1 has no shift 'Early' on 2026-03-03: "
        "its shifts that day are Late.",
    ]


@pytest.mark.parametrize(
    ("row", "cells"),
    [
        pytest.param(f"L1,{EARLY},H,10,10,,", {"L1-10", "L1-20"}, id="line"),
        pytest.param(f"L2,{EARLY},H,10,10,,", set(), id="line-of-legs-only"),
        pytest.param(f"L2/R,{EARLY},H,10,10,,", {"L2-20"}, id="leg"),
        pytest.param(f"L2-10,{EARLY},H,10,10,,", {"L2-10"}, id="cell"),
    ],
)
def test_a_new_count_marks_the_cells_whose_account_rests_on_it(tmp_path, row, cells):
    load_files(tmp_path, SMALL)
    StaleMark.objects.all().delete()
    assert load_files(tmp_path, count(row)).faults == []
    assert set(StaleMark.objects.values_list("cell__code", flat=True)) == cells
