"""What does the account of a cell-shift need to know, and what is refused?

Every table is a set of columns of one length. ``cell_shift`` says to which shift a row
belongs, as its place in ``Shifts``. All moments are whole seconds of UTC, all intervals
half-open; an interval may reach outside its shift, where it counts for nothing.

>>> stops = Stops.of([(0, LOSS_CLASSES.index("setup"), 600, 900, 0)])
>>> stops.ends.tolist()
[900]
>>> check(LedgerInputs(shifts=Shifts.of([(0, 480, True)]), stops=Stops.of([
...     (0, LOSS_CLASSES.index("planned"), 600, 900, 0)])))
Traceback (most recent call last):
ValueError: stops row 0: loss_class (0) must be 1 to 9; planned time comes from \
planned stops only.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Self

import numpy as np

from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.cover import BoolArray, IntArray

#: Stands for the end of a stop that is still running; later than any shift.
STILL_RUNNING = 2**62


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """Columns of one length; whole numbers, or yes and no."""

    def __post_init__(self) -> None:
        """Refuse columns of other lengths or other kinds of numbers."""
        lengths = set()
        for column in fields(self):
            values = getattr(self, column.name)
            wanted = "bool" if column.type is BoolArray else "int64"
            if values.dtype != wanted or values.ndim != 1:
                raise ValueError(
                    f"{self.title()} {column.name} must be one column of {wanted}, "
                    f"not {values.ndim} of {values.dtype}."
                )
            lengths.add(len(values))
        if len(lengths) > 1:
            raise ValueError(
                f"{self.title()} must have columns of one length, "
                f"not {sorted(lengths)}."
            )

    @classmethod
    def of(cls, rows: Sequence[Sequence[int]]) -> Self:
        """A table of rows whose values stand in the order of the columns."""
        columns = fields(cls)
        values = np.array(rows, np.int64).reshape(len(rows), len(columns)).T
        return cls(
            **{
                column.name: value.astype(bool)
                if column.type is BoolArray
                else np.ascontiguousarray(value)
                for column, value in zip(columns, values, strict=True)
            }
        )

    @classmethod
    def title(cls) -> str:
        """The table's name in messages."""
        return cls.__name__.lower()

    def __len__(self) -> int:
        """How many rows the table has."""
        return len(getattr(self, fields(self)[0].name))


@dataclass(frozen=True, kw_only=True, eq=False)
class Shifts(Table):
    """One row per cell-shift; its place here is its index everywhere else."""

    starts: IntArray  # UTC seconds
    ends: IntArray  # UTC seconds, not before the start
    confirmed: BoolArray  # the leader has confirmed the shift


@dataclass(frozen=True, kw_only=True, eq=False)
class Breaks(Table):
    """Breaks that were taken; those worked through are left out by the caller."""

    cell_shift: IntArray
    starts: IntArray  # UTC seconds
    ends: IntArray  # UTC seconds


@dataclass(frozen=True, kw_only=True, eq=False)
class PlannedStops(Table):
    """Scheduled PM, meetings, trials and time without demand, as scheduled."""

    cell_shift: IntArray
    starts: IntArray  # UTC seconds
    ends: IntArray  # UTC seconds
    late: BoolArray  # declared after the start of this cell-shift's shift

    @classmethod
    def title(cls) -> str:
        """The table's name in messages."""
        return "planned stops"


@dataclass(frozen=True, kw_only=True, eq=False)
class Stops(Table):
    """Logged stops that are not withdrawn, one row per cell-shift they touch.

    ``starts`` is the stop's own start, also where that lies in an earlier shift: within
    a class the earliest start owns a second that several stops claim.
    """

    cell_shift: IntArray
    loss_class: IntArray  # place in LOSS_CLASSES, never that of planned
    starts: IntArray  # UTC seconds
    ends: IntArray  # UTC seconds; STILL_RUNNING where the stop has no end yet
    order: IntArray  # rank of the ref, no two alike: the lowest wins of equal starts


@dataclass(frozen=True, kw_only=True, eq=False)
class Tallies(Table):
    """Stops without a clock time: "tip stick, 7 times, about 9 min"."""

    cell_shift: IntArray
    loss_class: IntArray  # place in LOSS_CLASSES, never that of planned
    seconds: IntArray  # as entered
    order: IntArray  # rank within the class, no two alike: the lowest is served first


@dataclass(frozen=True, kw_only=True, eq=False)
class Counts(Table):
    """Bodies made, one row per variant and cell-shift."""

    cell_shift: IntArray
    total: IntArray  # bodies
    good: IntArray  # bodies, first time good
    ideal_us: IntArray  # microseconds per body; -1 where no ideal cycle was valid
    from_line: BoolArray  # given for the line or leg, not for the cell


@dataclass(frozen=True, kw_only=True, eq=False)
class LedgerInputs:
    """All that accounts are computed from; a table that is not given is empty."""

    shifts: Shifts
    breaks: Breaks = field(default_factory=lambda: Breaks.of([]))
    planned: PlannedStops = field(default_factory=lambda: PlannedStops.of([]))
    stops: Stops = field(default_factory=lambda: Stops.of([]))
    tallies: Tallies = field(default_factory=lambda: Tallies.of([]))
    counts: Counts = field(default_factory=lambda: Counts.of([]))
    until: int | None = None  # UTC seconds; nothing after it is looked at


def check(inputs: LedgerInputs) -> None:
    """Refuse what no account can be made of: a ValueError names the first bad value."""
    for timed in (inputs.shifts, inputs.breaks, inputs.planned, inputs.stops):
        _refuse(
            timed, "ends", timed.ends < timed.starts, "must not be before the start"
        )
    for rows in (
        inputs.breaks,
        inputs.planned,
        inputs.stops,
        inputs.tallies,
        inputs.counts,
    ):
        outside = (rows.cell_shift < 0) | (rows.cell_shift >= len(inputs.shifts))
        _refuse(rows, "cell_shift", outside, "must be the place of a shift")
    for classed in (inputs.stops, inputs.tallies):
        _refuse(
            classed,
            "loss_class",
            (classed.loss_class < 1) | (classed.loss_class >= len(LOSS_CLASSES)),
            "must be 1 to 9; planned time comes from planned stops only",
        )
    tallies = inputs.tallies
    _refuse(tallies, "seconds", tallies.seconds < 0, "must not be negative")
    _check_counts(inputs.counts)


def _check_counts(counts: Counts) -> None:
    _refuse(counts, "good", counts.good < 0, "must not be negative")
    _refuse(counts, "total", counts.total < counts.good, "must not be less than good")
    bad_cycle = (counts.ideal_us < -1) | (counts.ideal_us == 0)
    _refuse(
        counts, "ideal_us", bad_cycle, "must be positive, or -1 where none is valid"
    )
    # Sums are kept in 64 bits; beyond that they would wrap round without a word.
    if np.sum(counts.total.astype(float) * counts.ideal_us) > 2.0**62:
        raise ValueError("counts are too many to add up; check total and ideal_us.")


def _refuse(table: Table, column: str, bad: BoolArray, must: str) -> None:
    if bad.any():
        row = int(bad.argmax())
        value = int(getattr(table, column)[row])
        raise ValueError(f"{table.title()} row {row}: {column} ({value}) {must}.")
