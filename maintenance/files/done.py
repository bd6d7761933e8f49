"""done.csv and step_results.csv: what was done before, and what was measured."""

from collections import Counter
from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from functools import cache, partial
from typing import Any, BinaryIO

from django.db.models import QuerySet

from cells.csv_cells import choice, code, decimal, integer, moment
from cells.csv_files import Column, Contract
from cells.files.kinds import CELLS, MACHINES, POSITIONS, find_meter
from cells.files.readings import ReadingSheet, plain, value_of_meter
from cells.files.run import Kind, Row, Run, on_the_clock
from cells.files.sheet import LongSheet
from cells.models import Cell, Machine, Meter, Placement
from cells.working_time.plant_time import local_date
from maintenance.due import machine_clock, place_clock
from maintenance.files.kinds import ROUTINES, STEPS
from maintenance.files.routines import MOST_LIMIT, MOST_MINUTES, check_is_for
from maintenance.models import Routine, Step, StepResult, Task


class _DoneReadings(ReadingSheet):
    """A reading given with a completion is a reading like any other."""

    file = "done.csv"
    value_column = "reading"

    def __init__(self, run: Run) -> None:
        super().__init__(run)
        self.values: dict[tuple[int, datetime], Decimal] = {}

    def give(self, row: Row, meter: Meter, read_at: datetime, value: Decimal) -> None:
        first = self.values.setdefault((meter.pk, read_at), value)
        if first != value:
            row.refuse(
                "reading",
                f"{meter} cannot read {plain(value)} and {plain(first)} at "
                f"{on_the_clock(read_at)}: correct one of them.",
            )

    def take_all(self, given: Iterable[tuple[Row, Meter]]) -> None:
        taken = set()
        for row, meter in given:
            key = (meter.pk, row["done_at"])
            if row.good and key not in taken:
                taken.add(key)
                self.take(row, self.reading(meter, row["done_at"], row["reading"]))
        self.flush()


def _done_tasks() -> dict[tuple[int, int, datetime], int]:
    """Their ids."""
    tasks = Task.objects.done().exclude(machine=None).order_by()
    columns = ("routine_id", "machine_id", "done_at", "pk")
    return {
        (routine, machine, done_at): pk
        for routine, machine, done_at, pk in tasks.values_list(*columns)
        if machine is not None and done_at is not None
    }


DONE = Kind("done task", "done.csv", _done_tasks)


class DoneSheet(LongSheet[Task]):
    file = "done.csv"
    model = Task
    key = ("routine", "clock", "done_at")
    facts = ("minutes", "found", "reading")
    brings = DONE

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("routine", code(40)),
                Column("serial", code(40), optional=True),
                Column("cell", code(20), optional=True),
                Column("position", code(40), optional=True),
                Column("done_at", moment(self.run.zone)),
                Column("minutes", integer(0, MOST_MINUTES), optional=True),
                Column("found", choice(*Task.Found.values), optional=True, default=""),
                Column("reading", value_of_meter, optional=True),
            ],
            key=("routine", "serial", "cell", "position", "done_at"),
        )

    def load(self, stream: BinaryIO, total: int) -> None:
        self.given_readings: list[tuple[Row, Meter]] = []
        self.readings = _DoneReadings(self.run)
        self.day_of = cache(partial(local_date, zone=self.run.zone))
        super().load(stream, total)

    def read(self, row: Row) -> Task | None:
        routine = row.find(ROUTINES, "routine")
        if row["done_at"] > self.run.now:
            row.refuse(
                "done_at",
                f"It cannot have been done at {on_the_clock(row['done_at'])}, which "
                "lies in the future: correct the time.",
            )
        if routine is None:
            return None
        task = self._of_place if routine.follows == "place" else self._of_machine
        done = task(row, routine)
        if done is not None and row["reading"] is not None:
            self._give_reading(row, routine, done.machine)
        return done

    def stored(self, records: list[Task]) -> QuerySet[Task]:
        return Task.objects.filter(
            routine__in={one.routine_id for one in records},
            done_at__in={one.done_at for one in records},
        )

    def _there(self, records: list[Task]) -> dict[tuple[Any, ...], tuple[Any, ...]]:
        """One that was closed as recorded by mistake stays so, until it is changed."""
        tasks = self.stored(records).order_by()
        by_key = self._by_key(tasks.filter(closed_why=""))
        closed = self._by_key(tasks.exclude(closed_why=""))
        for one in records:
            key, facts = self.key_of(one), self.facts_of(one)
            if key not in by_key and closed.get(key, ())[1:] == facts:
                by_key[key] = closed[key]
        return by_key

    def is_saved(self, row: Row, record: Task, before: Task | None) -> None:
        self.run.due_of.add(record.routine_id)

    def finish(self) -> None:
        self.readings.take_all(self.given_readings)

    def _of_machine(self, row: Row, routine: Routine) -> Task | None:
        self._need(row, routine, "serial", without=("cell", "position"))
        machine = row.find(MACHINES, "serial")
        if machine is None:
            return None
        check_is_for(row, routine, machine)
        place = self.run.known(PLACES_OF).get(machine.pk, [])
        there = _on(place, self._day(row))
        return self._task(
            row,
            routine,
            machine=machine,
            cell_id=there.cell_id if there else None,
            position=there.position if there else "",
            clock=machine_clock(machine.pk),
        )

    def _of_place(self, row: Row, routine: Routine) -> Task | None:
        self._need(row, routine, "cell", "position", without=("serial",))
        cell, position = row.find(CELLS, "cell"), row["position"]
        if cell is None or position is None:
            return None
        self._check_position(row, cell, position)
        there = _on(
            self.run.known(MACHINES_AT).get((cell.pk, position), []), self._day(row)
        )
        return self._task(
            row,
            routine,
            machine=there.machine if there else None,
            cell_id=cell.pk,
            position=position,
            clock=place_clock(cell.pk, position),
        )

    def _task(self, row: Row, routine: Routine, **place: Any) -> Task:
        facts = {name: row[name] for name in (*self.facts, "done_at")}
        return self.make(
            routine=routine,
            opened_on=self._day(row),
            entered_at=self.run.now,
            **facts,
            **place,
        )

    def _need(
        self, row: Row, routine: Routine, *columns: str, without: tuple[str, ...]
    ) -> None:
        amiss = [column for column in columns if row[column] is None]
        amiss += [column for column in without if row[column] is not None]
        if amiss:
            row.refuse(
                amiss[0],
                f"“{routine}” follows the {routine.follows}: write its "
                f"{' and '.join(columns)}, and leave {' and '.join(without)} empty.",
            )

    def _check_position(self, row: Row, cell: Cell, position: str) -> None:
        known = self.run.known(POSITIONS).get(cell.pk, set())
        if position not in known:
            choice = ", ".join(sorted(known)) or "none is on record"
            row.miss(
                POSITIONS,
                position,
                "position",
                f"Cell {cell} has no position {position!r}: write one of its own "
                f"({choice}).",
            )

    def _give_reading(
        self, row: Row, routine: Routine, machine: Machine | None
    ) -> None:
        if not routine.meter:
            row.refuse(
                "reading",
                f"“{routine}” goes by no meter, so {plain(row['reading'])} is a "
                "reading of nothing: leave it empty.",
            )
        elif machine is None:
            row.refuse(
                "reading",
                f"Nothing stood at {row['cell']} {row['position']} on "
                f"{self._day(row)} whose {routine.meter} could be read: leave it "
                "empty.",
            )
        else:
            meter = find_meter(row, machine, routine.meter, "reading")
            if meter is not None:
                self.readings.give(row, meter, row["done_at"], row["reading"])
                self.given_readings.append((row, meter))

    def _day(self, row: Row) -> date:
        return self.day_of(row["done_at"])


