"""Roll-ups and rankings of stored accounts, against plain Python over the rows."""

import random
from collections.abc import Callable
from datetime import date, timedelta
from fractions import Fraction

import pytest
import time_machine
from django.core.exceptions import ValidationError

from cells.models import Area, Cell, Line, Shift
from maintenance.models import Reason
from oee.ledger.classes import OWN
from oee.models import CellShift
from oee.ranking import Ranked, rank
from oee.reports import By, Every, date_range, roll_up
from oee.result_files import SUMS_HEADER, sums_row
from oee.rollups import Basis
from tests.builders import (
    MONDAY,
    TUESDAY,
    Cast,
    at,
    make_area,
    make_cell,
    make_line,
    make_plant,
    make_shift,
    the_cast,
)
from tests.oee.stored import FIRST, LAST, an_account, make_stored_plant

pytestmark = pytest.mark.django_db

# How each key and period of the contract is written, from one stored row.
KEYS: dict[By, Callable[[CellShift], str]] = {
    "plant": lambda row: "Testwerk",
    "area": lambda row: row.area.code,
    "line": lambda row: row.line.code,
    "cell": lambda row: row.cell.code,
}
PERIODS: dict[Every, Callable[[CellShift], str]] = {
    "shift": lambda row: f"{row.production_date.isoformat()} {row.shift.name}",
    "day": lambda row: row.production_date.isoformat(),
    "week": lambda row: row.production_date.strftime("%G-W%V"),
    "month": lambda row: row.production_date.strftime("%Y-%m"),
    "all": lambda row: "all",
}

Figures = dict[str, object]


def slow_roll_up(
    rows: list[CellShift], by: By, every: Every, basis: Basis, area: str | None
) -> dict[tuple[str, str], tuple[Figures, int, int]]:
    groups: dict[tuple[str, str], list[CellShift]] = {}
    for row in rows:
        counts = by == "cell" or basis == "cells"
        if not counts and row.line.counting_cell_id != row.cell_id:
            continue
        if area in (None, row.area.code) and busy(row) > 0:
            key = (KEYS[by](row), PERIODS[every](row))
            groups.setdefault(key, []).append(row)
    return {
        key: (figures(rows), sum(row.counted for row in rows), len(rows))
        for key, rows in groups.items()
    }


def busy(row: CellShift) -> int:
    return row.scheduled_s - row.break_s - row.planned_s


def down(row: CellShift) -> int:
    return (
        row.breakdown_s
        + row.setup_s
        + row.quality_hold_s
        + row.people_s
        + row.supply_s
        + row.utilities_s
        + row.blocked_s
        + row.starved_s
    )


def figures(rows: list[CellShift]) -> Figures:
    """Section by section as the rule says it; exact until the one division."""
    counted = [row for row in rows if row.counted]
    total = {
        name: sum(getattr(row, name) for row in counted)
        for name in SUMS_HEADER
        if hasattr(CellShift, name)
    }
    total["busy_s"] = sum(busy(row) for row in counted)
    total["run_s"] = sum(busy(row) - down(row) for row in counted)
    made = Fraction(sum(row.ideal_total_us for row in counted), 1_000_000)
    good = Fraction(sum(row.ideal_good_us for row in counted), 1_000_000)
    own = sum(getattr(row, f"{name}_s") for row in rows for name in OWN)
    found = {
        **total,
        "ideal_total_s": made,
        "ideal_good_s": good,
        "slow_s": total["run_s"] - total["minor_s"] - made,
        "reject_s": made - good,
    }
    if not counted:
        found = total | dict.fromkeys(
            ("ideal_total_s", "ideal_good_s", "slow_s", "reject_s")
        )
    return found | {
        "own_lost_s": own + made - good,
        "availability": share(total["run_s"], total["busy_s"]),
        "performance": share(made, total["run_s"]),
        "quality": share(good, made),
        "oee": share(good, total["busy_s"]),
    }


def share(part: Fraction | int, whole: Fraction | int) -> float | None:
    return float(Fraction(part) / Fraction(whole)) if whole else None


