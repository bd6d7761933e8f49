"""A demo plant as the files of the contract."""

import csv
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

from config.demo.plant import counted, history, machines, routines, stop_rows
from config.demo.plant.days import overtime_end, overtime_start, weekdays
from config.demo.plant.description import BREAKS, HOURS, VARIANTS, ZONE, Line, Plant
from config.demo.plant.logbook import Log
from config.demo.plant.reasons import REASONS
from config.demo.plant.simulated import Run, run

Row = Sequence[object]
Write = Callable[[str, Sequence[str], Iterable[Row]], None]
Progress = Callable[[str, int, int], None]
TOTAL = 5


def write_plant(folder: Path, plant: Plant, progress: Progress | None = None) -> None:
    """Write every file. The same plant gives the same bytes.

    `progress` is told of the work: its name, the steps done and the steps there are.
    """
    folder.mkdir(parents=True, exist_ok=True)

    def write(name: str, columns: Sequence[str], rows: Iterable[Row]) -> None:
        path = folder / f"{name}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(columns)
            writer.writerows(rows)

    runs: list[Run] = []
    for done, step in enumerate(_steps(write, plant, runs), start=1):
        step()
        if progress:
            progress("the plant's files", done, TOTAL)


def _steps(write: Write, plant: Plant, runs: list[Run]) -> list[Callable[[], None]]:
    return [
        lambda: runs.append(run(plant, nights=False)),
        lambda: runs.append(run(plant, nights=True)),
        lambda: _write_account(write, plant, runs),
        lambda: _write_place_and_time(write, plant),
        lambda: _write_upkeep(write, plant, runs),
    ]


def _write_account(write: Write, plant: Plant, runs: Sequence[Run]) -> None:
    """What stopped, what was made, and the targets that this leads to."""
    rng = np.random.default_rng([plant.seed, 3])
    logs = [Log(plant, one, rng) for one in runs]
    written = [log.rows() for log in logs]
    stops = stop_rows.stop_rows(plant, [stops for stops, _ in written], rng)
    write("stops", stop_rows.COLUMNS, stops)
    write(
        "tallies",
        ("cell", "date", "shift", "reason", "times", "seconds"),
        (row for _, rows in written for row in rows),
    )
    made = counted.Counted(plant)
    for one in runs:
        made.add(one, rng)
    write("counts", counted.COUNT_COLUMNS, made.counts)
    targets = made.targets()
    write(
        "plan",
        ("line", "date", "shift", "bodies"),
        counted.plan_rows(plant, runs),
    )
    write(
        "confirmations",
        ("line", "date", "shift", "confirmed_at"),
        counted.confirmation_rows(plant, logs, rng),
    )
    write(
        "areas",
        ("code", "name", "oee_target", "target_from"),
        (
            (area.code, area.name, f"{targets[area.code]:.3f}", plant.first_day)
            for area in plant.areas
        ),
    )


def _write_place_and_time(write: Write, plant: Plant) -> None:
    write("plant", ("name", "time_zone"), [(plant.name, ZONE.key)])
    write(
        "lines",
        ("code", "area", "name", "order", "counting_cell"),
        (
            (line.code, line.area, line.name, line.order, line.counting)
            for line in plant.lines
        ),
    )
    write(
        "cells",
        (
            "code",
            "line",
            "name",
            "order",
            "leg",
            "criticality",
            "heads_limit",
            "lockout_sheet",
            "lockout_revision",
            "lockout_date",
        ),
        _cells(plant),
    )
    write("banks", ("from", "to", "capacity"), _banks(plant))
    _write_products(write, plant)
    _write_calendar(write, plant)


def _cells(plant: Plant) -> Iterator[Row]:
    for line in plant.lines:
        for cell in line.cells:
            sheet = cell.sheet or ("", "", "")
            place = (cell.code, line.code, cell.name, cell.order, cell.leg)
            yield (*place, cell.criticality, 2, *sheet)


def _banks(plant: Plant) -> Iterator[Row]:
    """All neighbours in the flow, those without room between them included."""
    known = {line.code: line for line in plant.lines}
    for line in plant.lines:
        for leg in line.legs:
            for cell, after in pairwise(leg):
                yield cell.code, after.code, line.banks.get(cell.code, 0)
    for bank in plant.banks:
        for end in _ends(known[bank.line], -1):
            for head in _ends(known[bank.into], 0):
                yield end, head, bank.capacity


