"""What the technicians report of one plant day: visits to cells, and meters read."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import partial

import numpy as np
from django.contrib.auth.models import User

from cells import meters
from cells.models import Cell, Meter, Placement
from config.demo.life.diary import Act
from config.demo.life.floor import Floor
from maintenance.models import Step, Task
from maintenance.task_rules import current_steps, meters_of, sheet_of
from maintenance.tasks import Work, complete_many

#: On the plant's clock: tests while the line runs, the rest at night.
TESTS_FROM, VISITS_FROM, READ_FROM = time(9, 0), time(22, 15), time(6, 30)
TESTS_LAST, VISITS_LAST, READ_LAST = 240, 400, 90  # minutes
BEFORE_MIDNIGHT = 100  # minutes: what must be done on that date
FORGOTTEN = 0.05
WEEKDAYS = 5
LONGEST_S = 21 * 86_400  # a meter not read for longer is one that nobody reads


@dataclass(kw_only=True)
class TechniciansDay:
    floor: Floor
    day: date
    rng: np.random.Generator

    def acts(self) -> Iterator[Act]:
        yield from self._visits()
        if self.day.isoweekday() <= WEEKDAYS:
            yield from self._readings()

    def _visits(self) -> Iterator[Act]:
        """One visit per cell and kind of hour; a task on some day of its window."""
        visits: dict[tuple[str, int], list[int]] = {}
        for task in self._in_their_window():
            assert task.cell is not None
            assert task.latest is not None
            days_left = (task.latest - self.day).days
            if self.rng.random() < (1 - FORGOTTEN) / (1 + days_left):
                minutes = VISITS_LAST if days_left else BEFORE_MIDNIGHT
                key = task.cell.code, 0 if task.routine.safety else minutes
                visits.setdefault(key, []).append(task.pk)
        for (cell, minutes), tasks in visits.items():
            if minutes:
                at = self._moment(VISITS_FROM, minutes)
            else:
                at = self._moment(TESTS_FROM, TESTS_LAST)
            do = partial(self._visit, self.floor.cells[cell], tasks, at)
            yield Act(at=at, words=f"The visit to {cell}", do=do)

    def _in_their_window(self) -> Iterable[Task]:
        """A window that was missed is left to the planner's list."""
        windows = Task.objects.open().filter(
            earliest__lte=self.day, latest__gte=self.day, cell__isnull=False
        )
        return windows.select_related("routine", "cell").order_by("pk")

    def _visit(self, cell: Cell, tasks: list[int], at: datetime) -> None:
        still_open = Task.objects.open().filter(pk__in=tasks).order_by("pk")
        rows = [
            task
            for task in still_open.select_related(
                "routine", "machine", "cell"
            ).prefetch_related("routine__steps")
            # Where no sheet is on record, safety has to be asked first.
            if sheet_of(task.cell) or not task.routine.lockout
        ]
        by_task = meters_of(rows)
        read = self._values_of({meter.pk for meter in by_task.values()}, at)
        work = [
            self._work(task, at, read.get(by_task[task.pk].pk))
            if task.pk in by_task
            else self._work(task, at, None)
            for task in rows
        ]
        if work:
            complete_many(work, by=self.floor.technician(cell.line.area.code))

    def _work(self, task: Task, at: datetime, reading: Decimal | None) -> Work:
        found = Task.Found.WORN if self.rng.random() < 0.06 else Task.Found.NORMAL
        minutes = task.routine.minutes * float(self.rng.uniform(0.8, 1.4))
        return Work(
            task=task,
            done_at=at,
            minutes=round(minutes),
            found=Task.Found.NORMAL if task.routine.safety else found,
            reading=reading,
            results={
                step.pk: [self._result(step) for _ in range(step.repeat)]
                for step in current_steps(task.routine)
                if step.takes_values
            },
            lockout_sheet=sheet_of(task.cell) if task.routine.lockout else "",
        )

    def _result(self, step: Step) -> Decimal:
        """Inside what the step's limits call normal."""
        low, high = step.watch_low, step.watch_high
        if low is None and high is None:
            return Decimal(1)
        lowest = high * Decimal("0.8") if low is None else low  # type: ignore[operator]
        highest = lowest * Decimal("1.2") if high is None else high
        share = Decimal(f"{self.rng.uniform(0.35, 0.65):.2f}")
        return round(lowest + (highest - lowest) * share, 2)

    def _readings(self) -> Iterator[Act]:
        """Every working day a fifth of each area's machines, line by line."""
        placed = Placement.objects.on(self.day)
        line_of = dict(placed.values_list("machine", "cell__line__code"))
        of_line: dict[str, list[int]] = {}
        for meter, machine in Meter.objects.order_by("pk").values_list("pk", "machine"):
            if machine % WEEKDAYS == self.day.isoweekday() % WEEKDAYS:
                of_line.setdefault(line_of.get(machine, ""), []).append(meter)
        for line, found in sorted(of_line.items()):
            if line:
                at = self._moment(READ_FROM, READ_LAST)
                by = self.floor.technician(self.floor.lines[line].area.code)
                do = partial(self._read, found, at, by)
                yield Act(at=at, words=f"The meters of {line}", do=do)

    def _read(self, meter_ids: list[int], at: datetime, by: User) -> None:
        read = self._values_of(meter_ids, at)
        rows = Meter.objects.filter(pk__in=read).select_related("machine")
        meters.record_readings(
            [meters.Entry(meter, read[meter.pk], at) for meter in rows], by=by
        )

    def _values_of(self, meter_ids: Iterable[int], at: datetime) -> dict[int, Decimal]:
        """Where each has got to by its use so far; what nobody reads is left out."""
        found = {}
        for meter, history in meters.histories_of(meter_ids).items():
            gone = int(at.timestamp()) - history.ats[-1]
            past = history.ats[-1] - history.ats[0]
            if past > 0 and 0 < gone < LONGEST_S:
                use = float(history.values[-1] - history.values[0]) / past
                more = use * gone * float(self.rng.uniform(0.9, 1.1))
                found[meter] = history.values[-1] + round(more)
        return found

    def _moment(self, since: time, minutes: int) -> datetime:
        local = datetime.combine(self.day, since, tzinfo=self.floor.zone)
        later = timedelta(minutes=int(self.rng.integers(0, minutes)))
        return (local + later).astimezone(UTC)
