"""Where did every planned second of each cell-shift go?

Each second of a shift belongs to the first of these that covers it: a break, a planned
stop, then the loss classes in their order; within a class to the stop that started
first, then to the one with the lowest ref. Tallies have no clock time: in order of
class, then of rank, they take from the planned seconds that no stop owns, while any
are left. What does not fit is flagged, never kept as owned.

A shift of 480 minutes with 40 of breaks, 52 stopped, 360 bodies made at 60 s each and
351 of them good the first time (own arithmetic): OEE is 351 / 440.

>>> from oee.ledger.inputs import Breaks, Shifts
>>> minute = 60
>>> accounts = compute_accounts(LedgerInputs(
...     shifts=Shifts.of([(0, 480 * minute, True)]),
...     breaks=Breaks.of([(0, 200 * minute, 240 * minute)]),
...     stops=Stops.of([(0, 1, 100 * minute, 152 * minute, 0)]),
...     counts=Counts.of([(0, 360, 351, 60_000_000, False)]),
... ))
>>> (accounts.busy_s // minute).tolist(), (accounts.run_s // minute).tolist()
([440], [388])
>>> float(accounts.ideal_good_us[0] / accounts.busy_s[0] / 1e6) == 351 / 440
True
"""

from dataclasses import dataclass, replace

import numpy as np

from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.cover import BoolArray, IntArray, Timeline
from oee.ledger.flags import Flag
from oee.ledger.inputs import Counts, LedgerInputs, Stops, Tallies, check
from oee.ledger.owners import owned_by_stops, owned_by_tallies, planned_time


@dataclass(frozen=True, kw_only=True, eq=False)
class CellShiftColumns:
    """What is kept of each cell-shift: one value per cell-shift in every column."""

    scheduled_s: IntArray  # length of the shift, as far as it was looked at
    break_s: IntArray  # breaks within the shift
    planned_s: IntArray  # planned stops outside the breaks
    planned_late_s: IntArray  # of these, what only late declared ones cover
    breakdown_s: IntArray  # each class: its stops' and its tallies' seconds
    setup_s: IntArray
    quality_hold_s: IntArray
    minor_s: IntArray
    people_s: IntArray
    supply_s: IntArray
    utilities_s: IntArray
    blocked_s: IntArray
    starved_s: IntArray
    ideal_total_us: IntArray  # microseconds; 0 and unknown where not counted
    ideal_good_us: IntArray  # microseconds; 0 and unknown where not counted
    made: IntArray  # bodies
    good: IntArray  # bodies, first time good
    counted: BoolArray  # counts and ideal cycles are known
    flags: IntArray  # of Flag

    @property
    def busy_s(self) -> IntArray:
        """Planned busy time: the shift without breaks and planned stops."""
        return self.scheduled_s - self.break_s - self.planned_s

    @property
    def down_s(self) -> IntArray:
        """All classes except minor, which the performance side carries."""
        columns = (getattr(self, f"{name}_s") for name in LOSS_CLASSES[1:])
        down: IntArray = sum(columns, start=-self.minor_s)
        return down

    @property
    def run_s(self) -> IntArray:
        """Busy time that is not down; never negative."""
        return self.busy_s - self.down_s


@dataclass(frozen=True, kw_only=True, eq=False)
class Accounts(CellShiftColumns):
    """The cell-shifts, and what each stop and each tally owns of them."""

    stop_owned_s: IntArray  # aligned with the stops that went in
    tally_owned_s: IntArray  # aligned with the tallies that went in


