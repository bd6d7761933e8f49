"""Which cells lost most of their planned time, how often, and mostly for what."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from django.db.models import QuerySet

from cells.models import Area, Cell, Line
from maintenance.models import Reason
from oee.ledger.classes import OWN
from oee.ledger.ranking import RankedCell, rank_cells
from oee.ledger.sums import Sums
from oee.models import CellShift
from oee.rollups import accounts, sums_by

RankBy = Literal["own", "all"]


@dataclass(frozen=True, kw_only=True)
class ReasonTotals:
    """What each reason took of a cell; all by the reason's id."""

    seconds: Counter[int] = field(default_factory=Counter)  # owned
    times: Counter[int] = field(default_factory=Counter)  # stops begun, tallies' times


@dataclass(frozen=True, kw_only=True)
class Ranked:
    """A cell's row of the ranking."""

    cell: Cell
    place: RankedCell
    stops: int  # own: those that began in the range, and the times of the tallies
    top_reason: Reason | None  # of own fault, the one with most seconds
    top_reason_s: int
    top_of_all: Reason | None  # of any class
    top_of_all_s: int
    own_stops_s: Counter[str]  # by own loss class, also of shifts without a count

    @property
    def rank(self) -> int:
        return self.place.rank

    @property
    def sums(self) -> Sums:
        return self.place.sums


def rank(
    *,
    first: date,
    last: date,
    by: RankBy = "own",
    area: Area | None = None,
    line: Line | None = None,
    cells: Mapping[int, Cell] | None = None,
    reasons: Mapping[int, Reason] | None = None,
) -> list[Ranked]:
    """The cells with planned time in these dates, the one that lost most first.

    ``cells`` and ``reasons``: all of them by id, where they have been read already.
    """
    rows = accounts(
        first=first,
        last=last,
        area=None if area is None else area.pk,
        line=None if line is None else line.pk,
    )
    sums = {cell: sums for (cell,), sums in sums_by(rows, "cell").items()}
    if cells is None:
        # All of them: a list of some hundred ids costs more than it saves.
        cells = Cell.objects.select_related("line__area").in_bulk()
    if reasons is None:
        reasons = Reason.objects.in_bulk()
    by_code = {cells[pk].code: cells[pk] for pk in sums}
    places = rank_cells({code: sums[by_code[code].pk] for code in by_code}, by=by)
    totals = reason_totals(rows)
    return [_ranked(by_code[place.cell], place, totals, reasons) for place in places]


def reason_totals(rows: QuerySet[CellShift]) -> dict[int, ReasonTotals]:
    """By cell id, in one pass over the stored rows."""
    found: dict[int, ReasonTotals] = {}
    told = rows.order_by().exclude(reasons={}).values_list("cell", "reasons")
    for cell, reasons in told.iterator(chunk_size=5000):
        add_reasons(found, cell, reasons)
    return found


def add_reasons(
    found: dict[int, ReasonTotals], cell: int, reasons: dict[str, list[int]]
) -> None:
    """``reasons`` as a row of the account keeps them."""
    totals = found.setdefault(cell, ReasonTotals())
    for reason, (seconds, times) in reasons.items():
        totals.seconds[int(reason)] += seconds
        totals.times[int(reason)] += times


def top(
    totals: ReasonTotals, reasons: Mapping[int, Reason], *, own: bool
) -> Reason | None:
    """The reason with most seconds, ties by code; None where none took any."""
    taken = [
        reasons[reason]
        for reason, seconds in totals.seconds.items()
        if seconds and (not own or reasons[reason].loss_class in OWN)
    ]
    return min(taken, key=lambda r: (-totals.seconds[r.pk], r.code), default=None)


def _ranked(
    cell: Cell,
    place: RankedCell,
    totals_by_cell: Mapping[int, ReasonTotals],
    reasons: Mapping[int, Reason],
) -> Ranked:
    totals = totals_by_cell.get(cell.pk, ReasonTotals())
    own = top(totals, reasons, own=True)
    any_class = top(totals, reasons, own=False)
    own_stops_s: Counter[str] = Counter()
    for reason, seconds in totals.seconds.items():
        if reasons[reason].loss_class in OWN:
            own_stops_s[reasons[reason].loss_class] += seconds
    return Ranked(
        cell=cell,
        place=place,
        stops=sum(
            times
            for reason, times in totals.times.items()
            if reasons[reason].loss_class in OWN
        ),
        top_reason=own,
        top_reason_s=totals.seconds[own.pk] if own else 0,
        top_of_all=any_class,
        top_of_all_s=totals.seconds[any_class.pk] if any_class else 0,
        own_stops_s=own_stops_s,
    )
