"""plant.csv, areas.csv, lines.csv, cells.csv and banks.csv: what they refuse."""

import pytest

from cells.models import Area, AreaTarget, Line, Shift
from tests.plant_files import SMALL, and_rows, fault_texts, load_files, with_rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_frozen")]


CELLS = "cells.csv, line 6, column "
LINES = "lines.csv, line 4, column "

REFUSED = [
    pytest.param(
        with_rows("plant.csv", "Testwerk,Berlin"),
        "plant.csv, line 2, column time_zone: 'Berlin' is no time zone: write its IANA "
        "name, like Europe/Berlin.",
        id="time-zone",
    ),
    pytest.param(
        and_rows("plant.csv", "Other,Europe/Berlin"),
        "plant.csv, line 3: Line 2 is the plant already: keep one of them.",
        id="two-plants",
    ),
    pytest.param(
        and_rows("areas.csv", "PAINT,Paint shop,0,"),
        "areas.csv, line 3, column oee_target: 0 is no target: write a share above 0, "
        "like 0.77 for 77 %.",
        id="target-0",
    ),
    pytest.param(
        and_rows("areas.csv", "PAINT,Paint shop,,2026-01-01"),
        "areas.csv, line 3, column oee_target: There is a date (2026-01-01) and no "
        "target: give the target, or leave the date empty.",
        id="date-without-target",
    ),
    pytest.param(
        and_rows("areas.csv", "BODY,Again,,"),
        "areas.csv, line 3, column code: Lines 2 and 3 are both for code 'BODY': keep "
        "one of them.",
        id="area-twice",
    ),
    pytest.param(
        and_rows("areas.csv", "P SHOP,Paint shop,,"),
        "areas.csv, line 3, column code: The code “P SHOP” cannot be used: write "
        "letters, digits, dots, dashes and underscores, without spaces.",
        id="code-with-a-space",
    ),
    pytest.param(
        and_rows("lines.csv", "body,BODY,Body,3,"),
        LINES + "code: The code “body” is taken by the area BODY: areas, lines and "
        "cells share one set of codes, in capitals or not. Choose another.",
        id="code-of-an-area",
    ),
    pytest.param(
        and_rows("cells.csv", "L2,L2,Load,1,,,,,,"),
        CELLS + "code: The code “L2” is taken by the line L2: areas, lines and cells "
        "share one set of codes, in capitals or not. Choose another.",
        id="code-of-a-line",
    ),
    pytest.param(
        and_rows("cells.csv", "l1-10,L2,Load,1,,,,,,"),
        CELLS + "code: The code “l1-10” is taken by the cell L1-10: areas, lines and "
        "cells share one set of codes, in capitals or not. Choose another.",
        id="code-in-small-letters",
    ),
    pytest.param(
        and_rows("lines.csv", "L3,PAINT,Paint,3,"),
        LINES + "area: No area has the code 'PAINT': write one of BODY, or add it to "
        "areas.csv.",
        id="unknown-area",
    ),
    pytest.param(
        and_rows("lines.csv", "L3,BODY,Third,3,L1-10"),
        LINES + "counting_cell: Cell L1-10 stands in line L1: choose a cell of line "
        "L3.",
        id="counting-cell-elsewhere",
    ),
    pytest.param(
        and_rows("lines.csv", "L3,BODY,Third,3,L3-10"),
        LINES + "counting_cell: No cell has the code 'L3-10': write one of L1-10, "
        "L1-20, L2-10, L2-20, or add it to cells.csv.",
        id="unknown-counting-cell",
    ),
    pytest.param(
        and_rows("cells.csv", "L1-30,L1,Geo,30,,D,,,,"),
        CELLS + "criticality: 'D' is not known here: write one of A, B, C.",
        id="criticality",
    ),
    pytest.param(
        and_rows("cells.csv", "L1-30,L1,Geo,-3,,,,,,"),
        CELLS + "order: '-3' is too small: write at least 0.",
        id="negative-order",
    ),
    pytest.param(
        and_rows("cells.csv", "L1-30,L1,Geo,30,,,0,,,"),
        CELLS + "heads_limit: '0' is too small: write at least 1.",
        id="no-heads",
    ),
    pytest.param(
        and_rows("cells.csv", "L1-30,L1,Geo,30,,,,,2,"),
        CELLS + "lockout_sheet: The sheet's number is missing: give it with its "
        "revision.",
        id="revision-without-sheet",
    ),
    pytest.param(
        and_rows("cells.csv", "L1-30,L1,Geo,30,,,,LS-30,2,2026-03-05"),
        CELLS + "lockout_date: The sheet's date 2026-03-05 lies in the future: give "
        "the date of the revision in use.",
        id="sheet-of-tomorrow",
    ),
    pytest.param(
        and_rows("banks.csv", "L1-20,L1-10,4"),
        "banks.csv, line 3, column to: Cell L1-10 does not come after L1-20 in line "
        "L1: name the two in the order of the flow.",
        id="bank-backwards",
    ),
    pytest.param(
        and_rows("banks.csv", "L1-10,L1-10,4"),
        "banks.csv, line 3, column to: A bank lies between two different cells: name "
        "the next.",
        id="bank-of-one-cell",
    ),
    pytest.param(
        with_rows("banks.csv", "L1-10,L1-20,-1"),
        "banks.csv, line 2, column capacity: '-1' is too small: write at least 0.",
        id="negative-bank",
    ),
]


