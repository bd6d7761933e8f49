"""The cells in order of what they lost: own fault or all, in total or per hour."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Literal

from cells.drawing import Part
from cells.models import Area, Cell
from maintenance.models import Reason
from oee.account_words import parts_of
from oee.ledger.classes import DONE_TO, OWN
from oee.ledger.sums import Sums, seconds
from oee.ranking import RankBy, Ranked, rank
from oee.result_files import RANKING_HEADER, exact_seconds, ranking_rows

Per = Literal["total", "100h"]

BY: dict[RankBy, str] = {"own": "own fault", "all": "all lost time"}
PER: dict[Per, str] = {"total": "in total", "100h": "per 100 planned hours"}
#: Planned time below which a rank says little (common practice).
LEAST_EXPOSURE_S = 40 * 3600
HEADER = (
    *RANKING_HEADER,
    *(f"{name}_s" for name in (*OWN, "reject", *DONE_TO)),
)


@dataclass(frozen=True, kw_only=True)
class RankingRow:
    ranked: Ranked
    by: RankBy

    @property
    def cell(self) -> Cell:
        return self.ranked.cell

    @property
    def sums(self) -> Sums:
        return self.ranked.sums

    @property
    def planned_s(self) -> int:
        return self.ranked.place.busy_s

    @property
    def lost_s(self) -> float | None:
        """What the ranking goes by."""
        return self.own_lost_s if self.by == "own" else self.all_lost_s

    @property
    def own_lost_s(self) -> float:
        return seconds(self.ranked.place.own_lost_us)

    @property
    def all_lost_s(self) -> float | None:
        return seconds(self.ranked.place.all_lost_us)

    @property
    def slow_s(self) -> float | None:
        return seconds(self.ranked.place.slow_us)

    @property
    def per_100_h(self) -> float | None:
        """Minutes per 100 planned hours; of all lost time, over counted shifts."""
        if self.by == "own":
            return self.ranked.place.per_100_h
        if self.all_lost_s is None:
            return None
        return self.all_lost_s / 60 / (self.sums.busy_s / 3600 / 100)

    @property
    def rate_s(self) -> float | None:
        """Lost seconds per 100 planned hours."""
        return None if self.per_100_h is None else 60 * self.per_100_h

    @property
    def is_thin(self) -> bool:
        return self.planned_s < LEAST_EXPOSURE_S

    @property
    def cause(self) -> Reason | None:
        return self.ranked.top_reason if self.by == "own" else self.ranked.top_of_all

    @property
    def parts(self) -> list[Part]:
        if self.by == "all":
            return [part for part in parts_of(self.sums) if part.kind != "good"]
        stops_s = self.ranked.own_stops_s
        own = [Part(kind=name, seconds=owned) for name, owned in stops_s.items()]
        return [*own, Part(kind="reject", seconds=seconds(self.sums.reject_us) or 0)]


class RankingPage:
    """Stored accounts only: a shift enters when it has ended."""

    def __init__(
        self,
        *,
        first: date,
        last: date,
        by: RankBy = "own",
        per: Per = "total",
        area: Area | None = None,
        cells: Mapping[int, Cell] | None = None,
        reasons: Mapping[int, Reason] | None = None,
    ) -> None:
        """``cells`` and ``reasons`` as ``rank`` takes them."""
        self.first, self.last, self.area = first, last, area
        self.by, self.per = by, per
        self.cells, self.reasons = cells, reasons

    @cached_property
    def rows(self) -> list[RankingRow]:
        ranked = rank(
            first=self.first,
            last=self.last,
            by=self.by,
            area=self.area,
            cells=self.cells,
            reasons=self.reasons,
        )
        rows = [RankingRow(ranked=row, by=self.by) for row in ranked]
        return rows if self.per == "total" else _by_rate(rows)

    @property
    def longest_s(self) -> float:
        """What the full length of a bar stands for."""
        return max((row.lost_s or 0 for row in self.rows), default=0)

    @property
    def thin(self) -> int:
        return sum(row.is_thin for row in self.rows)

    @property
    def all_thin(self) -> bool:
        """The period is short, so it is said once and not of every cell."""
        return bool(self.rows) and self.thin == len(self.rows)

    def file_rows(self) -> Iterator[tuple[object, ...]]:
        """Under HEADER."""
        figures = ranking_rows(row.ranked for row in self.rows)
        for row, of_ranking in zip(self.rows, figures, strict=True):
            own = (row.ranked.own_stops_s[name] for name in OWN)
            done_to = (getattr(row.sums, f"{name}_s") for name in DONE_TO)
            yield (*of_ranking, *own, exact_seconds(row.sums.reject_us), *done_to)


def _by_rate(rows: list[RankingRow]) -> list[RankingRow]:
    """Ranked anew by minutes per 100 planned hours; not known last, ties by code."""
    ordered = sorted(
        rows,
        key=lambda row: (row.per_100_h is None, -(row.per_100_h or 0), row.cell.code),
    )
    return [
        replace(
            row,
            ranked=replace(row.ranked, place=replace(row.ranked.place, rank=place)),
        )
        for place, row in enumerate(ordered, start=1)
    ]
