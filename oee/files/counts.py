"""counts.csv and plan.csv"""

from typing import Any, BinaryIO

from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet

from cells.csv_cells import code, integer, moment
from cells.csv_files import Column, Contract
from cells.files.kinds import CELLS, LINES, find_shift
from cells.files.run import Row, unknown
from cells.files.sheet import LongSheet, Sheet
from cells.models import Cell, Line, Shift
from cells.working_time.plant_time import parse_date
from oee import counts, plans
from oee.files.variants import VARIANTS
from oee.models import Count, ProductionPlan

NUMBERS = ("total", "good", "rework", "scrap")

#: What the rules call otherwise than the file.
COLUMNS = {"cell": "at", "leg": "at"}


class CountSheet(LongSheet[Count]):
    """One that a person withdrew comes back only with other numbers."""

    file = "counts.csv"
    model = Count
    key = ("cell", "line", "leg", "shift", "starts_at", "variant")
    facts = ("ends_at", *NUMBERS)
    revives = True

    def make_contract(self) -> Contract:
        at = moment(self.run.zone)
        bodies = integer(0, counts.MOST_BODIES)
        return Contract(
            self.file,
            [
                Column("at", code(31, slash=True)),
                Column("date", parse_date, optional=True),
                Column("shift", code(40), optional=True),
                Column("starts_at", at, optional=True),
                Column("ends_at", at, optional=True),
                Column("variant", code(20)),
                Column("total", bodies),
                Column("good", bodies),
                Column("rework", bodies, optional=True),
                Column("scrap", bodies, optional=True),
            ],
            key=("at", "date", "shift", "starts_at", "variant"),
        )

    def load(self, stream: BinaryIO, total: int) -> None:
        self.legs: dict[int, set[str]] = {}
        for cell in self.run.known(CELLS).values():
            self.legs.setdefault(cell.line_id, set()).add(cell.leg)
        #: Of counts for a line or a leg: which, in which shift.
        self.of_lines: set[tuple[int, str, int]] = set()
        super().load(stream, total)

    def read(self, row: Row) -> Count | None:
        at, leg = self._place(row)
        variant = row.find(VARIANTS, "variant")
        try:
            counts.checked_numbers(**{name: row[name] for name in NUMBERS})
        except ValidationError as error:
            row.refuse_all(error)
        if at is None:
            return None
        shift = self._shift(row, at)
        if variant is None or not row.good:
            return None
        self._check_place(row, at, leg, shift)
        return self.make(
            cell=at if isinstance(at, Cell) else None,
            line=at if isinstance(at, Line) else None,
            leg=leg,
            shift=shift,
            variant=variant,
            starts_at=row["starts_at"],
            ends_at=row["ends_at"],
            entered_at=self.run.now,
            **{name: row[name] for name in NUMBERS},
        )

    def stored(self, records: list[Count]) -> QuerySet[Count]:
        return Count.objects.filter(
            Q(shift__in={one.shift_id for one in records})
            | Q(shift=None, starts_at__in={one.starts_at for one in records})
        )

    def is_saved(self, row: Row, record: Count, before: Count | None) -> None:
        if record.shift_id is None:
            return  # between shifts there is no account to compute again
        if record.cell_id is not None:
            self.run.touched.pairs.add((record.cell_id, record.shift_id))
        else:
            assert record.line_id is not None  # the constraint on the table
            self.of_lines.add((record.line_id, record.leg, record.shift_id))

    def finish(self) -> None:
        shifts = {shift for _, _, shift in self.of_lines}
        shifts -= self.run.touched.new_shifts
        self.run.touched.pairs |= counts.pairs_counted_by(
            place for place in self.of_lines if place[2] in shifts
        )

    def _place(self, row: Row) -> tuple[Cell | Line | None, str]:
        at, slash, leg = row["at"].partition("/")
        if slash and not leg:
            row.refuse("at", f"{row['at']!r} names no leg after the slash: write one.")
            return None, ""
        kinds = (LINES,) if slash else (CELLS, LINES)
        for kind in kinds:
            found = row.run.known(kind).get(at)
            if found is not None:
                return found, leg
        if any(row.run.may_be_refused(kind, at) for kind in kinds):
            row.skip()
        else:
            words = unknown(row.run, kinds[0], at)
            row.refuse("at", words if slash else f"{words} A line will do as well.")
        return None, ""

    def _shift(self, row: Row, at: Cell | Line) -> Shift | None:
        """The shift that it names; else the rules say what is missing."""
        shift: Shift | None = None
        if row["date"] is not None or row["shift"] is not None:
            if row["date"] is None or row["shift"] is None:
                missing = "date" if row["date"] is None else "shift"
                row.refuse(
                    missing, "A shift is named by its date and its name: give both."
                )
                return None
            shift = find_shift(row, at if isinstance(at, Line) else at.line)
            if shift is None:
                return None
        try:
            counts.check_time(at, shift, row["starts_at"], row["ends_at"])
        except ValidationError as error:
            row.refuse_all(error)
        return shift

    def _check_place(
        self, row: Row, at: Cell | Line, leg: str, shift: Shift | None
    ) -> None:
        if isinstance(at, Line) and leg in self.legs.get(at.pk, set()) | {""}:
            return
        try:
            counts.check_place(at, leg, shift, row["starts_at"])
        except ValidationError as error:
            row.refuse_all(error, COLUMNS)


class PlanSheet(Sheet[ProductionPlan]):
    """The account does not depend on it, so nothing is computed again."""

    file = "plan.csv"
    model = ProductionPlan
    key = ("shift",)
    facts = ("bodies",)

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("line", code(20)),
                Column("date", parse_date),
                Column("shift", code(40)),
                Column("bodies", integer(0, counts.MOST_BODIES)),
            ],
            key=("line", "date", "shift"),
        )

    def read(self, row: Row) -> ProductionPlan | None:
        line = row.find(LINES, "line")
        shift: Any = line and find_shift(row, line)
        if shift is None:
            return None
        try:
            plans.check(shift, row["bodies"])
        except ValidationError as error:
            row.refuse_all(error)
        return self.make(shift=shift, bodies=row["bodies"])

    def stored(self, records: list[ProductionPlan]) -> QuerySet[ProductionPlan]:
        return ProductionPlan.objects.filter(
            shift__in=[one.shift_id for one in records]
        )
