"""What the team leaders put down in one production date."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

import numpy as np
from django.contrib.auth.models import User

from cells.models import Line, Shift
from config.demo.life.coming import CountRow, DayAhead, StopRow, TallyRow
from config.demo.life.diary import Act
from config.demo.life.floor import Floor
from config.demo.life.stopped import Stopped
from maintenance.confirmations import confirm_shift, running_at_its_end
from maintenance.models import ShiftConfirmation, Stop, Tally
from maintenance.tallies import log_tally
from oee.counts import correct_count, enter_count
from oee.models import Count

CONFIRMED = 0.97
MISCOUNTED = 0.01
MISCOUNT_WHY = "bodies on the hand-over conveyor were left out"


@dataclass(kw_only=True)
class LeadersDay:
    floor: Floor
    ahead: DayAhead
    rng: np.random.Generator

    def acts(self) -> Iterator[Act]:
        """Of the shifts that are stored: one that somebody cancelled has no log."""
        shifts = self._shifts()
        tallies, counts = defaultdict(list), defaultdict(list)
        for tally in self.ahead.tallies:
            line = self.floor.cells[tally.cell].line
            tallies[line.code, tally.shift].append(tally)
        for count in self.ahead.counts:
            counts[count.line, count.shift].append(count)
        for row in self.ahead.stops:
            yield from self._of_stop(row, shifts)
        for (line_code, name), shift in shifts.items():
            key = line_code, name
            yield from self._log(shift, tallies[key], counts[key])

    def _shifts(self) -> dict[tuple[str, str], Shift]:
        rows = Shift.objects.worked().filter(production_date=self.ahead.day)
        return {(row.line.code, row.name): row for row in rows.select_related("line")}

    def _of_stop(
        self, row: StopRow, shifts: dict[tuple[str, str], Shift]
    ) -> Iterator[Act]:
        line = self.floor.cells[row.cell].line
        for (code, name), shift in shifts.items():
            if code == line.code and shift.starts_at <= row.started_at < shift.ends_at:
                yield from stopped(self.floor, row, name).acts()

    def _log(
        self, shift: Shift, tallies: list[TallyRow], counts: list[CountRow]
    ) -> Iterator[Act]:
        """The shift-end log, a little before or after the end."""
        line = self.floor.lines[shift.line.code]
        leader = self.floor.leader(line, shift.name)
        at = shift.ends_at + timedelta(seconds=int(self.rng.integers(-480, 720)))
        for tally in tallies:
            do = partial(self._tally, shift, tally, leader)
            yield Act(at=at, words=f"{shift}, tally of {tally.cell}", do=do)
        for count in counts:
            enter = partial(self._count, line, shift, count, leader)
            yield Act(at=at, words=f"{shift}, count of {count.variant}", do=enter)
        if self.rng.random() < CONFIRMED:
            confirm = partial(self._confirm, shift, leader)
            yield Act(at=at, words=f"{shift}, confirming", do=confirm)
        if counts and self.rng.random() < MISCOUNTED:
            correct = partial(self._correct, line, shift, counts[0], leader)
            later = at + timedelta(hours=2)
            yield Act(at=later, words=f"{shift}, correcting a count", do=correct)

    def _tally(self, shift: Shift, row: TallyRow, leader: User) -> None:
        cell, reason = self.floor.cells[row.cell], self.floor.reasons[row.reason]
        # A visitor of the demo may have been quicker, here and below.
        if Tally.objects.filter(cell=cell, shift=shift, reason=reason).exists():
            return
        log_tally(
            cell=cell,
            shift=shift,
            reason=reason,
            times=row.times,
            seconds=row.seconds,
            by=leader,
        )

    def _count(self, line: Line, shift: Shift, row: CountRow, leader: User) -> None:
        if self._known(line, shift, row) is None:
            enter_count(
                at=line,
                leg=row.leg,
                variant=self.floor.variants[row.variant],
                shift=shift,
                total=row.total,
                good=row.good,
                rework=row.rework,
                scrap=row.scrap,
                by=leader,
            )

    def _correct(self, line: Line, shift: Shift, row: CountRow, leader: User) -> None:
        count = self._known(line, shift, row)
        if count is not None:
            correct_count(
                count=count,
                total=count.total + 3,
                good=count.good + 3,
                rework=count.rework,
                scrap=count.scrap,
                why=MISCOUNT_WHY,
                by=leader,
            )

    def _known(self, line: Line, shift: Shift, row: CountRow) -> Count | None:
        variant = self.floor.variants[row.variant]
        there = Count.objects.filter(line=line, leg=row.leg, shift=shift)
        return there.filter(variant=variant, withdrawn=False).first()

    def _confirm(self, shift: Shift, leader: User) -> None:
        if not ShiftConfirmation.objects.filter(shift=shift).exists():
            running = running_at_its_end(shift)
            confirm_shift(shift=shift, by=leader, still_running=list(running))


def stopped(
    floor: Floor, row: StopRow, shift: str, stop: Stop | None = None
) -> Stopped:
    """`stop`: the record of it, where it stands already."""
    cell = floor.cells[row.cell]
    return Stopped(
        cell=cell,
        reason=floor.reasons[row.reason],
        started_at=row.started_at,
        ended_at=row.ended_at,
        leader=floor.leader(cell.line, shift),
        technician=floor.technician(cell.line.area.code),
        position=row.position,
        note=row.note,
        moments=row.moments,
        cause=row.cause,
        stop=stop,
    )
