"""plant.csv, areas.csv, lines.csv, cells.csv and banks.csv."""

from datetime import date
from decimal import Decimal
from typing import Any, BinaryIO, ClassVar
from zoneinfo import ZoneInfo, available_timezones

from django.core.exceptions import ValidationError
from django.db import models

from cells import codes, registry
from cells.csv_cells import choice, code, decimal, integer, shown, text
from cells.csv_files import Column, Contract
from cells.files.kinds import AREAS, CELLS, LINES
from cells.files.run import Kind, Row
from cells.files.sheet import M, Sheet
from cells.models import Area, AreaTarget, Bank, Cell, Line, Plant, Shift
from cells.working_time.plant_time import parse_date

#: A target without a date has always held.
ALWAYS = date(1970, 1, 1)

MOST_ORDER = 1_000_000
MOST_HEADS = 100
MOST_BODIES = 100_000


def time_zone(cell: str) -> str:
    if cell not in available_timezones():
        raise ValueError(
            f"{shown(cell)} is no time zone: write its IANA name, like Europe/Berlin."
        )
    return cell


class PlantSheet(Sheet[Plant]):
    file = "plant.csv"
    model = Plant
    key = ("id",)
    facts = ("name", "time_zone")

    def make_contract(self) -> Contract:
        return Contract(
            self.file, [Column("name", text(80)), Column("time_zone", time_zone)]
        )

    def load(self, stream: BinaryIO, total: int) -> None:
        self.first_line = 0
        super().load(stream, total)

    def read(self, row: Row) -> Plant | None:
        if self.first_line:
            row.refuse(
                "", f"Line {self.first_line} is the plant already: keep one of them."
            )
        self.first_line = self.first_line or row.line
        plant = Plant(pk=1, name=row["name"], time_zone=row["time_zone"])
        stored = Plant.current()
        if stored.time_zone != plant.time_zone and Shift.objects.exists():
            row.refuse(
                "time_zone",
                f"The shifts are stored by the clocks of {stored.time_zone}: "
                f"{plant.time_zone} would move them all. Load that plant into a new "
                "database.",
            )
        return plant

    def is_saved(self, row: Row, record: Plant, before: Plant | None) -> None:
        self.run.zone = ZoneInfo(record.time_zone)


class _Coded(Sheet[M]):
    """Areas, lines and cells, which share one set of codes."""

    brings_by = "code"
    brings: ClassVar[Kind]

    def read(self, row: Row) -> M | None:
        known = self.run.known(self.brings).get(row["code"])
        if known is None:
            self._check_code(row)
        return self.read_more(row)

    def read_more(self, row: Row) -> M | None:
        raise NotImplementedError

    def is_saved(self, row: Row, record: Any, before: M | None) -> None:
        self.run.known(self.brings)[record.code] = record

    def _check_code(self, row: Row) -> None:
        try:
            codes.check_shape(row["code"])
        except ValidationError as error:
            row.refuse_all(error)
            return
        taken = _taken(self.run.known(CODES), row["code"])
        if taken:
            row.refuse(
                "code",
                f"The code “{row['code']}” is taken by the {taken}: areas, lines and "
                "cells share one set of codes, in capitals or not. Choose another.",
            )
        else:
            folded = row["code"].casefold()
            word = self.brings.word
            self.run.known(CODES)[folded] = f"{word} {row['code']}"


def _taken(known: dict[str, str], wanted: str) -> str:
    return known.get(wanted.casefold(), "")


def _codes() -> dict[str, str]:
    kinds: list[tuple[str, type[models.Model]]] = [
        ("area", Area),
        ("line", Line),
        ("cell", Cell),
    ]
    return {
        one.casefold(): f"{word} {one}"
        for word, model in kinds
        for one in model._default_manager.values_list("code", flat=True)
    }


CODES = Kind("code", "cells.csv", _codes)


class AreaSheet(_Coded[Area]):
    file = "areas.csv"
    model = Area
    key = ("code",)
    facts = ("name",)
    brings = AREAS

    def make_contract(self) -> Contract:
        share = decimal(at_least=0, at_most=1, max_decimals=4)
        return Contract(
            self.file,
            [
                Column("code", code(20)),
                Column("name", text(80)),
                Column("oee_target", share, optional=True),
                Column("target_from", parse_date, optional=True),
            ],
            key=("code",),
        )

    def load(self, stream: BinaryIO, total: int) -> None:
        self.targets: list[tuple[Row, Decimal]] = []
        super().load(stream, total)

    def read_more(self, row: Row) -> Area | None:
        target = row["oee_target"]
        if target == 0:
            row.refuse(
                "oee_target",
                "0 is no target: write a share above 0, like 0.77 for 77 %.",
            )
        if target is None and row["target_from"] is not None:
            row.refuse(
                "oee_target",
                f"There is a date ({row['target_from']}) and no target: give the "
                "target, or leave the date empty.",
            )
        if target is not None:
            self.targets.append((row, target))
        return Area(code=row["code"], name=row["name"])

    def finish(self) -> None:
        """A target of another date is one more; of the same date, a correction."""
        known = {
            (target.area_id, target.valid_from): target
            for target in AreaTarget.objects.all()
        }
        for row, oee in self.targets:
            area = self.run.known(AREAS).get(row["code"])
            if not row.good or area is None:
                continue
            valid_from = row["target_from"] or ALWAYS
            target = known.get((area.pk, valid_from))
            if target is None:
                AreaTarget.objects.create(area=area, oee=oee, valid_from=valid_from)
                self.also_changed(row)
            elif target.oee != oee:
                self.correct_one(target, {"oee": oee})
                self.also_changed(row)


