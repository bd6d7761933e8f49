"""Which cells lost most of their planned time, how often, and mostly for what."""

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

from django.db.models import Aggregate, QuerySet, TextField

from cells.models import Area, Cell, Line
from maintenance.models import Reason
from oee.ledger.classes import OWN
from oee.ledger.ranking import RankedCell, rank_cells
from oee.ledger.sums import Sums
from oee.models import CellShift
from oee.rollups import Read, accounts, sums_by

RankBy = Literal["own", "all"]


@dataclass(frozen=True, kw_only=True)
class ReasonTotals:
    """What each reason took of a cell; all by the reason's id."""

    seconds: Counter[int] = field(default_factory=Counter)  # owned
    times: Counter[int] = field(default_factory=Counter)  # stops begun, tallies' times


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A cell's place in the ranking."""

    cell: Cell
    place: RankedCell

    @property
    def rank(self) -> int:
        return self.place.rank

    @property
    def sums(self) -> Sums:
        return self.place.sums


@dataclass(frozen=True, kw_only=True)
class Ranked(Placed):
    """A cell's row of the ranking: its place, and what it lost the time to."""

    stops: int  # own: those that began in the range, and the times of the tallies
    top_reason: Reason | None  # of own fault, the one with most seconds
    top_reason_s: int
    top_of_all: Reason | None  # of any class
    top_of_all_s: int
    own_stops_s: Counter[str]  # by own loss class, also of shifts without a count


class Ranking:
    """Of the cells with planned time in these dates.

    ``cells`` and ``reasons``: all of them by id, where they have been read already.
    """

    def __init__(
        self,
        *,
        first: date,
        last: date,
        by: RankBy = "own",
        area: Area | None = None,
        line: Line | None = None,
        cells: Mapping[int, Cell] | None = None,
        reasons: Mapping[int, Reason] | None = None,
        read: Read = list,
    ) -> None:
        self.rows = accounts(
            first=first,
            last=last,
            area=None if area is None else area.pk,
            line=None if line is None else line.pk,
        )
        self.by, self.read = by, read
        self._cells, self._reasons = cells, reasons

    def placed(self) -> list[Placed]:
        """All of them, the one that lost most first."""
        by_cell = sums_by(self.rows, "cell", read=self.read)
        # All cells: a list of some hundred ids costs more than it saves.
        cells = self._cells
        if cells is None:
            cells = Cell.objects.select_related("line__area").in_bulk()
        by_code = {cells[pk].code: (cells[pk], sums) for (pk,), sums in by_cell.items()}
        places = rank_cells(
            {code: sums for code, (_, sums) in by_code.items()}, by=self.by
        )
        return [Placed(cell=by_code[one.cell][0], place=one) for one in places]

    def explained(self, placed: Iterable[Placed]) -> list[Ranked]:
        """With their reasons, which cost most to read: so ask for those shown."""
        placed = list(placed)
        reasons = self._reasons
        if reasons is None:
            reasons = Reason.objects.in_bulk()
        shown = self.rows.filter(cell__in=sorted(one.cell.pk for one in placed))
        totals = reason_totals(shown, read=self.read)
        return [
            _ranked(one, totals.get(one.cell.pk, ReasonTotals()), reasons)
            for one in placed
        ]


def rank(**asked: Any) -> list[Ranked]:
    """Every row of the ranking that is asked for as ``Ranking`` is."""
    ranking = Ranking(**asked)
    return ranking.explained(ranking.placed())


class _JoinedTexts(Aggregate):
    """The JSON of many rows with commas between: read and parsed as one list."""

    output_field = TextField()

    def as_sqlite(self, *args: Any, **extra: Any) -> tuple[str, Any]:
        return self.as_sql(*args, template="GROUP_CONCAT(%(expressions)s)", **extra)

    def as_postgresql(self, *args: Any, **extra: Any) -> tuple[str, Any]:
        template = "STRING_AGG((%(expressions)s)::text, ',')"
        return self.as_sql(*args, template=template, **extra)


def reason_totals(
    rows: QuerySet[CellShift], *, read: Read = list
) -> dict[int, ReasonTotals]:
    """By cell id."""
    by_cell = rows.order_by().values_list("cell")
    joined = read(by_cell.annotate(told=_JoinedTexts("reasons")))
    return {cell: _totals(json.loads(f"[{told}]")) for cell, told in joined}


def _totals(told: Iterable[dict[str, list[int]]]) -> ReasonTotals:
    """Added up under their texts: a number is made of each once, not of every row."""
    seconds: dict[str, int] = defaultdict(int)
    times: dict[str, int] = defaultdict(int)
    for reasons in told:
        for reason, (taken, begun) in reasons.items():
            seconds[reason] += taken
            times[reason] += begun
    return ReasonTotals(
        seconds=Counter({int(reason): taken for reason, taken in seconds.items()}),
        times=Counter({int(reason): begun for reason, begun in times.items()}),
    )


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
    placed: Placed, totals: ReasonTotals, reasons: Mapping[int, Reason]
) -> Ranked:
    own = top(totals, reasons, own=True)
    any_class = top(totals, reasons, own=False)
    own_stops_s: Counter[str] = Counter()
    for reason, seconds in totals.seconds.items():
        if reasons[reason].loss_class in OWN:
            own_stops_s[reasons[reason].loss_class] += seconds
    return Ranked(
        cell=placed.cell,
        place=placed.place,
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
