"""Day by day: what comes is written into the diary, and done when its time has come."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from config.demo.life.coming import (
    DAY,
    DAY_BEGINS,
    DayAhead,
    StopRow,
    production_day,
)
from config.demo.life.diary import Diary
from config.demo.life.floor import Floor
from config.demo.life.leaders import LeadersDay, stopped
from config.demo.life.technicians import TechniciansDay
from maintenance.models import LossClass, Stop


class PlantLife:
    """`ahead` tells what comes of a production date; `since` is when life begins."""

    def __init__(
        self,
        *,
        ahead: Callable[[date], DayAhead],
        since: datetime,
        seed: int,
        diary: Diary,
    ) -> None:
        self.diary = diary
        self.floor = Floor()
        self._ahead, self._since, self._seed = ahead, since, seed
        self._next_day = production_day(since)
        self._adopt_running()

    def live_until(self, now: datetime) -> None:
        """Everything that is due, a day that begins planned before its first hour."""
        while self._next_day <= production_day(now):
            # What was due before the day began comes before its plan is made.
            self.diary.do_due(min(now, self._beginning_of(self._next_day)))
            self._plan(self._next_day)
            self._next_day += DAY
        self.diary.do_due(now)

    def _beginning_of(self, day: date) -> datetime:
        midnight = datetime(day.year, day.month, day.day, tzinfo=self.floor.zone)
        return (midnight + DAY_BEGINS).astimezone(UTC)

    def _plan(self, day: date) -> None:
        ahead = self._ahead(day)
        rng = np.random.default_rng([self._seed, day.toordinal()])
        acts = [
            *LeadersDay(floor=self.floor, ahead=ahead, rng=rng).acts(),
            *TechniciansDay(floor=self.floor, day=day, rng=rng).acts(),
        ]
        self.diary.add(act for act in acts if act.at > self._since)

    def _adopt_running(self) -> None:
        """What stands when life begins is attended to and ended.

        The engine knows how most of them go on; the others are given a repair.
        """
        known = {
            (row.cell, row.reason, row.started_at): row
            for row in self._ahead(self._next_day).stops
        }
        rng = np.random.default_rng([self._seed, 0])
        running = Stop.objects.running().select_related("cell__line__area", "reason")
        for stop in running.order_by("pk"):
            key = stop.cell.code, stop.reason.code, stop.started_at
            row = known.get(key) or self._repaired_soon(stop, rng)
            row = self._still_to_come(row)
            shift = self.floor.shift_at(stop.cell.line, self._since)
            self.diary.add(stopped(self.floor, row, shift, stop).acts())

    def _still_to_come(self, row: StopRow) -> StopRow:
        """What lay before has been put down, or has not."""
        coming = {name: at for name, at in row.moments.items() if at > self._since}
        return replace(row, moments=coming)

    def _repaired_soon(self, stop: Stop, rng: np.random.Generator) -> StopRow:
        is_repaired = stop.reason.loss_class == LossClass.BREAKDOWN
        names = Stop.TIMELINE[1:-1] if is_repaired else ()
        whole = float(rng.uniform(10 * 60, 40 * 60))
        shares = np.sort(rng.uniform(0.1, 0.95, len(names)))
        return StopRow(
            cell=stop.cell.code,
            reason=stop.reason.code,
            started_at=stop.started_at,
            ended_at=self._since + timedelta(seconds=round(whole)),
            moments={
                name: self._since + timedelta(seconds=round(whole * float(share)))
                for name, share in zip(names, shares, strict=True)
            },
        )
