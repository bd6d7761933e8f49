"""What stands in the demo plant's cells: machines.csv, meters.csv, readings.csv."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from config.demo.plant.description import Cell, Plant
from config.demo.plant.simulated import Run

#: A Monday: most of the plant was put up on this day.
PLACED = date(2023, 9, 4)
#: Spots on a body, per robot; some rear-floor robots do nearly twice as many.
SPOTS = 9
MANY_SPOTS = 16
WEEK = timedelta(weeks=1)
MACHINE_COLUMNS = (
    "serial",
    "kind",
    "cell",
    "position",
    "placed_on",
    "model",
    "tags",
    "removed_on",
)
METER_COLUMNS = ("serial", "meter", "unit", "max_per_hour")
READING_COLUMNS = ("serial", "meter", "read_at", "value")
#: Name of a meter: its unit, and the most that it can run in an hour.
METERS = {"motion hours": ("h", 1), "spots": ("spots", 1200)}


@dataclass(frozen=True, kw_only=True)
class Machine:
    serial: str
    kind: str
    cell: str
    position: str
    placed_on: date = PLACED
    model: str = ""
    tags: str = ""
    removed_on: date | None = None

    @property
    def row(self) -> tuple[object, ...]:
        return (
            self.serial,
            self.kind,
            self.cell,
            self.position,
            self.placed_on,
            self.model,
            self.tags,
            self.removed_on or "",
        )


def serial(cell: str, robot: int) -> str:
    return f"{cell.replace('-', '')}-{robot:02d}"


def machines(plant: Plant) -> list[Machine]:
    """One per placement, robots first."""
    found = [
        robot
        for line in plant.lines
        for cell in line.cells
        for number, kind in enumerate(cell.kinds, start=1)
        for robot in _robot(plant, cell, number, kind)
    ]
    found += [Machine(**vars(one)) for one in plant.upkeep.equipment]
    found += [
        Machine(
            serial=pack.serial,
            kind="dress pack",
            cell=pack.cell,
            position=f"R{pack.robot} cable pack",
            placed_on=pack.placed_on,
            removed_on=pack.removed_on,
        )
        for pack in plant.upkeep.packs
    ]
    return found


def _robot(plant: Plant, cell: Cell, number: int, kind: str) -> Iterator[Machine]:
    """Where it stands; and where another took its place, that one too."""
    name = serial(cell.code, number)
    place = (cell.code, number)
    swaps = (one for one in plant.upkeep.swaps if (one.cell, one.robot) == place)
    swap = next(swaps, None)
    first = Machine(
        serial=name,
        kind=kind,
        cell=cell.code,
        position=f"R{number}",
        model="210 kg class" if kind in ("weld", "handling") else "50 kg class",
        tags="geometry-gun" if name in plant.upkeep.weekly else "",
        removed_on=swap.day if swap else None,
    )
    yield first
    if swap:
        now = replace(first, placed_on=swap.day, removed_on=None)
        yield replace(now, serial=swap.serial)
        if swap.to_cell:
            yield replace(now, cell=swap.to_cell, position=swap.to_position)


def bodies_by_week(
    plant: Plant, runs: Sequence[Run]
) -> dict[tuple[str, str], list[float]]:
    """By line and leg: how many bodies each of its cells did in each week."""
    weeks = (plant.today - plant.first_day).days // 7 + 1
    found: dict[tuple[str, str], list[float]] = {}
    for run in runs:
        number = [
            (shift.production_date - plant.first_day).days // 7
            for shift in run.days.flat
        ]
        for exit_ in run.exits:
            worked = [
                run.days.is_worked(exit_.line, index)
                for index in range(len(run.days.flat))
            ]
            made = run.made(exit_).sum(axis=1) * worked
            key = (exit_.line.code, exit_.leg)
            of_week = np.bincount(number, weights=made, minlength=weeks)
            found[key] = [
                before + more
                for before, more in zip(
                    found.get(key, [0.0] * weeks), of_week.tolist(), strict=True
                )
            ]
    return found


class Meters:
    """What was read: every Monday, motion hours of robots and spots of welding ones."""

    def __init__(
        self, plant: Plant, runs: Sequence[Run], rng: np.random.Generator
    ) -> None:
        self.plant, self.rng = plant, rng
        self.meters: list[tuple[object, ...]] = []
        self.readings: list[tuple[object, ...]] = []
        #: By serial and meter: what stood on which day, in order.
        self.known: dict[tuple[str, str], list[tuple[date, int]]] = {}
        bodies = bodies_by_week(plant, runs)
        for machine in _each_once(machines(plant)):
            cell = plant.cells.get(machine.cell)
            if machine.kind == "dress pack" or not machine.position.startswith("R"):
                continue
            assert cell is not None
            self._robot(machine, cell, bodies[machine.cell[:3], cell.leg])
        self._packs()

    def _robot(self, machine: Machine, cell: Cell, bodies: list[float]) -> None:
        swap = next(
            (s for s in self.plant.upkeep.swaps if s.serial == machine.serial), None
        )
        start = swap.hours if swap else float(self.rng.uniform(5_500, 9_200))
        hours = max(cell.true.values()) * 1.05 / 3600
        self._read(machine, "motion hours", start, hours, bodies)
        if machine.kind == "weld":
            spots = MANY_SPOTS if cell.code in self._busy() else SPOTS
            first = float(self.rng.uniform(900_000, 1_200_000))
            self._read(machine, "spots", first, spots, bodies)

    def _busy(self) -> set[str]:
        return {pack.cell for pack in self.plant.upkeep.packs}

    def _read(
        self,
        machine: Machine,
        meter: str,
        start: float,
        each: float,
        bodies: list[float],
    ) -> None:
        """On Mondays from its first day on; use goes by the bodies of the week."""
        self.meters.append((machine.serial, meter, *METERS[meter]))
        use = self.rng.uniform(0.99, 1.01, len(bodies))
        value, day = start, self.plant.first_day
        unread = machine.serial in self.plant.upkeep.unread
        for week, made in enumerate(bodies):
            gone = machine.removed_on and day > machine.removed_on
            here = machine.placed_on <= day and not gone
            if here and not (unread and week):
                self._add(machine.serial, meter, day, "06:30", round(value))
            if here:
                value += made * each * use[week]
            day += WEEK

    def _add(self, name: str, meter: str, day: date, clock: str, value: int) -> None:
        self.readings.append((name, meter, f"{day}T{clock}", value))
        self.known.setdefault((name, meter), []).append((day, value))

    def _packs(self) -> None:
        for pack in self.plant.upkeep.packs:
            self.meters.append((pack.serial, "spots", *METERS["spots"]))
            start = max(pack.placed_on, self.plant.first_day)
            lived = (pack.removed_on or self.plant.today) - pack.placed_on
            share = (start - pack.placed_on) / lived if lived else 0
            self._add(pack.serial, "spots", start, "06:00", round(pack.spots * share))
            end = pack.removed_on or self.plant.today - timedelta(days=1)
            if end > start:
                self._add(pack.serial, "spots", end, "05:30", pack.spots)

    def on(self, name: str, meter: str, day: date) -> int | str:
        """Between the weekly readings, so that the meter never runs back."""
        known = self.known.get((name, meter), [])
        before = [value for at, value in known if at <= day]
        after = [value for at, value in known if at > day]
        if not before or not after:
            return ""
        return (before[-1] + after[0]) // 2


def _each_once(found: Sequence[Machine]) -> list[Machine]:
    """A robot that went elsewhere is read where it first stood."""
    first: dict[str, Machine] = {}
    for machine in found:
        first.setdefault(machine.serial, machine)
    return list(first.values())