def _ends(line: Line, place: int) -> list[str]:
    return [leg[place].code for leg in line.legs]


def _write_products(write: Write, plant: Plant) -> None:
    """What is built, how fast, and what stops it."""
    write(
        "variants",
        ("code", "name"),
        ((code, name) for code, (name, _) in VARIANTS.items()),
    )
    write(
        "ideal_cycles",
        ("cell", "variant", "seconds", "valid_from"),
        (
            (cell.code, variant, seconds, "2025-06-01")
            for cell in plant.cells.values()
            for variant, seconds in cell.ideal.items()
        ),
    )
    write(
        "reasons",
        ("code", "name", "loss_class", "group", "subgroup"),
        ((code, *rest) for code, rest in REASONS.items()),
    )


def _write_calendar(write: Write, plant: Plant) -> None:
    times = ("weekdays", "start", "end", "breaks", "valid_from")
    write("shift_patterns", ("area", "line", "name", *times), _patterns(plant))
    write(
        "days_off",
        ("date", "area", "line", "name"),
        ((day, "", "", name) for day, name in plant.days_off.items()),
    )
    write(
        "shifts",
        ("area", "line", "name", "starts_at", "ends_at", "breaks"),
        _overtime(plant),
    )
    write(
        "planned_stops",
        ("ref", "at", "starts_at", "ends_at", "reason", "declared_at"),
        _planned(plant),
    )
    columns = ("cell", "date", "shift", "break_start")
    write("worked_breaks", columns, plant.worked_breaks)


def _patterns(plant: Plant) -> Iterator[Row]:
    def row(area: str, line: str, name: str) -> Row:
        start, end = HOURS[name]
        times = (f"{start:%H:%M}", f"{end:%H:%M}", BREAKS[name])
        return (area, line, name, weekdays(name), *times, plant.first_day)

    for area in plant.areas:
        for name in ("Early", "Late"):
            yield row(area.code, "", name)
    for line in plant.lines:
        if "Night" in line.shifts:
            for name in line.shifts:
                yield row(line.area, line.code, name)


def _overtime(plant: Plant) -> Iterator[Row]:
    for line in plant.lines:
        for one in plant.overtime:
            if line.code in one.lines - one.forgot:
                edges = (overtime_start(one), overtime_end(one))
                seconds = np.array([int(edge.timestamp()) for edge in edges])
                moments = stop_rows.moments(seconds)
                yield line.area, line.code, one.name, *moments, BREAKS[one.name]


def _planned(plant: Plant) -> Iterator[Row]:
    for one in plant.planned:
        start = int(one.start.timestamp())
        edges = np.array([start, start + one.minutes * 60, one.declared.timestamp()])
        starts, ends, declared = stop_rows.moments(edges.astype(np.int64))
        yield one.ref, one.at, starts, ends, one.reason, declared


def _write_upkeep(write: Write, plant: Plant, runs: Sequence[Run]) -> None:
    rng = np.random.default_rng([plant.seed, 4])
    stands = machines.machines(plant)
    meters = machines.Meters(plant, runs, rng)
    done = history.History(plant, stands, meters, rng)
    write("machines", machines.MACHINE_COLUMNS, (one.row for one in stands))
    write("meters", machines.METER_COLUMNS, meters.meters)
    write("readings", machines.READING_COLUMNS, meters.readings)
    kinds = {one.kind for one in stands}
    tags = {tag for one in stands for tag in one.tags.split(";")}
    own = [
        routine
        for routine in routines.ROUTINES
        if kinds & set(routine.kinds.split(";")) and routine.tags in tags
    ]
    codes = {routine.code for routine in own}
    write("routines", routines.COLUMNS, (_spelt(routine) for routine in own))
    steps = [step for step in routines.STEPS if step.routine in codes]
    write("steps", routines.STEP_COLUMNS, steps)
    write("done", history.DONE_COLUMNS, done.done)
    write("step_results", history.RESULT_COLUMNS, done.results)
    write("first_due", ("routine", "serial", "due", "why"), plant.upkeep.first_due)
    columns = ("crew", "skill", "area", "weekdays", "start", "end", "heads")
    write("crews", columns, plant.upkeep.crews)


def _spelt(row: Row) -> Row:
    words = {True: "yes", False: "no"}
    return [
        words[value] if isinstance(value, bool) else "" if value is None else value
        for value in row
    ]
