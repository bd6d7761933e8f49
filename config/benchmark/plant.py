"""A plant to measure on: seeded, made with numpy, written past the models.

Its rows say nothing about a real plant; their numbers, lengths and overlaps are of the
size of one. A year of 250 cells has 273,750 cell-shifts and three million stops.
"""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import repeat
from pathlib import Path
from typing import Any

import numpy as np
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection, models, transaction
from django.utils import timezone

from cells.models import Area, Cell, Line, Plant, Shift, ShiftBreak, WorkedBreak
from config.benchmark.home import SQLITE_FILE, insist_on_own_database
from maintenance.models import PlannedStop, Reason, ShiftConfirmation, Stop, Tally
from oee.ledger.classes import LOSS_CLASSES
from oee.models import Count, IdealCycle, Variant

SEED = 20
AREAS = 6
CELLS_OF_A_LINE = 10
SHIFT_S = 8 * 3600
NAMES = ("Early", "Late", "Night")
#: Seconds from the start of a shift, and how long.
BREAKS = ((2 * 3600, 600), (4 * 3600, 1800), (6 * 3600, 600))
REASONS_OF_A_CLASS = 4
STOPS_OF_A_CELL_SHIFT = 3_000_000 / 273_750
#: Of each class after planned: its share of the stops, and their mean length in s.
STOPS = (
    (0.03, 1200),
    (0.04, 600),
    (0.02, 900),
    (0.33, 60),
    (0.02, 600),
    (0.04, 500),
    (0.02, 400),
    (0.25, 120),
    (0.25, 120),
)
VARIANTS = 2