@pytest.mark.parametrize("seed", [1, 2])
def test_a_roll_up_is_what_adding_row_by_row_gives(seed: int) -> None:
    make_stored_plant(random.Random(seed))
    stored = list(CellShift.objects.select_related("cell", "shift", "line", "area"))
    for by in KEYS:
        for every in PERIODS:
            for basis in ("counting", "cells"):
                for code in (None, "BODY"):
                    area = Area.objects.filter(code=code).first()
                    found = roll_up(
                        by=by, every=every, basis=basis, first=FIRST, last=LAST,
                        area=area,
                    )  # fmt: skip
                    as_told = {
                        (key, period): (
                            dict(zip(SUMS_HEADER, sums_row(sums), strict=True)),
                            sums.reported,
                            sums.expected,
                        )
                        for key, period, sums in found
                    }
                    assert len(as_told) == len(found)
                    assert as_told == slow_roll_up(stored, by, every, basis, code)


def test_a_roll_up_is_of_its_dates_only() -> None:
    make_stored_plant(random.Random(3))
    day = FIRST + timedelta(days=3)
    (whole,) = roll_up(by="plant", every="all", basis="cells", first=day, last=day)
    CellShift.objects.exclude(production_date=day).delete()
    assert (
        whole.sums
        == roll_up(by="plant", every="all", basis="cells", first=FIRST, last=LAST)[
            0
        ].sums
    )


def test_rows_come_by_key_and_then_in_the_order_of_time() -> None:
    make_plant()
    line = make_line(area=make_area())
    cell = make_cell(line=line)
    # Sunday night counts as Monday, and its name comes last in the alphabet.
    shifts = [make_shift(line, "Early", on=TUESDAY), make_shift(line, "Early")]
    shifts += [make_shift(line, "Night", on=MONDAY - timedelta(days=1), start="22:00")]
    Shift.objects.filter(name="Night").update(production_date=MONDAY)
    shifts[2].refresh_from_db()
    CellShift.objects.bulk_create(an_account(cell, shift) for shift in shifts)

    rows = roll_up(by="cell", every="shift", first=MONDAY, last=TUESDAY)

    periods = [row.period for row in rows]
    assert periods == ["2026-03-02 Night", "2026-03-02 Early", "2026-03-03 Early"]


def test_a_shift_without_a_count_is_in_coverage_and_own_lost_only(
    django_assert_num_queries: Callable,
) -> None:
    cast = the_cast()
    counted = {"counted": True, "ideal_total_us": 10**10, "ideal_good_us": 9 * 10**9}
    an_account(cast.cells[2], cast.early, breakdown_s=600, **counted).save()
    an_account(cast.cells[2], cast.late, breakdown_s=60, people_s=900).save()

    with django_assert_num_queries(3):
        (row,) = roll_up(by="line", every="day", first=MONDAY, last=MONDAY)

    assert (row.sums.reported, row.sums.expected) == (1, 2)
    assert row.sums.oee == 9000 / 28800
    assert (row.sums.breakdown_s, row.sums.people_s) == (600, 0)
    assert row.sums.own_lost_us == (600 + 60 + 1000) * 10**6


def dates_of_shifts(line: Line, *days: date) -> None:
    for day in days:
        make_shift(line, on=day)


def test_without_dates_a_report_covers_28_production_dates_up_to_yesterday() -> None:
    make_plant()
    area = make_area()
    weekdays = [MONDAY + timedelta(days=n) for n in range(60) if n % 7 < 5]
    dates_of_shifts(make_line(area=area), *weekdays)
    dates_of_shifts(make_line("P1", area=make_area("PAINT")), MONDAY, TUESDAY)
    wednesday = weekdays[32]
    # By the plant's clock it is Wednesday, by UTC still Tuesday.
    with time_machine.travel(at("00:30", wednesday), tick=False):
        assert date_range() == (weekdays[4], wednesday - timedelta(days=1))
        assert date_range(last=TUESDAY) == (MONDAY, TUESDAY)
        assert date_range(area=Area.objects.get(code="PAINT")) == (
            MONDAY,
            wednesday - timedelta(days=1),
        )


def test_a_cancelled_shift_makes_no_production_date() -> None:
    cast = the_cast()
    shift = make_shift(cast.line, on=MONDAY - timedelta(days=1))
    Shift.objects.filter(pk=shift.pk).update(ends_at=shift.starts_at)

    assert date_range(last=MONDAY) == (MONDAY, MONDAY)


@pytest.mark.parametrize(
    ("dates", "sentence"),
    [
        ({"first": TUESDAY, "last": MONDAY}, "The first date (2026-03-03) lies after"),
        ({"first": TUESDAY}, "lies after yesterday (2026-03-02)"),
    ],
    ids=["after the last", "after yesterday"],
)
def test_a_range_that_ends_before_it_begins_is_refused(
    dates: dict[str, date], sentence: str
) -> None:
    make_plant()
    with (
        time_machine.travel(at("12:00", TUESDAY), tick=False),
        pytest.raises(ValidationError) as refused,
    ):
        date_range(**dates)
    assert sentence in str(refused.value)


