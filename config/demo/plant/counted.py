"""What the demo plant's lines made: counts, the plan, and the areas' targets."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from cells.working_time.patterns import PlannedShift
from config.demo.plant.days import busy_s
from config.demo.plant.description import SHIFT_S, VARIANTS, Line, Plant
from config.demo.plant.flow import Ints
from config.demo.plant.logbook import Log
from config.demo.plant.simulated import Exit, Run
from config.demo.plant.stop_rows import moments

DAYS_A_WEEK, NIGHTS_A_WEEK = 5, 4

COUNT_COLUMNS = (
    "at",
    "date",
    "shift",
    "starts_at",
    "ends_at",
    "variant",
    "total",
    "good",
    "rework",
    "scrap",
)
#: Of the shifts so many were not counted.
NOT_COUNTED = 0.015
#: Of the bodies that were not good at first so many were scrapped.
SCRAPPED = 0.2


@dataclass
class Counted:
    plant: Plant
    counts: list[tuple[object, ...]] = field(default_factory=list)
    #: By area: seconds planned, and ideal seconds of good ones, where it was counted.
    planned_s: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    good_s: dict[str, float] = field(default_factory=lambda: defaultdict(float))

    def add(self, run: Run, rng: np.random.Generator) -> None:
        shifts = run.days.flat
        known = {
            line.code: rng.random(len(shifts)) >= NOT_COUNTED
            for line in self.plant.lines
        }
        share = {
            line.code: rng.uniform(*self.plant.rates.good, len(shifts))
            for line in self.plant.lines
        }
        for exit_ in run.exits:
            made = run.made(exit_)
            good = rng.binomial(made, share[exit_.line.code][:, None])
            scrap = rng.binomial(made - good, SCRAPPED)
            for index, shift in enumerate(shifts):
                numbers = made[index], good[index], scrap[index]
                if shift.production_date == self.plant.today:
                    continue  # they count when it is over
                if run.days.is_forgotten(exit_.line, index):
                    self._rows(exit_, shift, *numbers, planned=False)
                elif (
                    run.days.is_worked(exit_.line, index)
                    and (known[exit_.line.code][index])
                ):
                    self._rows(exit_, shift, *numbers, planned=True)
                    busy = busy_s(self.plant, exit_.line, shift)
                    self._sum(exit_, good[index], busy)

    def _rows(
        self,
        exit_: Exit,
        shift: PlannedShift,
        made: Ints,
        good: Ints,
        scrap: Ints,
        *,
        planned: bool,
    ) -> None:
        at = f"{exit_.line.code}/{exit_.leg}" if exit_.leg else exit_.line.code
        span = (int(shift.starts_at.timestamp()), int(shift.ends_at.timestamp()))
        when = (
            (shift.production_date, shift.name, "", "")
            if planned
            else ("", "", *moments(np.array(span)))
        )
        for number, variant in enumerate(VARIANTS):
            total, fine, lost = int(made[number]), int(good[number]), int(scrap[number])
            self.counts.append(
                (at, *when, variant, total, fine, total - fine - lost, lost)
            )

    def _sum(self, exit_: Exit, good: Ints, busy_s: int) -> None:
        cell = self.plant.cells[exit_.line.counting]
        if cell.leg == exit_.leg:
            ideal = np.array([cell.ideal[variant] for variant in VARIANTS])
            self.planned_s[exit_.line.area] += busy_s
            self.good_s[exit_.line.area] += float(good @ ideal)

    def targets(self) -> dict[str, float]:
        """A little above what each area reaches, in halves of a point."""
        found = {}
        for area in self.plant.areas:
            reached = 100 * self.good_s[area.code] / self.planned_s[area.code]
            found[area.code] = round((reached + area.ahead) * 2) / 200
        return found


def plan_rows(plant: Plant, runs: Sequence[Run]) -> Iterator[tuple[object, ...]]:
    """The same bodies for every line, spread over the shifts that it works."""
    for run in runs:
        lengths = run.days.shift_length
        for line in _lines(run):
            pace = _planned_pace(plant, line)
            for index, shift in enumerate(run.days.flat):
                if run.days.is_worked(line, index):
                    bodies = round(pace * float(lengths[index]))
                    yield line.code, shift.production_date, shift.name, bodies


def _planned_pace(plant: Plant, line: Line) -> float:
    """Bodies a working second at the counting cell; of legs in turn half of them."""
    nights = NIGHTS_A_WEEK if "Night" in line.shifts else 0
    worked = SHIFT_S * (2 * DAYS_A_WEEK + nights)
    share = len(line.legs) if line.in_turn else 1
    return plant.bodies_a_day * DAYS_A_WEEK / worked / share


def confirmation_rows(
    plant: Plant, logs: Sequence[Log], rng: np.random.Generator
) -> Iterator[tuple[object, ...]]:
    """A leader confirms what was logged, within minutes of the shift's end."""
    for log in logs:
        flat = log.run.days.flat
        ends = np.array([int(shift.ends_at.timestamp()) for shift in flat])
        at = ends + rng.integers(-8, 12, log.written.shape) * 60
        known = log.written & (at < plant.now.timestamp())
        for number, line in enumerate(plant.lines):
            for index in np.flatnonzero(known[number]):
                moment = moments(at[number, index : index + 1])[0]
                yield line.code, flat[index].production_date, flat[index].name, moment


def _lines(run: Run) -> list[Line]:
    return list({exit_.line.code: exit_.line for exit_ in run.exits}.values())
