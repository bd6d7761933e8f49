"""Worked examples, entered by the verbs, computed and exported by the commands.

X1 to X19 are our own arithmetic. OEE-7 is our own inputs on the formulas of
ISO 22400-2 (from memory), in exact rational numbers.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest
import time_machine

from cells.models import Area
from maintenance.planned_stops import declare_planned_stop
from maintenance.stops import log_stop
from tests.builders import (
    BREAKS,
    MONDAY,
    TUESDAY,
    at,
    make_area,
    make_cell,
    make_line,
    make_plant,
)
from tests.oee.worked import (
    a_cell,
    count,
    figure,
    plan_shift,
    printed,
    reason_of,
    said,
    work,
)

pytestmark = pytest.mark.django_db

LOSSES = (
    "breakdown_s",
    "setup_s",
    "quality_hold_s",
    "minor_s",
    "people_s",
    "supply_s",
    "utilities_s",
    "blocked_s",
    "starved_s",
    "slow_s",
    "reject_s",
)


@pytest.fixture
def area() -> Iterator[Area]:
    """Its shifts are over, and nobody planned others for the time after."""
    make_plant()
    with time_machine.travel(at("06:00", date(2026, 3, 5)), tick=False):
        yield make_area()


X1 = {
    "minutes": 480,
    "breaks": BREAKS,
    "breakdown": 52,
    "bodies": {"60": (360, 351)},
}


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        pytest.param(
            X1,
            {
                "scheduled_s": 480 * 60,
                "break_s": 40 * 60,
                "busy_s": 440 * 60,
                "run_s": 388 * 60,
                "availability": 388 / 440,
                "performance": 360 / 388,
                "quality": 351 / 360,
                "oee": 351 / 440,
            },
            id="X1 base",
        ),
        pytest.param(
            {
                "minutes": 480,
                "breaks": "09:00-09:30",
                "worked_through": True,
                "breakdown": 40,
                "bodies": {"60": (415, 415)},
            },
            {
                "break_s": 0,
                "availability": 440 / 480,
                "performance": 415 / 440,
                "oee": 415 / 480,
            },
            id="X2 break run through",
        ),
        pytest.param(
            {
                "minutes": 450,
                "breakdown": 27,
                "blocked": 40,
                "starved": 33,
                "bodies": {"60": (330, 330)},
            },
            {
                "run_s": 350 * 60,
                "availability": 350 / 450,
                "oee": 330 / 450,
                "own_lost_s": 27 * 60,
            },
            id="X3 starved",
        ),
        pytest.param(
            {
                "minutes": 440,
                "setup": 140,
                "bodies": {"54": (120, 120), "58": (100, 100), "66": (60, 60)},
            },
            {
                "ideal_total_s": 6480 + 5800 + 3960,
                "performance": 16240 / (300 * 60),
            },
            id="X4 three variants",
        ),
        pytest.param(
            {
                "minutes": 440,
                "planned": 20,
                "setup": 12,
                "breakdown": 40,
                "bodies": {"60": (340, 340)},
            },
            {
                "planned_s": 20 * 60,
                "planned_late_s": 0,
                "busy_s": 420 * 60,
                "availability": 368 / 420,
                "oee": 340 / 420,
            },
            id="X11 maintenance in the shift, 12 min over",
        ),
        pytest.param(
            {"minutes": 440, "bodies": {"60": (406, 406)}},
            {
                "availability": 1,
                "performance": 406 / 440,
                "slow_s": 34 * 60,
                "own_lost_s": 0,
            },
            id="X12 robot bypassed",
        ),
        pytest.param(
            X1,
            {"slow_s": 28 * 60, "reject_s": 9 * 60, "ideal_good_s": 351 * 60},
            id="X18 unexplained",
        ),
        pytest.param(
            {"minutes": 440, "breakdown": 440, "bodies": {"60": (0, 0)}},
            {"availability": 0, "performance": None, "quality": None, "oee": 0},
            id="X19 stopped all the time",
        ),
        pytest.param(
            {"minutes": 440, "breakdown": 410, "bodies": {"60": (0, 0)}},
            {"availability": 30 / 440, "performance": 0, "quality": None, "oee": 0},
            id="X19 nothing made",
        ),
    ],
)
def test_a_worked_example_comes_out_of_the_export(
    area: Area, told: dict, expected: dict
) -> None:
    work(area, "L1", **told)
    assert said("compute_oee") == "1 so far …\n1 cell-shift computed.\n"

    (row,) = printed("export_cell_shifts")

    assert {name: figure(row[name]) for name in expected} == expected
    # The account closes: every busy second has one owner.
    owned = sum(Fraction(row[name]) for name in (*LOSSES, "ideal_good_s"))
    assert owned == int(row["busy_s"])


def test_x3_own_availability_leaves_out_what_was_done_to_the_cell(area: Area) -> None:
    work(area, "L1", minutes=450, breakdown=27, blocked=40, starved=33)
    said("compute_oee")

    (row,) = printed("export_cell_shifts")

    own = int(row["run_s"]) / (int(row["run_s"]) + int(row["breakdown_s"]))
    assert own == 350 / 377


def test_x19_nothing_planned_is_no_oee_and_no_part_of_a_roll_up(area: Area) -> None:
    work(area, "L1", minutes=440, planned=440, bodies={"60": (0, 0)})
    said("compute_oee")

    (row,) = printed("export_cell_shifts")

    assert row["busy_s"] == "0"
    factors = ("availability", "performance", "quality", "oee")
    assert [row[name] for name in factors] == ["", "", "", ""]
    assert printed("export_oee", "--by", "plant", "--every", "all") == []


def test_x7_a_stop_over_the_shift_end_is_split_and_counted_once(area: Area) -> None:
    cell = a_cell(area, "L1")
    plan_shift(cell.line, at("06:00"), at("14:00"))
    plan_shift(cell.line, at("14:00"), at("22:00"), "Late")
    log_stop(
        cell=cell,
        reason=reason_of("breakdown"),
        started_at=at("13:40"),
        ended_at=at("14:25"),
        by=None,
    )
    said("compute_oee")

    rows = printed("export_cell_shifts")

    taken = {row["shift"]: int(row["breakdown_s"]) for row in rows}
    assert taken == {"Early": 20 * 60, "Late": 25 * 60}
    (ranked,) = printed("rank_cells")
    assert (ranked["own_lost_s"], ranked["stops"]) == ("2700", "1")


def test_x7_a_stop_over_a_break_costs_what_lies_beside_it(area: Area) -> None:
    cell = a_cell(area, "L1")
    plan_shift(cell.line, at("06:00"), at("14:00"), breaks="11:00-11:30")
    log_stop(
        cell=cell,
        reason=reason_of("breakdown"),
        started_at=at("10:50"),
        ended_at=at("11:40"),
        by=None,
    )
    said("compute_oee")

    (row,) = printed("export_cell_shifts")

    assert row["breakdown_s"] == "1200"


# Europe/Berlin changes on 2026-03-29 at 01:00 UTC and back on 2026-10-25 at 01:00 UTC
# (tzdata). In autumn 02:40 comes at 00:40 UTC first, and 02:10 at 01:10 UTC again.
@pytest.mark.parametrize(
    ("night", "start", "end", "scheduled_min", "stopped_min"),
    [
        pytest.param(
            date(2026, 3, 28), "2026-03-29 00:30", "2026-03-29 01:30", 420, 60,
            id="spring, 01:30 to 03:30 by the clock",
        ),
        pytest.param(
            date(2026, 10, 24), "2026-10-25 00:40", "2026-10-25 01:10", 540, 30,
            id="autumn, first 02:40 to second 02:10",
        ),
    ],
)  # fmt: skip
def test_x8_a_night_of_a_clock_change_is_as_long_as_it_is(
    area: Area, night: date, start: str, end: str, scheduled_min: int, stopped_min: int
) -> None:
    cell = a_cell(area, "L1")
    begins, ends = at("22:00", night), at("06:00", night + timedelta(days=1))
    plan_shift(cell.line, begins, ends, "Night")
    with time_machine.travel(ends + timedelta(days=1), tick=False):
        log_stop(
            cell=cell,
            reason=reason_of("breakdown"),
            started_at=datetime.fromisoformat(start).replace(tzinfo=UTC),
            ended_at=datetime.fromisoformat(end).replace(tzinfo=UTC),
            by=None,
        )
        said("compute_oee")

        (row,) = printed("export_cell_shifts")

    assert row["date"] == night.isoformat()
    assert int(row["scheduled_s"]) == scheduled_min * 60
    assert int(row["breakdown_s"]) == stopped_min * 60


def test_x10_cells_roll_up_by_their_minutes(area: Area) -> None:
    work(area, "A", minutes=450, bodies={"60": (350, 350)})
    work(area, "B", minutes=200, bodies={"60": (78, 78)})
    said("compute_oee")

    cells = printed("export_oee", "--by", "cell", "--every", "day")
    (whole,) = printed("export_oee", "--by", "area", "--every", "day")

    assert [float(row["oee"]) for row in cells] == [350 / 450, 78 / 200]
    assert float(whole["oee"]) == 428 / 650


def test_x10_shifts_roll_up_by_their_minutes(area: Area) -> None:
    work(area, "A", minutes=440, bodies={"60": (351, 351)})
    work(area, "A", on=TUESDAY, minutes=200, bodies={"60": (100, 100)})
    said("compute_oee")

    days = printed("export_oee", "--by", "cell", "--every", "day")
    (whole,) = printed("export_oee", "--by", "cell", "--every", "week")

    assert [float(row["oee"]) for row in days] == [351 / 440, 100 / 200]
    assert (whole["period"], float(whole["oee"])) == ("2026-W10", 451 / 640)


def test_x11_what_oee_would_be_without_planned_stops(area: Area) -> None:
    work(area, "L1", minutes=440, planned=20, breakdown=52, bodies={"60": (340, 340)})
    said("compute_oee")

    (row,) = printed("export_cell_shifts")

    everything = int(row["busy_s"]) + int(row["planned_s"])
    assert int(row["ideal_good_s"]) / everything == 340 / 440


def test_a_planned_stop_declared_in_the_shift_shows_beside_the_oee(area: Area) -> None:
    cell = work(area, "L1", minutes=440, bodies={"60": (340, 340)})
    with time_machine.travel(at("07:00"), tick=False):
        declare_planned_stop(
            place=cell,
            starts_at=at("08:00"),
            ends_at=at("08:20"),
            reason=reason_of("planned"),
            by=None,
        )
    said("compute_oee")

    (row,) = printed("export_cell_shifts")

    assert (row["planned_s"], row["planned_late_s"]) == ("1200", "1200")
    assert float(row["oee"]) == 340 / 420
    assert row["flags"] == "declared_late not_confirmed"


def test_x15_a_cell_faster_than_the_constraint_is_slow_without_a_fault(
    area: Area,
) -> None:
    line = make_line(area=area)
    cells = [make_cell(code, line=line) for code in ("constraint", "neighbour")]
    line.counting_cell = cells[0]
    line.save()
    shift = plan_shift(line, at("06:00"), at("14:00"), breaks="09:00-09:40")
    for cell, ideal in zip(cells, ("62", "54"), strict=True):
        count(cell, shift, {ideal: (360, 360)})
    said("compute_oee")

    by_cell = printed("export_oee", "--by", "cell", "--every", "all")
    (by_line,) = printed("export_oee", "--by", "line", "--every", "all")

    assert [float(row["oee"]) for row in by_cell] == [372 / 440, 324 / 440]
    assert [row["own_lost_s"] for row in by_cell] == ["0", "0"]
    assert float(by_line["oee"]) == 372 / 440


def test_x17_an_area_of_three_lines_is_not_the_mean_of_them(area: Area) -> None:
    work(area, "A", minutes=880, bodies={"60": (704, 704)})
    work(area, "B", minutes=440, bodies={"60": (286, 286)})
    work(area, "C", minutes=220, bodies={"60": (99, 99)})
    said("compute_oee")

    lines = printed("export_oee", "--by", "line", "--every", "month")
    (whole,) = printed("export_oee", "--by", "area", "--every", "month")

    assert [float(row["oee"]) for row in lines] == [0.8, 0.65, 0.45]
    assert (whole["period"], float(whole["oee"])) == ("2026-03", 1089 / 1540)
    assert (whole["reported"], whole["expected"]) == ("3", "3")


def test_oee_7_three_cells_roll_up_by_time(area: Area) -> None:
    work(area, "A", minutes=460, breakdown=60, bodies={"30": (400, 392)})
    work(area, "B", minutes=920, breakdown=46, bodies={"60": (760, 722)})
    work(area, "C", minutes=480, breakdown=192, bodies={"90": (160, 160)})
    said("compute_oee")

    cells = printed("export_oee", "--by", "cell", "--every", "shift")
    (whole,) = printed("export_oee", "--by", "area", "--every", "shift")

    found = [round(float(row["oee"]), 10) for row in cells]
    assert found == [0.4260869565, 0.7847826087, 0.5]
    assert float(whole["availability"]) == 1562 / 1860
    assert float(whole["performance"]) == 1200 / 1562
    assert float(whole["quality"]) == 1158 / 1200
    assert float(whole["oee"]) == 193 / 310
    # The mean of the cells' figures, weighted by planned time, is the same number.
    minutes = [int(row["busy_s"]) / 60 for row in cells]
    weighted = sum(m * float(row["oee"]) for m, row in zip(minutes, cells, strict=True))
    assert weighted / sum(minutes) == pytest.approx(193 / 310, rel=1e-12)
    assert whole["period"] == f"{MONDAY} Early"