# Rankings


@pytest.fixture
def cast() -> Cast:
    return the_cast()


def a_reason(code: str, loss_class: str) -> Reason:
    return Reason.objects.create(code=code, name=code.title(), loss_class=loss_class)


def ranking(**asked: object) -> list[Ranked]:
    return rank(first=MONDAY, last=TUESDAY, **asked)


def codes(ranked: list[Ranked]) -> list[str]:
    return [row.cell.code for row in ranked]


def lose(cell: Cell, shift: Shift, **figures: object) -> None:
    an_account(cell, shift, **figures).save()


def test_cells_rank_by_own_seconds_and_ties_by_code(cast: Cast) -> None:
    first, second, third = cast.cells
    lose(first, cast.early, breakdown_s=50, people_s=5000)
    lose(second, cast.early, minor_s=50)
    lose(third, cast.early, setup_s=30, quality_hold_s=40)
    lose(cast.other_cell, cast.other_early, planned_s=28800)

    rows = ranking()

    assert codes(rows) == ["L1-30", "L1-10", "L1-20"]
    assert [row.rank for row in rows] == [1, 2, 3]
    # 70 s are 7/6 min, of 8 planned hours: own arithmetic.
    assert rows[0].place.per_100_h == pytest.approx(7 / 6 / 8 * 100, rel=1e-12)


def test_by_all_a_cell_without_a_count_stands_last(cast: Cast) -> None:
    first, second, third = cast.cells
    lose(first, cast.early, breakdown_s=9000)
    counted = {"counted": True, "ideal_total_us": 20 * 10**9}
    lose(second, cast.early, **counted, ideal_good_us=19 * 10**9)
    lose(third, cast.early, **counted, ideal_good_us=18 * 10**9)

    rows = ranking(by="all")

    assert codes(rows) == ["L1-30", "L1-20", "L1-10"]
    assert [row.place.all_lost_us for row in rows] == [108 * 10**8, 98 * 10**8, None]
    assert codes(ranking(by="own")) == ["L1-10", "L1-30", "L1-20"]


def test_stops_and_the_top_reason_are_of_own_fault(cast: Cast) -> None:
    stick, jam = a_reason("stick", "minor"), a_reason("jam", "breakdown")
    blocked = a_reason("blocked", "blocked")
    for shift in (cast.early, cast.late):
        told = {stick.pk: [300, 7], jam.pk: [250, 1], blocked.pk: [900, 12]}
        reasons = {str(reason): taken for reason, taken in told.items()}
        lose(cast.cells[0], shift, minor_s=300, breakdown_s=250, reasons=reasons)

    (row,) = ranking()

    assert row.stops == 2 * (7 + 1)
    assert (row.top_reason, row.top_reason_s) == (stick, 600)
    assert (row.top_of_all, row.top_of_all_s) == (blocked, 1800)


def test_of_two_reasons_with_the_same_seconds_the_lower_code_is_on_top(
    cast: Cast,
) -> None:
    later, sooner = a_reason("b", "minor"), a_reason("a", "breakdown")
    reasons = {str(later.pk): [60, 1], str(sooner.pk): [60, 1]}
    lose(cast.cells[0], cast.early, minor_s=60, breakdown_s=60, reasons=reasons)

    assert ranking()[0].top_reason == sooner


def test_a_reason_that_took_no_second_is_not_on_top(cast: Cast) -> None:
    reason = a_reason("in a break", "breakdown")
    lose(cast.cells[0], cast.early, reasons={str(reason.pk): [0, 1]})

    (row,) = ranking()

    assert (row.stops, row.top_reason, row.top_of_all) == (1, None, None)


def test_a_ranking_of_an_area_or_a_line_leaves_the_others_out(
    cast: Cast, django_assert_num_queries: Callable
) -> None:
    lose(cast.cells[0], cast.early, breakdown_s=50)
    lose(cast.other_cell, cast.other_early, breakdown_s=60)

    with django_assert_num_queries(4):
        assert codes(ranking()) == ["P1-10", "L1-10"]
    assert codes(ranking(area=cast.area)) == ["L1-10"]
    assert codes(ranking(line=cast.other_line)) == ["P1-10"]
