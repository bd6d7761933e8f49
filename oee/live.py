"""The account of one line's shift as it stands now, running or ended.

Nothing is stored here: the page of a shift has to show at once what was just logged,
and the stored ledger follows when its job has run.
"""

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import datetime

from cells.models import Cell, Shift
from cells.moments import from_seconds
from oee.inputs import Gathered, gather
from oee.ledger.account import Accounts, CellShiftColumns, compute_accounts
from oee.ledger.flags import names
from oee.ledger.inputs import PlannedStops
from oee.ledger.sums import Sums, cell_shift


@dataclass(frozen=True, kw_only=True)
class Span:
    """Half-open, aware."""

    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True, kw_only=True)
class Rest(Span):
    """A break of the shift."""

    id: int
    taken: bool  # False: the cell worked through it


@dataclass(frozen=True, kw_only=True)
class UsedCount:
    """A count that this cell's account rests on, and the cycle it was taken with."""

    count: int  # id
    from_line: bool
    ideal_us: int | None  # microseconds per body; None: no cycle was valid


@dataclass(frozen=True, kw_only=True)
class CellAccount:
    sums: Sums
    flags: tuple[str, ...]
    rests: list[Rest]
    planned: list[Span]
    stop_owned_s: dict[int, int]  # by the stop's id
    tally_owned_s: dict[int, int]  # by the tally's id
    counts: list[UsedCount]

    @property
    def breaks(self) -> list[Rest]:
        return [rest for rest in self.rests if rest.taken]


def accounts_of(
    shift: Shift, cells: Iterable[Cell], *, now: datetime
) -> dict[int, CellAccount]:
    """By cell id. A shift that still runs is looked at up to ``now``."""
    until = now if shift.starts_at <= now < shift.ends_at else None
    gathered = gather(((cell.pk, shift.pk) for cell in cells), until)
    accounts = compute_accounts(gathered.inputs)
    return {
        int(cell): _account(place, gathered, accounts)
        for place, cell in enumerate(gathered.cell_shifts["cell"])
    }


def _account(place: int, gathered: Gathered, accounts: Accounts) -> CellAccount:
    columns = {
        field.name: int(getattr(accounts, field.name)[place])
        for field in fields(CellShiftColumns)
        if field.name not in ("counted", "flags")
    }
    stops = (gathered.stops["cell_shift"] == place).to_numpy()
    tallies = (gathered.tallies["cell_shift"] == place).to_numpy()
    return CellAccount(
        sums=cell_shift(columns, counted=bool(accounts.counted[place])),
        flags=names(int(accounts.flags[place])),
        rests=_rests(gathered, place),
        planned=_spans(gathered.inputs.planned, place),
        stop_owned_s=dict(
            zip(
                gathered.stops["id"][stops].tolist(),
                accounts.stop_owned_s[stops].tolist(),
                strict=True,
            )
        ),
        tally_owned_s=dict(
            zip(
                gathered.tallies["id"][tallies].tolist(),
                accounts.tally_owned_s[tallies].tolist(),
                strict=True,
            )
        ),
        counts=_counts(gathered, place),
    )


def _counts(gathered: Gathered, place: int) -> list[UsedCount]:
    of_cell = gathered.counts[gathered.counts["index"] == place]
    columns = (of_cell[name].tolist() for name in ("id", "from_line", "ideal_us"))
    return [
        UsedCount(count=count, from_line=from_line, ideal_us=None if us < 0 else us)
        for count, from_line, us in zip(*columns, strict=True)
    ]


def _rests(gathered: Gathered, place: int) -> list[Rest]:
    of_cell = gathered.rests[gathered.rests["index"] == place].sort_values("start")
    columns = (of_cell[name].tolist() for name in ("id", "start", "end", "taken"))
    return [
        Rest(
            id=rest,
            starts_at=from_seconds(start),
            ends_at=from_seconds(end),
            taken=taken,
        )
        for rest, start, end, taken in zip(*columns, strict=True)
    ]


def _spans(rows: PlannedStops, place: int) -> list[Span]:
    of_cell = rows.cell_shift == place
    moments = zip(
        rows.starts[of_cell].tolist(), rows.ends[of_cell].tolist(), strict=True
    )
    return [
        Span(starts_at=from_seconds(start), ends_at=from_seconds(end))
        for start, end in sorted(moments)
    ]
