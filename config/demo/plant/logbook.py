"""What was written down of the demo plant's days: stops and tallies."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from config.demo.plant.description import Plant
from config.demo.plant.flow import Bools, Floats, Ints, Waits
from config.demo.plant.reasons import CLASS, CODES, NUMBER
from config.demo.plant.simulated import Run

LONG_S = 5 * 60  # common practice: shorter is a minor stop, tallied
#: A wait is written down as a stop of its own from so long on, else tallied.
LONG_WAIT_S = 20 * 60
#: Of the shifts of a line so many were not logged at all.
NOT_LOGGED = 0.03
#: Of all stops leaders round so many to five minutes.
ROUNDED = 0.6
#: Short waits are tallied where they come to as much in a shift, by so many leaders.
WORTH_S, TALLIED = 8 * 60, 0.5
STARVED, BLOCKED = NUMBER["nothing-upstream"], NUMBER["downstream-full"]
#: By loss class, whether maintenance is called.
REPAIRED = np.array([CLASS[code] == "breakdown" for code in CODES])
MINOR = np.array([CLASS[code] == "minor" for code in CODES])


@dataclass(frozen=True, kw_only=True)
class Stops:
    """As written down: UTC seconds, whole minutes."""

    cell: list[str]
    reason: Ints
    robot: Ints
    start: Ints
    end: Ints
    night: Ints
    note: list[str]


@dataclass(frozen=True, kw_only=True)
class Lived:
    """What really happened to cells, working seconds of a day."""

    cell: Ints
    day: Ints
    at: Floats
    seconds: Floats
    reason: Ints
    logged: Ints
    robot: Ints
    note: Sequence[str]


@dataclass
class Log:
    """One run's days as the leaders of its lines wrote them down."""

    plant: Plant
    run: Run
    rng: np.random.Generator

    def __post_init__(self) -> None:
        days, lines = self.run.days, self.plant.lines
        number = {line.code: index for index, line in enumerate(lines)}
        self.line_of = np.array(
            [number[self.plant.line_of[cell.code].code] for cell in self.run.cells]
        )
        shifts = range(len(days.flat))
        self.worked = np.array(
            [[days.is_worked(line, shift) for shift in shifts] for line in lines]
        )
        is_now = [shift.production_date == self.plant.today for shift in days.flat]
        self.is_now = np.array(is_now)
        written = self.rng.random(self.worked.shape) >= NOT_LOGGED
        self.written = self.worked & (written | self.is_now)
        silent = [
            [(line.code, shift.name) == self.plant.no_minors for shift in days.flat]
            for line in lines
        ]
        self.no_minors = np.array(silent)

    def rows(self) -> tuple[Stops, list[tuple[object, ...]]]:
        """Stops, and tallies as rows of their file."""
        lived = self._own()
        waits = [
            self._waits(self.run.walked.starved, STARVED),
            self._waits(self.run.walked.blocked, BLOCKED),
        ]
        parts = [(lived, LONG_S), *((one, LONG_WAIT_S) for one in waits)]
        long = [_some(one, one.seconds >= least) for one, least in parts]
        short = [_some(one, one.seconds < least) for one, least in parts]
        return self._stops(_joined(long)), self._tallies(short[0], short[1:])

    def _own(self) -> Lived:
        troubles = self.run.troubles
        at = self.run.walked.held_at[: len(troubles.reason)]
        return self._within(
            Lived(
                cell=troubles.flow.cell,
                day=troubles.flow.day,
                at=at,
                seconds=troubles.flow.seconds,
                reason=troubles.reason,
                logged=troubles.logged,
                robot=troubles.robot,
                note=troubles.note,
            )
        )

    def _waits(self, waits: Waits, reason: int) -> Lived:
        none = np.zeros(len(waits.cell), dtype=np.int64)
        return self._within(
            Lived(
                cell=waits.cell,
                day=waits.day,
                at=waits.at,
                seconds=waits.seconds,
                reason=none + reason,
                logged=none + 1,
                robot=none,
                note=(),
            )
        )

    def _within(self, lived: Lived) -> Lived:
        """As far as the day goes, and where somebody wrote it down."""
        length = self.run.days.length[lived.day]
        found = _some(lived, np.isfinite(lived.at) & (lived.at < length))
        left = self.run.days.length[found.day] - found.at
        cut = np.minimum(found.seconds, left)
        shift = self.run.days.shift(found.day, found.at)
        kept = self.written[self.line_of[found.cell], shift]
        return _some(_with_seconds(found, cut), kept)

    def _stops(self, lived: Lived) -> Stops:
        days = self.run.days
        start = days.clock(lived.day, lived.at) // 60 * 60
        end = days.clock_end(lived.day, lived.at + lived.seconds) // 60 * 60
        by_five = self.rng.random(len(start)) < ROUNDED
        start = np.where(by_five, start // 300 * 300, start)
        end = np.where(by_five, (end + 150) // 300 * 300, end)
        end = np.maximum(end, start + 60)
        # Nobody writes down a wait while it lasts.
        flow = (lived.reason == STARVED) | (lived.reason == BLOCKED)
        now = int(self.plant.now.timestamp())
        kept = np.flatnonzero((start < now) & ~(flow & (end > now)))
        return Stops(
            cell=[self.run.cells[lived.cell[row]].code for row in kept.tolist()],
            reason=lived.reason[kept],
            robot=lived.robot[kept],
            start=start[kept],
            end=end[kept],
            night=np.full(len(kept), int(days.nights)),
            note=[lived.note[row] for row in kept.tolist()],
        )

    def _tallies(self, own: Lived, waits: Sequence[Lived]) -> list[tuple[object, ...]]:
        rows: list[tuple[object, ...]] = []
        shift = self.run.days.shift(own.day, own.at)
        silent = self.no_minors[self.line_of[own.cell], shift]
        seen = own.logged == 1
        seen &= ~(silent & MINOR[own.reason])
        rows += self._tally(_some(own, seen), 0.0, 1.0)
        for one in waits:
            rows += self._tally(one, WORTH_S, TALLIED)
        return rows

    def _tally(
        self, lived: Lived, worth_s: float, share: float
    ) -> list[tuple[object, ...]]:
        """A row per cell, shift and reason; not of today, whose shift is not over."""
        shift = self.run.days.shift(lived.day, lived.at)
        many, reasons = len(self.run.days.flat), len(CODES)
        key = (lived.cell * many + shift) * reasons + lived.reason
        found, place, times = np.unique(key, return_inverse=True, return_counts=True)
        seconds = np.bincount(place, weights=lived.seconds, minlength=len(found))
        cell, rest = np.divmod(found, many * reasons)
        shift, reason = np.divmod(rest, reasons)
        always = np.array([one.code in self.plant.sees_all for one in self.run.cells])
        kept = (seconds >= worth_s) & ~self.is_now[shift]
        kept &= (self.rng.random(len(found)) < share) | always[cell]
        flat = self.run.days.flat
        return [
            (
                self.run.cells[cell[row]].code,
                flat[shift[row]].production_date,
                flat[shift[row]].name,
                CODES[reason[row]],
                int(times[row]),
                # Leaders write whole minutes.
                max(60, round(seconds[row] / 60) * 60),
            )
            for row in np.flatnonzero(kept)
        ]


def _some(lived: Lived, rows: Bools) -> Lived:
    note = lived.note
    return Lived(
        cell=lived.cell[rows],
        day=lived.day[rows],
        at=lived.at[rows],
        seconds=lived.seconds[rows],
        reason=lived.reason[rows],
        logged=lived.logged[rows],
        robot=lived.robot[rows],
        note=note
        if not len(note)
        else [note[row] for row in np.flatnonzero(rows).tolist()],
    )


def _with_seconds(lived: Lived, seconds: Floats) -> Lived:
    return Lived(**(vars(lived) | {"seconds": seconds}))


def _joined(parts: Sequence[Lived]) -> Lived:
    def column(name: str) -> Any:
        return np.concatenate([getattr(part, name) for part in parts])

    notes = [note for part in parts for note in part.note or [""] * len(part.cell)]
    names = ("cell", "day", "at", "seconds", "reason", "logged", "robot")
    return Lived(**{name: column(name) for name in names}, note=notes)