@pytest.mark.parametrize(("files", "text"), REFUSED)
def test_refused(tmp_path, files, text):
    assert fault_texts(tmp_path, files) == [text]
    assert not Area.objects.exists()


def test_a_line_stays_in_its_area_and_a_cell_in_its_line(tmp_path):
    load_files(tmp_path, SMALL)
    files = {
        "areas.csv": SMALL["areas.csv"] + "PAINT,Paint shop,,\n",
        "lines.csv": SMALL["lines.csv"].replace("L2,BODY", "L2,PAINT"),
        "cells.csv": SMALL["cells.csv"].replace("L1-10,L1", "L1-10,L2"),
    }
    assert fault_texts(tmp_path, files) == [
        "lines.csv, line 3, column area: Line L2 belongs to area BODY, by whose shifts "
        "its account is kept: leave it there, or add a line with another code.",
        "cells.csv, line 2, column line: Cell L1-10 stands in line L1, by whose shifts "
        "its account is kept: leave it there, or add a cell with another code.",
    ]


def test_the_time_zone_stays_once_there_are_shifts(tmp_path):
    load_files(tmp_path, SMALL)
    files = {"plant.csv": "name,time_zone\nTestwerk,Europe/Paris\n"}
    assert fault_texts(tmp_path, files) == [
        "plant.csv, line 2, column time_zone: The shifts are stored by the clocks of "
        "Europe/Berlin: Europe/Paris would move them all. Load that plant into a new "
        "database."
    ]


def test_a_target_of_another_date_is_one_more(tmp_path):
    load_files(tmp_path, SMALL)
    later = SMALL["areas.csv"].replace("0.77,2026-01-01", "0.79,2026-02-01")
    assert load_files(tmp_path, {"areas.csv": later}).faults == []
    targets = AreaTarget.objects.values_list("valid_from", "oee")
    assert [(str(day), str(oee)) for day, oee in targets] == [
        ("2026-01-01", "0.7700"),
        ("2026-02-01", "0.7900"),
    ]


def test_a_target_without_a_date_has_always_held(tmp_path):
    files = {**SMALL, "areas.csv": "code,name,oee_target\nBODY,Body shop,0.77\n"}
    assert load_files(tmp_path, files).faults == []
    assert AreaTarget.objects.get().valid_from.year == 1970


def test_a_new_line_works_the_shifts_of_its_area_from_the_first_pattern_on(tmp_path):
    load_files(tmp_path, SMALL)
    more = SMALL["lines.csv"] + "L3,BODY,Third,3,\n"
    assert load_files(tmp_path, {"lines.csv": more}).faults == []
    shifts = Shift.objects.filter(line=Line.objects.get(code="L3"))
    assert str(shifts.earliest("starts_at").production_date) == "2026-03-02"
