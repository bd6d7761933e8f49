"""The slow, obvious account: paint every second of a shift with its owner."""

from dataclasses import dataclass, field
from fractions import Fraction

from oee.ledger.account import Accounts, compute_accounts
from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.inputs import (
    Breaks,
    Counts,
    LedgerInputs,
    PlannedStops,
    Shifts,
    Stops,
    Tallies,
)

Rows = list[tuple[int, ...]]


@dataclass(frozen=True, kw_only=True)
class World:
    """The tables of ``LedgerInputs`` as plain rows."""

    shifts: Rows
    breaks: Rows = field(default_factory=list)
    planned: Rows = field(default_factory=list)
    stops: Rows = field(default_factory=list)
    tallies: Rows = field(default_factory=list)
    counts: Rows = field(default_factory=list)
    until: int | None = None

    def compute(self) -> Accounts:
        return compute_accounts(
            LedgerInputs(
                shifts=Shifts.of(self.shifts),
                breaks=Breaks.of(self.breaks),
                planned=PlannedStops.of(self.planned),
                stops=Stops.of(self.stops),
                tallies=Tallies.of(self.tallies),
                counts=Counts.of(self.counts),
                until=self.until,
            )
        )


class Painted:
    """One cell-shift, second by second."""

    def __init__(self, world: World, shift: int) -> None:
        self.world, self.shift = world, shift
        start, end, self.confirmed = world.shifts[shift]
        if world.until is not None:
            end = min(end, world.until)
        self.seconds = dict.fromkeys(("scheduled", "break", *LOSS_CLASSES), 0)
        self.late = 0
        self.stop_owned = {i: 0 for i, row in enumerate(world.stops) if row[0] == shift}
        self.tally_owned = {}
        for second in range(start, end):
            self.paint(second)
        self.serve_tallies()

    def paint(self, second: int) -> None:
        world, mine = self.world, self.shift
        self.seconds["scheduled"] += 1
        if any(at == mine and s <= second < e for at, s, e in world.breaks):
            self.seconds["break"] += 1
            return
        declared = [
            late for at, s, e, late in world.planned if at == mine and s <= second < e
        ]
        if declared:
            self.seconds["planned"] += 1
            self.late += all(declared)
            return
        claims = [
            (loss_class, s, order, row)
            for row, (at, loss_class, s, e, order) in enumerate(world.stops)
            if at == mine and s <= second < e
        ]
        if claims:
            loss_class, *_, row = min(claims)
            self.seconds[LOSS_CLASSES[loss_class]] += 1
            self.stop_owned[row] += 1

    @property
    def busy(self) -> int:
        return (
            self.seconds["scheduled"] - self.seconds["break"] - self.seconds["planned"]
        )

    def serve_tallies(self) -> None:
        left = self.busy - sum(self.seconds[name] for name in LOSS_CLASSES[1:])
        self.overlogged = False
        queue = sorted(
            (loss_class, order, row, wanted)
            for row, (at, loss_class, wanted, order) in enumerate(self.world.tallies)
            if at == self.shift
        )
        for loss_class, _, row, wanted in queue:
            got = min(wanted, left)
            left -= got
            self.tally_owned[row] = got
            self.seconds[LOSS_CLASSES[loss_class]] += got
            self.overlogged |= got < wanted

    def figures(self) -> dict[str, object]:
        """All columns of the account, by their names."""
        counts = [row for row in self.world.counts if row[0] == self.shift]
        cycles = all(ideal > 0 for _, total, _, ideal, _ in counts if total)
        counted = bool(counts) and cycles
        ideal_total = sum(total * ideal for _, total, _, ideal, _ in counts if total)
        ideal_good = sum(good * ideal for _, _, good, ideal, _ in counts if good)
        made = sum(total for _, total, *_ in counts)
        down = sum(self.seconds[name] for name in LOSS_CLASSES[1:] if name != "minor")
        run = self.busy - down
        flags = {
            "count_from_line": any(row[4] for row in counts),
            "declared_late": self.late > 0,
            "faster_than_ideal": counted
            and run > 0
            and Fraction(ideal_total, run * 10**6) > 1,
            "no_count": not counts,
            "no_ideal_cycle": bool(counts) and not cycles,
            "not_confirmed": not self.confirmed,
            "overlogged": self.overlogged,
            "unplanned_output": self.busy == 0 and made > 0,
        }
        return {
            **{f"{name}_s": seconds for name, seconds in self.seconds.items()},
            "planned_late_s": self.late,
            "busy_s": self.busy,
            "down_s": down,
            "run_s": run,
            "ideal_total_us": ideal_total if counted else 0,
            "ideal_good_us": ideal_good if counted else 0,
            "made": made,
            "good": sum(good for _, _, good, *_ in counts),
            "counted": counted,
            "flags": tuple(name for name, holds in flags.items() if holds),
        }
