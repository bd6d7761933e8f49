"""machines.csv (a row per placement) and meters.csv."""

from datetime import date
from itertools import pairwise
from typing import BinaryIO

from django.db.models import QuerySet

from cells.csv_cells import choice, code, decimal, list_of, text
from cells.csv_files import Column, Contract
from cells.files.kinds import CELLS, MACHINES, METERS, POSITIONS
from cells.files.run import Row, Run
from cells.files.sheet import Sheet
from cells.meters import MOST
from cells.models import Cell, Machine, MachineKind, Meter, Placement
from cells.working_time.plant_time import parse_date


class MachineSheet(Sheet[Machine]):
    file = "machines.csv"
    model = Machine
    key = ("serial",)
    facts = ("kind", "model", "tags")
    brings = MACHINES
    brings_by = "serial"
    brings_too = (POSITIONS,)

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("serial", code(40)),
                Column("kind", choice(*MachineKind.values)),
                Column("cell", code(20)),
                Column("position", code(40)),
                Column("placed_on", parse_date),
                Column("model", text(80), optional=True, default=""),
                Column("tags", list_of(code(40)), optional=True, default=()),
                Column("removed_on", parse_date, optional=True),
            ],
            key=("serial", "placed_on"),
        )

    def load(self, stream: BinaryIO, total: int) -> None:
        self.rows: list[Row] = []  # one per placement
        self.first_rows: dict[str, Row] = {}
        self.corrected: set[str] = set()
        self.folded = {serial.casefold(): serial for serial in self.run.known(MACHINES)}
        super().load(stream, total)

    def read(self, row: Row) -> Machine | None:
        serial = row["serial"]
        known = self.folded.setdefault(serial.casefold(), serial)
        if known != serial:
            row.refuse(
                "serial",
                f"The serial number “{serial}” belongs to the machine {known} already, "
                "capitals or not: write it the same way everywhere.",
            )
        self._check_dates(row)
        self.rows.append(row)
        first = self.first_rows.setdefault(serial, row)
        if first is not row:
            self._check_same_machine(first, row)
            return None
        return Machine(
            serial=serial, kind=row["kind"], model=row["model"], tags=list(row["tags"])
        )

    def is_saved(self, row: Row, record: Machine, before: Machine | None) -> None:
        self.run.known(MACHINES)[record.serial] = record
        if before is not None:
            self.corrected.add(record.serial)

    def finish(self) -> None:
        """The placements, once every machine is there to be placed."""
        placements = _Placements(self.run)
        placements.given = self.given
        placements.load_rows(self.rows)
        for row in self.rows:
            if row["serial"] in self.corrected and row.good:
                placements.also_changed(row)
        self.outcome = placements.outcome

    def _check_dates(self, row: Row) -> None:
        today, placed_on, removed_on = (
            self.run.today,
            row["placed_on"],
            row["removed_on"],
        )
        for column in ("placed_on", "removed_on"):
            if row[column] is not None and row[column] > today:
                row.refuse(
                    column,
                    f"{row[column]} lies in the future: enter it on the day it is "
                    "done.",
                )
        if removed_on is not None and removed_on < placed_on:
            row.refuse(
                "removed_on",
                f"{row['serial']} was placed on {placed_on}, after {removed_on}: give "
                "a later date.",
            )

    def _check_same_machine(self, first: Row, row: Row) -> None:
        for column in ("kind", "model", "tags"):
            if row[column] != first[column]:
                row.refuse(
                    column,
                    f"Line {first.line} says otherwise of {row['serial']}: write the "
                    f"same {column} in every row of a machine.",
                )


