"""Stored accounts of a small plant with made-up seconds, written without the ledger."""

import random
from collections.abc import Iterable
from datetime import date, timedelta

from cells.models import Cell, Line, Shift
from oee.ledger.classes import LOSS_CLASSES
from oee.models import CellShift
from tests.builders import NOW, make_area, make_cell, make_line, make_plant, make_shift

#: Over the ends of a week, a month, a year and an ISO year.
FIRST, LAST = date(2025, 12, 26), date(2026, 1, 6)
SHIFTS = {
    "Early": ("06:00", "14:00"),
    "Late": ("14:00", "22:00"),
}


def make_stored_plant(rng: random.Random) -> None:
    """Two areas, three lines (one without a counting cell), five cells."""
    make_plant()
    body, paint = make_area(), make_area("PAINT", "Paint shop")
    for area, code, count in ((body, "B1", 2), (body, "B2", 1), (paint, "P1", 2)):
        line = make_line(code, area=area)
        cells = [make_cell(f"{code}-{n}", line=line) for n in range(count)]
        if code != "P1":
            line.counting_cell = cells[0]
            line.save()
        store_accounts(cells, make_shifts(line), rng)


def make_shifts(line: Line) -> list[Shift]:
    days = [FIRST + timedelta(days=n) for n in range((LAST - FIRST).days + 1)]
    return [
        make_shift(line, name, on=day, start=start, end=end, breaks="")
        for day in days
        for name, (start, end) in SHIFTS.items()
    ]


def store_accounts(
    cells: Iterable[Cell], shifts: Iterable[Shift], rng: random.Random
) -> None:
    shifts = list(shifts)
    CellShift.objects.bulk_create(
        an_account(cell, shift, **random_seconds(rng))
        for cell in cells
        for shift in shifts
    )


def an_account(cell: Cell, shift: Shift, **figures: object) -> CellShift:
    """Not saved. Eight hours in which nothing happened and nothing was counted."""
    nothing = {f"{name}_s": 0 for name in LOSS_CLASSES}
    given = {
        "scheduled_s": 28800,
        "break_s": 0,
        "planned_late_s": 0,
        **nothing,
        "counted": False,
        "made": 0,
        "good": 0,
        "ideal_total_us": 0,
        "ideal_good_us": 0,
        "flags": 0,
        "reasons": {},
        **figures,
    }
    return CellShift(
        cell=cell,
        shift=shift,
        line_id=shift.line_id,
        area_id=cell.line.area_id,
        production_date=shift.production_date,
        computed_at=NOW,
        **given,
    )


def random_seconds(rng: random.Random) -> dict[str, object]:
    """A fifth is not planned, a quarter of the rest not counted."""
    if rng.random() < 0.2:
        return {"planned_s": 28800 - 1200, "break_s": 1200, "made": 3, "good": 3}
    seconds = {f"{name}_s": rng.randrange(0, 2500) for name in LOSS_CLASSES}
    seconds |= {"break_s": 1200, "planned_late_s": rng.randrange(0, 100)}
    if rng.random() < 0.25:
        return seconds
    good = rng.randrange(0, 20_000_000_001)
    return {
        **seconds,
        "counted": True,
        "made": rng.randrange(200, 400),
        "good": rng.randrange(0, 200),
        "ideal_total_us": good + rng.randrange(0, 999_999_999),
        "ideal_good_us": good,
    }
