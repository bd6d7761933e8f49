"""What was done in the demo plant, and measured: done.csv and step_results.csv."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from config.demo.plant.description import Plant
from config.demo.plant.flow import Ints
from config.demo.plant.machines import PLACED, Machine, Meters
from config.demo.plant.routines import ROUTINES, Routine
from maintenance.planning.routine_rule import tolerance_days

DONE_COLUMNS = (
    "routine",
    "done_at",
    "minutes",
    "found",
    "reading",
    "serial",
    "cell",
    "position",
)
RESULT_COLUMNS = ("routine", "serial", "done_at", "order", "value")
#: From so long before the first day on every completion is told, before that the last
#: one only; of tests all.
BEFORE_DAYS = 16
#: Of the completions so many came after their window.
LATE = 0.07
DAY = timedelta(days=1)


@dataclass
class History:
    plant: Plant
    machines: Sequence[Machine]
    meters: Meters
    rng: np.random.Generator
    done: list[tuple[object, ...]] = field(default_factory=list)
    results: list[tuple[object, ...]] = field(default_factory=list)

    def __post_init__(self) -> None:
        for routine in ROUTINES:
            own = [one for one in self.machines if self._has(routine, one)]
            if not own or routine.every_days is None:
                continue
            if routine.anchor == "calendar":
                for machine in own:
                    for day in self._tests(routine, machine):
                        self._add(routine, machine, day, "13:10", "normal")
            else:
                self._wear(routine, own)

    def _has(self, routine: Routine, machine: Machine) -> bool:
        tags = set(filter(None, routine.tags.split(";")))
        stands = machine.removed_on is None and machine.placed_on < self.plant.today
        return (
            stands
            and machine.kind in routine.kinds.split(";")
            and tags <= set(machine.tags.split(";"))
        )

    def _tests(self, routine: Routine, machine: Machine) -> Iterator[date]:
        """All on the grid since it was placed; the forgotten ones stop short."""
        interval = routine.every_days or 0
        last = (self.plant.today - machine.placed_on).days // interval
        if machine.serial in self.plant.upkeep.forgotten:
            last -= 1
        for number in range(1, last + 1):
            yield machine.placed_on + number * interval * DAY - DAY

    def _wear(self, routine: Routine, own: Sequence[Machine]) -> None:
        """One completion after the other, each near the day on which it was due."""
        told = {
            (cell, f"R{robot}"): [
                day
                for code, where, number, day in self.plant.upkeep.done_on
                if (code, where, number) == (routine.code, cell, robot)
            ]
            for code, cell, robot, _ in self.plant.upkeep.done_on
            if code == routine.code
        }
        first_day: dict[object, date] = {}
        for machine in self.machines:
            for clock in (machine.serial, (machine.cell, machine.position)):
                first_day.setdefault(clock, machine.placed_on)
        days = self._days(routine.every_days or 0, len(own))
        worn = self.rng.random(days.shape) < 0.06
        minutes = self.rng.uniform(0.8, 1.4, days.shape) * routine.minutes
        for row, machine in enumerate(own):
            dates = [self.plant.today + int(day) * DAY for day in days[row] if day < 0]
            dates = told.get((machine.cell, machine.position), dates)
            by_place = routine.follows == "place"
            clock = (machine.cell, machine.position) if by_place else machine.serial
            earliest = max(first_day[clock], PLACED) + DAY
            for place, day in enumerate(one for one in dates if one > earliest):
                found = self._found(routine, machine, bool(worn[row][place]))
                took = round(float(minutes[row][place]))
                self._add(routine, machine, day, "23:30", found, took)

    def _days(self, interval: int, many: int) -> Ints:
        """Days before today, a row per machine; what is not before today counts not."""
        rng, window = self.rng, tolerance_days(interval)
        back = (self.plant.today - self.plant.first_day).days + BEFORE_DAYS
        first = -back - np.floor(rng.random(many) * interval).astype(np.int64)
        times = back // max(1, interval - window) + 2
        slip = rng.integers(1 - window, window + 1, (many, times))
        more = window + 1 + rng.integers(0, max(2, interval // 4), (many, times))
        slip = np.where(rng.random((many, times)) < LATE, more, slip)
        days = first[:, None] + np.cumsum(interval + slip, axis=1)
        days = np.concatenate([first[:, None], days], axis=1)
        # Nobody is there on a Sunday.
        sunday = (self.plant.today.weekday() + days) % 7 == 6
        return np.where(sunday, days - 1, days)

    def _found(self, routine: Routine, machine: Machine, worn: bool) -> str:
        if routine.code == "controller-fan":
            clean = machine.cell[:2] in self.plant.upkeep.clean_filters
            if clean:
                return "normal" if worn else "as_new"
        return "worn" if worn else "normal"

    def _add(
        self,
        routine: Routine,
        machine: Machine,
        day: date,
        clock: str,
        found: str,
        minutes: int | None = None,
    ) -> None:
        by_place = routine.follows == "place"
        reading = (
            self.meters.on(machine.serial, routine.meter, day) if routine.meter else ""
        )
        at = f"{day}T{clock}"
        self.done.append(
            (
                routine.code,
                at,
                routine.minutes if minutes is None else minutes,
                found,
                reading,
                "" if by_place else machine.serial,
                machine.cell if by_place else "",
                machine.position if by_place else "",
            )
        )
        for order, value in self._measured(routine.code, machine, day):
            self.results.append((routine.code, machine.serial, at, order, value))

    def _measured(
        self, code: str, machine: Machine, day: date
    ) -> Iterator[tuple[int, str]]:
        weeks = (day - self.plant.first_day).days / 7
        upkeep = self.plant.upkeep
        if code in ("gun-force", "gun-force-weekly"):
            weak = machine.serial == upkeep.weak_gun
            drift = -0.0215 - 0.0025 * weeks if weak else 0.0
            for order, force in ((1, 2.0), (2, 3.5)):
                noise = float(self.rng.normal(0, 0.001 if weak else 0.004))
                yield order, f"{force * (1 + drift + noise):.3f}"
        elif code == "battery":
            low = machine.serial in upkeep.low_batteries
            volt = 3.15 if low else float(self.rng.uniform(3.45, 3.6))
            yield 1, f"{volt:.2f}"
        elif code == "pump-filter":
            loaded = machine.serial in upkeep.loaded_filters
            rise = 0.55 * max(weeks, 0) if loaded else 0.0
            yield 1, f"{6.0 + rise + float(self.rng.normal(0, 0.4)):.1f}"