class _Placements(Sheet[Placement]):
    file = "machines.csv"
    model = Placement
    key = ("machine", "placed_on")
    facts = ("cell", "position", "removed_on")

    def make_contract(self) -> Contract:
        return Contract(self.file, ())  # its rows are read already

    def load_rows(self, rows: list[Row]) -> None:
        """All at once, as a machine may leave one place for another in one file."""
        taken = []
        for row in rows:
            cell = row.find(CELLS, "cell")
            machine = self.run.known(MACHINES).get(row["serial"])
            if cell is not None and machine is not None and row.good:
                taken.append((row, self._placement(row, machine, cell)))
        self._check_places(taken)
        self._queue = [(row, placement) for row, placement in taken if row.good]
        self.flush()

    def stored(self, records: list[Placement]) -> QuerySet[Placement]:
        return Placement.objects.filter(machine__in={one.machine_id for one in records})

    def is_saved(self, row: Row, record: Placement, before: Placement | None) -> None:
        self.run.moved.add(record.machine_id)

    def _placement(self, row: Row, machine: Machine, cell: Cell) -> Placement:
        return Placement(
            machine=machine,
            cell=cell,
            position=row["position"],
            placed_on=row["placed_on"],
            removed_on=row["removed_on"],
        )

    def _check_places(self, taken: list[tuple[Row, Placement]]) -> None:
        """Together with what is stored, a machine stands in one place at a time."""
        places = _places_of({placement.machine_id for _, placement in taken})
        rows = {}
        for row, placement in taken:
            of_machine = places.setdefault(placement.machine_id, {})
            stored = of_machine.get(placement.placed_on)
            if stored is not None and "removed_on" not in self.given:
                placement.removed_on = stored.removed_on
            of_machine[placement.placed_on] = placement
            rows[placement.machine_id, placement.placed_on] = row
        for by_date in places.values():
            for earlier, later in pairwise(by_date[day] for day in sorted(by_date)):
                if earlier.removed_on and earlier.removed_on <= later.placed_on:
                    continue
                for blamed in (later, earlier):
                    key = blamed.machine_id, blamed.placed_on
                    if key in rows:
                        rows[key].refuse("placed_on", _two_places(earlier, later))
                        break


def _places_of(machines: set[int]) -> dict[int, dict[date, Placement]]:
    found: dict[int, dict[date, Placement]] = {}
    stored = Placement.objects.filter(machine__in=machines)
    for placement in stored.select_related("cell", "machine"):
        found.setdefault(placement.machine_id, {})[placement.placed_on] = placement
    return found


def _two_places(earlier: Placement, later: Placement) -> str:
    until = f"until {earlier.removed_on}" if earlier.removed_on else "without an end"
    return (
        f"{later.machine} was placed in {later.cell} {later.position} on "
        f"{later.placed_on}, but stood in {earlier.cell} {earlier.position} from "
        f"{earlier.placed_on} {until}: give the day on which it was removed there, or "
        "a later date here."
    )


class MeterSheet(Sheet[Meter]):
    file = "meters.csv"
    model = Meter
    key = ("machine", "name")
    facts = ("unit", "max_per_hour")
    brings = METERS

    def __init__(self, run: Run) -> None:
        super().__init__(run)
        self.folded = {
            (machine, name.casefold()): name for machine, name in run.known(METERS)
        }

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("serial", code(40)),
                Column("meter", code(40)),
                Column("unit", text(20), optional=True, default=""),
                Column("max_per_hour", decimal(0, MOST, 3), optional=True),
            ],
            key=("serial", "meter"),
        )

    def read(self, row: Row) -> Meter | None:
        if row["max_per_hour"] == 0:
            row.refuse(
                "max_per_hour",
                "A meter that runs 0 an hour never moves: write the most it can run, "
                "or leave it empty.",
            )
        machine = row.find(MACHINES, "serial")
        if machine is None:
            return None
        name = row["meter"]
        known = self.folded.setdefault((machine.pk, name.casefold()), name)
        if known != name:
            row.refuse(
                "meter",
                f"{machine} has a meter named “{known}”: write it the same way, or "
                "give another name.",
            )
        return Meter(
            machine=machine,
            name=name,
            unit=row["unit"],
            max_per_hour=row["max_per_hour"],
        )

    def is_saved(self, row: Row, record: Meter, before: Meter | None) -> None:
        self.run.known(METERS)[record.machine_id, record.name] = record