def compute_accounts(inputs: LedgerInputs) -> Accounts:
    """The account of every cell-shift; a ValueError names input that is refused.

    With ``until`` a running shift is looked at up to that moment, a running stop with
    it. The order in which rows are entered changes nothing.
    """
    check(inputs)
    shifts, stops, tallies = inputs.shifts, inputs.stops, inputs.tallies
    line = Timeline.of(shifts.starts, shifts.ends, inputs.until)
    taken = planned_time(inputs.breaks, inputs.planned, line)
    stop_owned_s = owned_by_stops(stops, line, taken.cover)
    by_class = _by_class(stops, stop_owned_s, len(shifts))
    scheduled_s = np.diff(line.edges)
    free_s = scheduled_s - taken.break_s - taken.planned_s - by_class.sum(axis=0)
    tally_owned_s = owned_by_tallies(tallies, free_s)
    by_class += _by_class(tallies, tally_owned_s, len(shifts))
    counted = _counted(inputs.counts, len(shifts))
    accounts = Accounts(
        scheduled_s=scheduled_s,
        break_s=taken.break_s,
        planned_s=taken.planned_s,
        planned_late_s=taken.planned_late_s,
        **{f"{LOSS_CLASSES[i]}_s": by_class[i] for i in range(1, len(LOSS_CLASSES))},
        **_count(inputs.counts, counted),
        counted=counted,
        flags=np.zeros(len(shifts), np.int64),
        stop_owned_s=stop_owned_s,
        tally_owned_s=tally_owned_s,
    )
    return replace(accounts, flags=_flags(inputs, accounts))


def _by_class(owners: Stops | Tallies, owned_s: IntArray, shifts: int) -> IntArray:
    """Owned seconds, a row per loss class and a column per cell-shift."""
    sums = np.zeros((len(LOSS_CLASSES), shifts), np.int64)
    np.add.at(sums, (owners.loss_class, owners.cell_shift), owned_s)
    return sums


def _counted(counts: Counts, shifts: int) -> BoolArray:
    """Which cell-shifts have a count, and a cycle for all that was made."""
    counted = _any_of(counts.cell_shift, shifts)
    no_cycle = (counts.ideal_us < 0) & (counts.total > 0)
    return counted & ~_any_of(counts.cell_shift[no_cycle], shifts)


def _count(counts: Counts, counted: BoolArray) -> dict[str, IntArray]:
    """Bodies per cell-shift, and their ideal time where all of it is known."""
    known = np.where(counted[counts.cell_shift], counts.ideal_us, 0)
    parts = {
        "made": counts.total,
        "good": counts.good,
        "ideal_total_us": counts.total * known,
        "ideal_good_us": counts.good * known,
    }
    sums = {name: np.zeros(len(counted), np.int64) for name in parts}
    for name, part in parts.items():
        np.add.at(sums[name], counts.cell_shift, part)
    return sums


def _flags(inputs: LedgerInputs, accounts: Accounts) -> IntArray:
    shifts, counts, tallies = inputs.shifts, inputs.counts, inputs.tallies
    run_us = accounts.run_s * 1_000_000
    has_count = _any_of(counts.cell_shift, len(shifts))
    cut = accounts.tally_owned_s < tallies.seconds
    remarks = {
        Flag.COUNT_FROM_LINE: _any_of(counts.cell_shift[counts.from_line], len(shifts)),
        Flag.DECLARED_LATE: accounts.planned_late_s > 0,
        Flag.FASTER_THAN_IDEAL: (run_us > 0) & (accounts.ideal_total_us > run_us),
        Flag.NO_COUNT: ~has_count,
        Flag.NO_IDEAL_CYCLE: has_count & ~accounts.counted,
        Flag.NOT_CONFIRMED: ~shifts.confirmed,
        Flag.OVERLOGGED: _any_of(tallies.cell_shift[cut], len(shifts)),
        Flag.UNPLANNED_OUTPUT: (accounts.busy_s == 0) & (accounts.made > 0),
    }
    flags = np.zeros(len(shifts), np.int64)
    for flag, holds in remarks.items():
        flags[holds] |= int(flag)
    return flags


def _any_of(cell_shift: IntArray, shifts: int) -> BoolArray:
    found = np.zeros(shifts, np.bool_)
    found[cell_shift] = True
    return found