@dataclass(frozen=True, kw_only=True)
class Size:
    """How much to make. The days end yesterday."""

    cells: int
    days: int

    def __str__(self) -> str:
        return (
            f"{self.cells:,} cells × {len(NAMES)} shifts × {self.days:,} days: "
            f"{self.cell_shifts:,} cell-shifts, {self.stops:,} stops"
        )

    @property
    def lines(self) -> int:
        return -(-self.cells // CELLS_OF_A_LINE)

    @property
    def cell_shifts(self) -> int:
        return self.cells * self.days * len(NAMES)

    @property
    def stops(self) -> int:
        return round(self.cell_shifts * STOPS_OF_A_CELL_SHIFT)

    @property
    def shifts_of_a_line(self) -> int:
        return self.days * len(NAMES)


YEAR = Size(cells=250, days=365)
SMALL = Size(cells=20, days=5)


def make_plant(size: Size) -> None:
    """The benchmark's database holds this plant, and nothing stored or marked."""
    empty_database()
    rng = np.random.default_rng(SEED)
    first = timezone.now().date() - timedelta(days=size.days)
    with connection.constraint_checks_disabled(), _bare(), transaction.atomic():
        _floor(size)
        _calendar(size, first, rng)
        _words()
        _stops(size, first, rng)
        _planned_stops(size, first, rng)
        _tallies(size, rng)
        _counts(size, first, rng)
    _set_sequences()
    if connection.vendor == "postgresql":  # as its own daemon does after a while
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE")


def empty_database() -> None:
    """A fresh SQLite file: emptying millions of rows takes longer than writing them."""
    if connection.vendor == "sqlite":
        insist_on_own_database()
        connection.close()
        for name in ("", "-wal", "-shm"):
            Path(f"{SQLITE_FILE}{name}").unlink(missing_ok=True)
        call_command("migrate", verbosity=0)
    else:
        call_command("flush", interactive=False, verbosity=0)


def _floor(size: Size) -> None:
    Plant.objects.create(pk=1, name=f"{size}", time_zone="UTC")
    codes = [f"A{n}" for n in range(1, AREAS + 1)]
    _insert(Area, {"id": range(1, AREAS + 1), "code": codes, "name": codes})
    lines = [f"L{n:04}" for n in range(1, size.lines + 1)]
    cells = [f"{lines[n // CELLS_OF_A_LINE]}-{n:05}" for n in range(size.cells)]
    numbers = np.arange(size.lines)
    _insert(
        Line,
        {
            "id": numbers + 1,
            "code": lines,
            "area_id": numbers % AREAS + 1,
            "name": lines,
            "order": numbers + 1,
        },
    )
    of_cells = np.arange(size.cells)
    _insert(
        Cell,
        {
            "id": of_cells + 1,
            "code": cells,
            "line_id": of_cells // CELLS_OF_A_LINE + 1,
            "name": cells,
            "order": of_cells % CELLS_OF_A_LINE + 1,
            "leg": "",
            "criticality": "B",
            "lockout_sheet": "",
            "lockout_revision": "",
        },
    )
    # The first cell of each line stands for it.
    Line.objects.update(counting_cell=(models.F("id") - 1) * CELLS_OF_A_LINE + 1)


def _calendar(size: Size, first: date, rng: np.random.Generator) -> None:
    """Shift ids run by line within a start, as they are made day by day."""
    shifts = np.arange(size.lines * size.shifts_of_a_line)
    place = shifts // size.lines
    starts = _second(first) + place * SHIFT_S
    _insert(
        Shift,
        {
            "id": shifts + 1,
            "line_id": shifts % size.lines + 1,
            "production_date": _dates(first, place // 3),
            "name": [NAMES[n % 3] for n in place.tolist()],
            "starts_at": starts,
            "ends_at": starts + SHIFT_S,
        },
    )
    of_break = np.repeat(shifts, len(BREAKS))
    after, length = (np.tile(part, len(shifts)) for part in np.array(BREAKS).T)
    break_starts = starts[of_break] + after
    _insert(
        ShiftBreak,
        {
            "shift_id": of_break + 1,
            "starts_at": break_starts,
            "ends_at": break_starts + length,
        },
    )
    worked = np.flatnonzero(rng.random(len(of_break)) < 0.02)
    _insert(
        WorkedBreak,
        {
            "cell_id": of_break[worked] % size.lines * CELLS_OF_A_LINE + 1,
            "shift_id": of_break[worked] + 1,
            "break_start": break_starts[worked],
            "withdrawn": False,
        },
    )
    confirmed = np.flatnonzero(rng.random(len(shifts)) < 0.95)
    _insert(
        ShiftConfirmation,
        {
            "shift_id": confirmed + 1,
            "confirmed_at": starts[confirmed] + SHIFT_S,
        },
    )


def _words() -> None:
    """Reason ids run by class: 1 to 4 are planned, 5 to 8 breakdowns and so on."""
    classes = np.repeat(LOSS_CLASSES, REASONS_OF_A_CLASS).tolist()
    codes = [f"{name}-{n}" for n, name in enumerate(classes)]
    _insert(
        Reason,
        {
            "id": range(1, len(codes) + 1),
            "code": codes,
            "name": codes,
            "loss_class": classes,
            "group": classes,
            "subgroup": "",
        },
    )
    names = [f"V{n}" for n in range(VARIANTS)]
    _insert(Variant, {"id": range(1, VARIANTS + 1), "code": names, "name": names})


def _stops(size: Size, first: date, rng: np.random.Generator) -> None:
    """In order of time, as people log them."""
    shares, lengths = np.array(STOPS).T
    starts = np.sort(rng.integers(0, size.days * 86_400, size.stops))
    place = rng.choice(len(shares), size.stops, p=shares)
    length = np.maximum(1, rng.exponential(lengths[place])).astype(np.int64)
    starts += _second(first)
    reason = (place + 1) * REASONS_OF_A_CLASS + rng.integers(1, 5, size.stops)
    _insert(
        Stop,
        {
            "ref": map("S{:09}".format, range(size.stops)),
            "cell_id": rng.integers(1, size.cells + 1, size.stops),
            "position": "",
            "reason_id": reason,
            "started_at": starts,
            "ended_at": starts + length,
            "note": "",
            "cause": "",
            "withdrawn": rng.random(size.stops) < 0.01,
            "logged_at": starts + length,
        },
    )


def _planned_stops(size: Size, first: date, rng: np.random.Generator) -> None:
    """Half an hour a line and week, and two a year for a whole area."""
    lines = np.repeat(np.arange(size.lines) + 1, -(-size.days // 7))
    starts = _second(first) + rng.integers(0, size.days * 86_400, len(lines))
    common = {"reason_id": 1, "withdrawn": False}
    _insert(
        PlannedStop,
        {
            **common,
            "ref": map("P{:07}".format, range(len(lines))),
            "line_id": lines,
            "starts_at": starts,
            "ends_at": starts + 1800,
            "declared_at": starts + rng.integers(-90_000, 9_000, len(lines)),
        },
    )
    begin = _second(first) + size.days * 43_200
    _insert(
        PlannedStop,
        {
            **common,
            "ref": [f"PA{n}" for n in range(AREAS)],
            "area_id": range(1, AREAS + 1),
            "starts_at": begin,
            "ends_at": begin + 14_400,
            "declared_at": begin - 86_400,
        },
    )


def _tallies(size: Size, rng: np.random.Generator) -> None:
    """In every fifth cell-shift, of minor stops."""
    pairs = np.flatnonzero(rng.random(size.cell_shifts) < 0.2)
    cell, place = pairs % size.cells, pairs // size.cells
    times = rng.integers(1, 12, len(pairs))
    minor = LOSS_CLASSES.index("minor") * REASONS_OF_A_CLASS
    _insert(
        Tally,
        {
            "cell_id": cell + 1,
            "shift_id": place * size.lines + cell // CELLS_OF_A_LINE + 1,
            "reason_id": minor + rng.integers(1, 5, len(pairs)),
            "times": times,
            "seconds": times * 30,
            "withdrawn": False,
            "logged_at": 0,
        },
    )


def _counts(size: Size, first: date, rng: np.random.Generator) -> None:
    """Every line counts both variants, but for one shift in fifty."""
    shifts = np.arange(size.lines * size.shifts_of_a_line)
    shifts = np.repeat(shifts[rng.random(len(shifts)) < 0.98], VARIANTS)
    total = rng.integers(100, 200, len(shifts))
    _insert(
        Count,
        {
            "line_id": shifts % size.lines + 1,
            "leg": "",
            "shift_id": shifts + 1,
            "variant_id": np.tile(np.arange(VARIANTS) + 1, len(shifts) // VARIANTS),
            "total": total,
            "good": total - rng.integers(0, 8, len(shifts)),
            "withdrawn": False,
            "entered_at": 0,
        },
    )
    cells, variants, days = np.meshgrid(
        np.arange(size.cells) + 1, np.arange(VARIANTS) + 1, [-30, size.days // 2]
    )
    _insert(
        IdealCycle,
        {
            "cell_id": cells.ravel(),
            "variant_id": variants.ravel(),
            "seconds": [f"{s:.1f}" for s in rng.uniform(60, 80, cells.size)],
            "valid_from": _dates(first, days.ravel()),
        },
    )


def _dates(first: date, days: np.ndarray) -> list[str]:
    return [(first + timedelta(days=n)).isoformat() for n in days.tolist()]


def _second(day: date) -> int:
    """When its first shift starts."""
    return int(datetime.combine(day, time(6), UTC).timestamp())


@contextmanager
def _bare() -> Iterator[None]:
    """No key is looked up while rows go in, and the stops' indexes are made at the end.

    Foreign keys are right by the way they are made, and millions of looks are slow.
    """
    postgresql = connection.vendor == "postgresql"
    found = (
        "SELECT indexname, indexdef FROM pg_indexes WHERE tablename = %s "
        "AND indexdef LIKE 'CREATE INDEX%%'"
        if postgresql
        else "SELECT name, sql FROM sqlite_master WHERE tbl_name = %s "
        "AND sql LIKE 'CREATE INDEX%%'"
    )
    with connection.cursor() as cursor:
        if postgresql:
            cursor.execute("SET session_replication_role = replica")
        cursor.execute(found, [Stop._meta.db_table])
        indexes = cursor.fetchall()
        for name, _ in indexes:
            cursor.execute(f'DROP INDEX "{name}"')
        yield
        for _, definition in indexes:
            cursor.execute(definition)
        if postgresql:
            cursor.execute("SET session_replication_role = origin")


def _insert(model: type[models.Model], columns: Mapping[str, Any]) -> None:
    """Rows of these columns; a single value stands in every row."""
    names = ", ".join(f'"{name}"' for name in columns)
    table = model._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in _rows(columns):
                    copy.write_row(row)
        else:
            marks = ", ".join("?" * len(columns))
            # Past Django's cursor, which would look at each row.
            cursor.connection.executemany(
                f"INSERT INTO {table} ({names}) VALUES ({marks})", _rows(columns)
            )


def _rows(columns: Mapping[str, Any]) -> Iterator[tuple]:
    def values(column: Any) -> Iterable:
        if isinstance(column, np.ndarray):
            return column.tolist()
        return repeat(column) if isinstance(column, str | int) else column

    # The endless ones stand in as many rows as the others have.
    return zip(*map(values, columns.values()), strict=False)


def _set_sequences() -> None:
    """Ids were given above; the next one that the database gives comes after them."""
    made = [Area, Line, Cell, Shift, Reason, Variant]
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), made):
            cursor.execute(statement)