class LineSheet(_Coded[Line]):
    """The counting cells wait until the cells are there."""

    file = "lines.csv"
    model = Line
    key = ("code",)
    facts = ("area", "name", "order")
    brings = LINES

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("code", code(20)),
                Column("area", code(20)),
                Column("name", text(80)),
                Column("order", integer(0, MOST_ORDER)),
                Column("counting_cell", code(20), optional=True),
            ],
            key=("code",),
        )

    def load(self, stream: BinaryIO, total: int) -> None:
        self.counting: list[Row] = []
        super().load(stream, total)

    def read_more(self, row: Row) -> Line | None:
        if "counting_cell" in self.given:
            self.counting.append(row)
        area = row.find(AREAS, "area")
        if area is None:
            return None
        return Line(code=row["code"], area=area, name=row["name"], order=row["order"])

    def may_correct(self, row: Row, before: Line, after: Line) -> bool:
        if before.area_id != after.area_id:
            row.refuse(
                "area",
                f"Line {before} belongs to area {before.area}, by whose shifts its "
                "account is kept: leave it there, or add a line with another code.",
            )
        return row.good

    def is_saved(self, row: Row, record: Line, before: Line | None) -> None:
        super().is_saved(row, record, before)
        if before is None:
            self.run.new_lines.append(record)

    def finish_counting_cells(self) -> None:
        for row in self.counting:
            line = self.run.known(LINES).get(row["code"])
            if not row.good or line is None:
                continue
            cell = row.find(CELLS, "counting_cell")
            if cell is not None:
                self._check_counting(row, line, cell)
            if row.good and line.counting_cell_id != (cell and cell.pk):
                if line in self.run.new_lines:
                    line.counting_cell = cell
                    line.save(update_fields=["counting_cell"])
                else:
                    self.correct_one(line, {"counting_cell": cell})
                    self.also_changed(row)

    def _check_counting(self, row: Row, line: Line, cell: Cell) -> None:
        if cell.line_id != line.pk:
            row.refuse(
                "counting_cell",
                f"Cell {cell} stands in line {cell.line}: choose a cell of line "
                f"{line}.",
            )
        elif cell.retired_on is not None and cell.pk != line.counting_cell_id:
            row.refuse(
                "counting_cell",
                f"Cell {cell} is retired on {cell.retired_on}: choose a cell that "
                "stays.",
            )


class CellSheet(_Coded[Cell]):
    file = "cells.csv"
    model = Cell
    key = ("code",)
    facts = (
        "line",
        "name",
        "order",
        "leg",
        "criticality",
        "heads_limit",
        "lockout_sheet",
        "lockout_revision",
        "lockout_date",
    )
    brings = CELLS

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("code", code(20)),
                Column("line", code(20)),
                Column("name", text(80)),
                Column("order", integer(0, MOST_ORDER)),
                Column("leg", code(10), optional=True, default=""),
                Column("criticality", choice("A", "B", "C"), optional=True, default=""),
                Column("heads_limit", integer(1, MOST_HEADS), optional=True),
                Column("lockout_sheet", text(40), optional=True, default=""),
                Column("lockout_revision", text(20), optional=True, default=""),
                Column("lockout_date", parse_date, optional=True),
            ],
            key=("code",),
        )

    def read_more(self, row: Row) -> Cell | None:
        line = row.find(LINES, "line")
        sheet, revised_on = row["lockout_sheet"], row["lockout_date"]
        if not sheet and (row["lockout_revision"] or revised_on):
            row.refuse(
                "lockout_sheet",
                "The sheet's number is missing: give it with its revision.",
            )
        if revised_on is not None and revised_on > self.run.today:
            row.refuse(
                "lockout_date",
                f"The sheet's date {revised_on} lies in the future: give the date of "
                "the revision in use.",
            )
        if line is None:
            return None
        facts = {name: row[name] for name in self.facts if name != "line"}
        return Cell(code=row["code"], line=line, **facts)

    def may_correct(self, row: Row, before: Cell, after: Cell) -> bool:
        if before.line_id != after.line_id:
            row.refuse(
                "line",
                f"Cell {before} stands in line {before.line}, by whose shifts its "
                "account is kept: leave it there, or add a cell with another code.",
            )
        return row.good

    def is_saved(self, row: Row, record: Cell, before: Cell | None) -> None:
        super().is_saved(row, record, before)
        # A count for the line or for a leg now holds for other cells.
        if before is None or before.leg != record.leg:
            self.run.touched.from_date(record.pk, date.min)


class BankSheet(Sheet[Bank]):
    file = "banks.csv"
    model = Bank
    key = ("from_cell", "to_cell")
    facts = ("capacity",)

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("from", code(20)),
                Column("to", code(20)),
                Column("capacity", integer(0, MOST_BODIES)),
            ],
            key=("from", "to"),
        )

    def read(self, row: Row) -> Bank | None:
        from_cell, to_cell = row.find(CELLS, "from"), row.find(CELLS, "to")
        if from_cell is None or to_cell is None:
            return None
        if from_cell == to_cell:
            row.refuse("to", "A bank lies between two different cells: name the next.")
            return None
        try:
            registry.check_neighbours(from_cell, to_cell)
        except ValidationError as error:
            row.refuse_all(error, {"from_cell": "from", "to_cell": "to"})
        return Bank(from_cell=from_cell, to_cell=to_cell, capacity=row["capacity"])
