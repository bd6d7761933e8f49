"""What the rows of other files name by a code, a serial number or a name."""

from datetime import date
from typing import Any

from cells.files.run import Kind, Row, Run
from cells.models import Area, Cell, Line, Machine, Meter, Placement, Shift


def _areas() -> dict[str, Area]:
    return {area.code: area for area in Area.objects.all()}


def _lines() -> dict[str, Line]:
    lines = Line.objects.order_by().select_related("area")
    return {line.code: line for line in lines}


def _cells() -> dict[str, Cell]:
    cells = Cell.objects.order_by().select_related("line__area")
    return {cell.code: cell for cell in cells}


def _machines() -> dict[str, Machine]:
    return {machine.serial: machine for machine in Machine.objects.order_by()}


def _meters() -> dict[tuple[int, str], Meter]:
    meters = Meter.objects.order_by().select_related("machine")
    return {(meter.machine_id, meter.name): meter for meter in meters}


def _shifts() -> dict[tuple[int, date, str], Shift]:
    shifts = Shift.objects.order_by().select_related("line")
    return {
        (shift.line_id, shift.production_date, shift.name): shift
        for shift in shifts.iterator(chunk_size=2000)
    }


def _positions() -> dict[int, set[str]]:
    """Of each cell, where anything stands or ever stood."""
    found: dict[int, set[str]] = {}
    rows = Placement.objects.order_by().values_list("cell_id", "position")
    for cell, position in rows:
        found.setdefault(cell, set()).add(position)
    return found


AREAS = Kind("area", "areas.csv", _areas)
LINES = Kind("line", "lines.csv", _lines)
CELLS = Kind("cell", "cells.csv", _cells)
MACHINES = Kind("machine", "machines.csv", _machines)
METERS = Kind("meter", "meters.csv", _meters)
SHIFTS = Kind("shift", "shift_patterns.csv", _shifts)
POSITIONS = Kind("position", "machines.csv", _positions)


def find_shift(row: Row, line: Line) -> Shift | None:
    """The shift that the columns date and shift name; those of that day if not."""
    key = (line.id, row["date"], row["shift"])
    shifts = row.run.known(SHIFTS)
    found: Shift | None = shifts.get(key)
    if found is None:
        row.miss(SHIFTS, key, "shift", _no_such_shift(row.run, line, row))
    return found


def _no_such_shift(run: Run, line: Line, row: Row) -> str:
    day: Any = row["date"]
    of_day = sorted(
        (
            shift
            for key, shift in run.known(SHIFTS).items()
            if key[:2] == (line.pk, day)
        ),
        key=lambda shift: shift.starts_at,
    )
    if not of_day:
        return (
            f"Line {line} has no shift on {day}: check the date, or plan one in "
            "shift_patterns.csv or shifts.csv."
        )
    names = ", ".join(shift.name for shift in of_day)
    return (
        f"Line {line} has no shift {row['shift']!r} on {day}: its shifts that day are "
        f"{names}."
    )


def find_meter(row: Row, machine: Machine, name: str, column: str) -> Meter | None:
    meters = row.run.known(METERS)
    found: Meter | None = meters.get((machine.id, name))
    if found is None:
        names = sorted(meter for owner, meter in meters if owner == machine.pk)
        its = f"its meters are {', '.join(names)}" if names else "it has none"
        row.miss(
            METERS,
            (machine.pk, name),
            column,
            f"{machine} has no meter {name!r}: {its}; add it to meters.csv.",
        )
    return found
