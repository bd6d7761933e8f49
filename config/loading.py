"""Load a plant's files: all of them or none, in the order in which they build up.

What a file holds and which rules it keeps is said in the `files` of each app. Here they
are put in order, in one transaction, and what hangs on all of them together is done.
"""

import gc
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from django.db import IntegrityError, transaction
from django.utils import timezone

from cells.csv_files import Fault
from cells.files import calendar, floor, machines, planning, readings
from cells.files.run import Outcome, Progress, Run
from cells.files.sheet import Sheet
from cells.models import Plant
from maintenance import open_tasks
from maintenance.files import done, planned_stops, reasons, routines, shifts, stops
from oee.files import counts, variants

#: In the order in which one names what another brings.
FLOOR: list[type[Sheet]] = [
    floor.PlantSheet,
    floor.AreaSheet,
    floor.LineSheet,
    floor.CellSheet,
    floor.BankSheet,
    machines.MachineSheet,
    machines.MeterSheet,
]
#: From here on, what a row means hangs on the plant's time zone.
CALENDAR: list[type[Sheet]] = [
    calendar.PatternSheet,
    calendar.DayOffSheet,
    calendar.OneOffSheet,
]
#: Loaded once the shifts are made.
EVENTS: list[type[Sheet]] = [
    calendar.WorkedBreakSheet,
    variants.VariantSheet,
    variants.IdealCycleSheet,
    reasons.ReasonSheet,
    planned_stops.PlannedStopSheet,
    stops.StopSheet,
    shifts.TallySheet,
    counts.CountSheet,
    counts.PlanSheet,
    shifts.ConfirmationSheet,
    routines.RoutineSheet,
    routines.StepSheet,
    routines.FirstDueSheet,
    readings.ReadingSheet,
    done.DoneSheet,
    done.StepResultSheet,
    routines.CrewSheet,
]
FILES = [sheet.file for sheet in (*FLOOR, *CALENDAR, *EVENTS)]
#: Of one file: some years of a large plant's stops.
MOST_BYTES = 1 << 30
MOST_ROWS = 10_000_000


@dataclass
class Report:
    outcomes: list[Outcome] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def load(
    directory: Path | str, *, check: bool = False, progress: Progress | None = None
) -> Report:
    """Load what a directory holds; nothing is saved where a fault is found.

    `check` saves nothing either, and tells what would be new. `progress` is told of
    each file: its name, the rows done and the rows there are.
    """
    directory = Path(directory)
    faults = _directory_faults(directory)
    if faults:
        return Report(faults=faults)
    run = Run(directory, Plant.current().zone, progress)
    try:
        with _uncollected(), transaction.atomic():
            _load_all(run)
            if check or run.faults:
                transaction.set_rollback(True)
    except IntegrityError as error:
        # Nobody else writes on SQLite meanwhile; on PostgreSQL a person may.
        words = f"Somebody entered the same meanwhile ({error}): load again."
        run.refuse(Fault(str(directory), None, "", words))
    return Report(run.outcomes, in_order(run.faults))


@contextmanager
def _uncollected() -> Iterator[None]:
    """Rows come and go by the hundred thousand, and hardly ever in a circle.

    Looking for circles among all that is kept would cost a quarter of the load.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def in_order(faults: list[Fault]) -> list[Fault]:
    """File by file in the order of loading, line by line."""
    place = {file: number for number, file in enumerate(FILES)}
    return sorted(
        faults, key=lambda fault: (place.get(fault.file, -1), fault.line or 0)
    )


def _load_all(run: Run) -> None:
    if not (run.directory / "plant.csv").exists() and not Plant.objects.exists():
        words = "Nothing says yet which plant this is, and in which time zone: add it."
        run.refuse(Fault("plant.csv", None, "", words))
    _load_floor(run)
    if not Plant.objects.exists():
        return  # without a time zone every time would be at fault
    _load_files(run, CALENDAR)
    planning.plan_shifts(run)
    _load_files(run, EVENTS)
    with timezone.override(run.zone):
        readings.check_rising(run)
    if not run.faults:
        run.touched.mark()
        _move_tasks(run)


def _load_floor(run: Run) -> None:
    sheets = _load_files(run, FLOOR)
    for sheet in sheets:
        if isinstance(sheet, floor.LineSheet):
            sheet.finish_counting_cells()


def _load_files(run: Run, kinds: list[type[Sheet]]) -> list[Sheet]:
    """Load those files that are there; returns what loaded them."""
    return [
        _load_one(run, kind) for kind in kinds if (run.directory / kind.file).exists()
    ]


def _load_one(run: Run, kind: type[Sheet]) -> Sheet:
    path = run.directory / kind.file
    sheet = kind(run)
    total = max(0, _lines_in(path) - 1)
    # Sentences give moments in plant time.
    with timezone.override(run.zone), path.open("rb") as stream:
        sheet.load(stream, total)
    return sheet


def _lines_in(path: Path) -> int:
    return sum(block.count(b"\n") for block in _blocks(path))


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            yield block


def _move_tasks(run: Run) -> None:
    """Judge what was done and open what is due, where this load may have moved it."""
    if run.due_of or run.moved or any(run.readings.rows()) or run.touched.new_shifts:
        open_tasks.follow()


def _directory_faults(directory: Path) -> list[Fault]:
    def fault(file: str, words: str) -> Fault:
        return Fault(file, None, "", words)

    if not directory.is_dir():
        return [fault(str(directory), "There is no such directory: check the path.")]
    names = sorted(path.name for path in directory.iterdir())
    known = ", ".join(FILES)
    unknown = [
        fault(name, f"No file of that name is loaded: name it as one of {known}.")
        for name in names
        if name.lower().endswith(".csv") and name not in FILES
    ]
    if not unknown and not set(names) & set(FILES):
        words = f"The directory holds none of the files to load: {known}."
        return [fault(str(directory), words)]
    unreadable = [
        fault(name, "This is no file that can be read: put a CSV file in its place.")
        for name in names
        if name in FILES and not _is_readable(directory / name)
    ]
    too_large = [
        fault(name, f"{_too_large(directory / name)} Load it in several parts.")
        for name in names
        if name in FILES and _too_large(directory / name)
    ]
    return [*unknown, *unreadable, *too_large]


def _too_large(path: Path) -> str:
    """What of a file is too large, in a sentence; empty if nothing is."""
    size = path.stat().st_size if _is_readable(path) else 0
    if size > MOST_BYTES:
        return f"The file has {size:,} bytes and may have {MOST_BYTES:,}."
    # A row takes two bytes at least, so most files need not be counted.
    lines = _lines_in(path) if size > 2 * MOST_ROWS else 0
    if lines > MOST_ROWS:
        return f"The file has {lines:,} lines and may have {MOST_ROWS:,}."
    return ""


def _is_readable(path: Path) -> bool:
    return path.is_file() and os.access(path, os.R_OK)
