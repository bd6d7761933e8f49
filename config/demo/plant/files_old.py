"""The demo plant as the files of the contract."""

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import numpy as np

from config.demo.plant import calendar, layout, upkeep
from config.demo.plant import routines_old as routines
from config.demo.plant.account import write_account
from config.demo.plant.layout import LINES, ZONE, DemoLine
from config.demo.plant.sheets import Row, moment, write


def write_plant(folder: Path) -> None:
    """Write every file. The same seed gives the same bytes."""
    folder.mkdir(parents=True, exist_ok=True)
    _places(folder)
    _cells(folder)
    _products(folder)
    _working_time(folder)
    machines = upkeep.machine_rows()
    rng = np.random.default_rng([layout.SEED, 99])
    meters, readings = upkeep.meters_and_readings(machines, rng)
    write(folder, "machines", machines)
    write(folder, "meters", meters)
    write(folder, "readings", readings)
    done = upkeep.done_rows(machines, readings, rng)
    write(folder, "step_results", upkeep.step_results(done, rng))
    _upkeep(folder, done)
    write_account(folder)


def _places(folder: Path) -> None:
    write(folder, "plant", [{"name": layout.PLANT, "time_zone": ZONE.key}])
    write(
        folder,
        "areas",
        (
            {
                "code": code,
                "name": name,
                "oee_target": target,
                "target_from": "2026-01-01",
            }
            for code, (name, target) in layout.AREAS.items()
        ),
    )
    write(
        folder,
        "lines",
        (
            {
                "code": line.code,
                "area": line.area,
                "name": line.name,
                "order": line.order,
                "counting_cell": line.counting,
            }
            for line in LINES
        ),
    )


def _cells(folder: Path) -> None:
    write(
        folder,
        "cells",
        (
            {
                "code": cell.code,
                "line": line.code,
                "name": cell.name,
                "order": cell.order,
                "leg": cell.leg,
                "criticality": cell.criticality,
                "heads_limit": 2,
                **dict(
                    zip(
                        ("lockout_sheet", "lockout_revision", "lockout_date"),
                        cell.sheet or ("", "", ""),
                        strict=True,
                    )
                ),
            }
            for line in LINES
            for cell in line.cells
        ),
    )
    write(
        folder,
        "banks",
        [*_banks(), {"from": "FR1-060", "to": "FR2-010", "capacity": 4}],
    )


def _products(folder: Path) -> None:
    """What is built, how fast, and what stops it."""
    write(
        folder,
        "variants",
        ({"code": code, "name": name} for code, (name, _) in layout.VARIANTS.items()),
    )
    write(
        folder,
        "ideal_cycles",
        (
            {
                "cell": cell.code,
                "variant": variant,
                "seconds": seconds,
                "valid_from": "2025-06-01",
            }
            for line in LINES
            for cell in line.cells
            for variant, seconds in _registered_cycles(line, cell).items()
        ),
    )
    write(
        folder,
        "reasons",
        (
            dict(
                zip(
                    ("code", "name", "loss_class", "group", "subgroup"),
                    (code, *rest),
                    strict=True,
                )
            )
            for code, rest in layout.REASONS.items()
        ),
    )


def _banks() -> Iterable[Row]:
    for line in LINES:
        for leg in line.legs():
            for cell, after in pairwise(leg):
                if cell.code in line.banks:
                    yield {
                        "from": cell.code,
                        "to": after.code,
                        "capacity": line.banks[cell.code],
                    }


def _registered_cycles(line: DemoLine, cell: layout.DemoCell) -> dict[str, float]:
    code, seconds = layout.OLD_CYCLE
    if cell.code == code:
        return dict.fromkeys(line.cycles, seconds)
    return layout.true_cycles(line, cell)


def _working_time(folder: Path) -> None:
    def pattern(area: str, line: str, name: str) -> Row:
        start, end = layout.HOURS[name]
        return {
            "area": area,
            "line": line,
            "name": name,
            "weekdays": calendar.weekdays(name),
            "start": f"{start:%H:%M}",
            "end": f"{end:%H:%M}",
            "breaks": layout.BREAKS[name],
            "valid_from": layout.FIRST_DAY,
        }

    rows = [
        pattern(area, "", name) for area in layout.AREAS for name in ("Early", "Late")
    ]
    rows += [
        pattern(line.area, line.code, name)
        for line in LINES
        for name in line.shifts
        if len(line.shifts) > 2
    ]
    write(folder, "shift_patterns", rows)
    write(
        folder,
        "days_off",
        [{"date": layout.DAY_OFF, "area": "", "line": "", "name": "plant holiday"}],
    )
    write(
        folder,
        "shifts",
        (
            {
                "area": line.area,
                "line": line.code,
                "name": name,
                "starts_at": moment(start.timestamp()),
                "ends_at": moment(calendar.overtime_end(start).timestamp()),
                "breaks": layout.BREAKS[name],
            }
            for line in LINES
            for name, start in calendar.OVERTIME.get(line.code, [])
        ),
    )


def _upkeep(folder: Path, done: list[Row]) -> None:
    write(
        folder,
        "routines",
        (
            {
                column: _yes_no(value)
                for column, value in zip(routines.COLUMNS, routine, strict=True)
            }
            | {"heads": 1}
            for routine in routines.ROUTINES
        ),
    )
    write(
        folder,
        "steps",
        (
            dict(zip(routines.STEP_COLUMNS, step, strict=True))
            for step in routines.STEPS
        ),
    )
    write(folder, "done", done)
    write(folder, "first_due", upkeep.FIRST_DUE)
    columns = ("crew", "skill", "area", "weekdays", "start", "end", "heads")
    write(
        folder,
        "crews",
        (dict(zip(columns, team, strict=True)) for team in upkeep.TEAMS),
    )


def _yes_no(value: object) -> object:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else value