def _placements() -> Iterable[Placement]:
    return Placement.objects.order_by("placed_on").select_related("machine")


def _places_of() -> dict[int, list[Placement]]:
    found: dict[int, list[Placement]] = {}
    for placement in _placements():
        found.setdefault(placement.machine_id, []).append(placement)
    return found


def _machines_at() -> dict[tuple[int, str], list[Placement]]:
    found: dict[tuple[int, str], list[Placement]] = {}
    for placement in _placements():
        key = (placement.cell_id, placement.position)
        found.setdefault(key, []).append(placement)
    return found


PLACES_OF = Kind("place of a machine", "machines.csv", _places_of)
MACHINES_AT = Kind("machine at a place", "machines.csv", _machines_at)


def _on(placements: list[Placement], day: Any) -> Placement | None:
    """The one that stood there that day, the last of them if one came after another."""
    there = [
        one
        for one in placements
        if one.placed_on <= day and (one.removed_on is None or day < one.removed_on)
    ]
    return there[-1] if there else None


class StepResultSheet(LongSheet[StepResult]):
    """A step with several values has a row for each, in their order."""

    file = "step_results.csv"
    model = StepResult
    key = ("task", "step", "number")
    facts = ("value",)

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("routine", code(40)),
                Column("serial", code(40)),
                Column("done_at", moment(self.run.zone)),
                Column("order", integer(1, 1000)),
                Column("value", decimal(-MOST_LIMIT, MOST_LIMIT, 4)),
            ],
        )

    def load(self, stream: BinaryIO, total: int) -> None:
        self.numbers: Counter[tuple[int, int]] = Counter()
        super().load(stream, total)

    def read(self, row: Row) -> StepResult | None:
        routine, machine = row.find(ROUTINES, "routine"), row.find(MACHINES, "serial")
        if routine is None or machine is None:
            return None
        step, task = self._step(row, routine), self._task(row, routine, machine)
        if step is None or task is None:
            return None
        self.numbers[task, step.pk] += 1
        number = self.numbers[task, step.pk]
        if number > step.repeat:
            row.refuse(
                "value",
                f"Step {step.order} of “{routine}” takes {step.repeat} "
                f"value{'s'[: step.repeat > 1]}, and this is number {number}: remove "
                "it, or raise repeat in steps.csv.",
            )
        return self.make(task_id=task, step=step, number=number, value=row["value"])

    def stored(self, records: list[StepResult]) -> QuerySet[StepResult]:
        return StepResult.objects.filter(task__in={one.task_id for one in records})

    def _step(self, row: Row, routine: Routine) -> Step | None:
        steps = self.run.known(STEPS)
        step: Step | None = steps.get((routine.pk, row["order"]))
        if step is None:
            orders = sorted(order for owner, order in steps if owner == routine.pk)
            its = (
                f"its steps are {', '.join(map(str, orders))}"
                if orders
                else ("it has none")
            )
            row.miss(
                STEPS,
                (routine.pk, row["order"]),
                "order",
                f"“{routine}” has no step {row['order']}: {its}.",
            )
        elif not step.takes_values:
            row.refuse(
                "order",
                f"Step {step.order} of “{routine}” takes no value, as it has neither "
                "a unit nor a limit: remove the row.",
            )
        return step

    def _task(self, row: Row, routine: Routine, machine: Machine) -> int | None:
        key = (routine.pk, machine.pk, row["done_at"])
        task: int | None = self.run.known(DONE).get(key)
        if task is None:
            row.miss(
                DONE,
                key,
                "done_at",
                f"“{routine}” was not done on {machine} at "
                f"{on_the_clock(row['done_at'])}: add it to done.csv.",
            )
        return task
