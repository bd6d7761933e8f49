"""The cells in order of what they lost: own fault or all, in total or per hour."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Literal

from django.core.paginator import Page, Paginator

from cells.drawing import Part
from cells.models import Area, Cell
from maintenance.models import Reason
from oee.account_words import parts_of
from oee.freshness import rows_of
from oee.ledger.classes import DONE_TO, OWN
from oee.ledger.sums import Sums, seconds
from oee.ranking import Placed, RankBy, Ranked, Ranking
from oee.result_files import RANKING_HEADER, exact_seconds, ranking_rows

Per = Literal["total", "100h"]

BY: dict[RankBy, str] = {"own": "own fault", "all": "all lost time"}
PER: dict[Per, str] = {"total": "in total", "100h": "per 100 planned hours"}
#: Planned time below which a rank says little (common practice).
LEAST_EXPOSURE_S = 40 * 3600
#: On one page; the rest is on the pages after it, and all of them in the file.
SHOWN = 50
HEADER = (
    *RANKING_HEADER,
    *(f"{name}_s" for name in (*OWN, "reject", *DONE_TO)),
)


@dataclass(frozen=True, kw_only=True)
class PlacedRow:
    """What a cell lost, and how long it was meant to run."""

    placed: Placed
    by: RankBy

    @property
    def cell(self) -> Cell:
        return self.placed.cell

    @property
    def sums(self) -> Sums:
        return self.placed.sums

    @property
    def planned_s(self) -> int:
        return self.placed.place.busy_s

    @property
    def lost_s(self) -> float | None:
        """What the ranking goes by."""
        return self.own_lost_s if self.by == "own" else self.all_lost_s

    @property
    def own_lost_s(self) -> float:
        return seconds(self.placed.place.own_lost_us)

    @property
    def all_lost_s(self) -> float | None:
        return seconds(self.placed.place.all_lost_us)

    @property
    def slow_s(self) -> float | None:
        return seconds(self.placed.place.slow_us)

    @property
    def per_100_h(self) -> float | None:
        """Minutes per 100 planned hours; of all lost time, over counted shifts."""
        if self.by == "own":
            return self.placed.place.per_100_h
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


@dataclass(frozen=True, kw_only=True)
class RankingRow(PlacedRow):
    """With what the time was lost to."""

    ranked: Ranked

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
        shown: int = SHOWN,
        page: str | None = None,
    ) -> None:
        """``cells`` and ``reasons`` as ``Ranking`` takes them; ``shown``: at once."""
        self.first, self.last, self.area = first, last, area
        self.by, self.per = by, per
        self._shown, self._asked_page = shown, page
        self._ranking = Ranking(
            first=first,
            last=last,
            by=by,
            area=area,
            cells=cells,
            reasons=reasons,
            read=rows_of,
        )

    @cached_property
    def placed(self) -> list[PlacedRow]:
        """Every cell, in order."""
        rows = [PlacedRow(placed=one, by=self.by) for one in self._ranking.placed()]
        return rows if self.per == "total" else _by_rate(rows)

    @cached_property
    def page(self) -> Page[PlacedRow]:
        return Paginator(self.placed, self._shown).get_page(self._asked_page)

    @cached_property
    def _explained(self) -> list[RankingRow]:
        """The first of all, whom the page's sentence is about, and those shown."""
        return self._explain([*self.placed[:1], *self.page.object_list])

    @property
    def worst(self) -> RankingRow | None:
        return next(iter(self._explained), None)

    @property
    def rows(self) -> list[RankingRow]:
        """Those shown."""
        return self._explained[1:]

    @cached_property
    def longest_s(self) -> float:
        """What the full length of a bar stands for."""
        return max((row.lost_s or 0 for row in self.placed), default=0)

    @cached_property
    def thin(self) -> int:
        return sum(row.is_thin for row in self.placed)

    @property
    def all_thin(self) -> bool:
        """The period is short, so it is said once and not of every cell."""
        return bool(self.placed) and self.thin == len(self.placed)

    def file_rows(self) -> Iterator[tuple[object, ...]]:
        """Every cell, under HEADER."""
        rows = self._explain(self.placed)
        figures = ranking_rows(row.ranked for row in rows)
        for row, of_ranking in zip(rows, figures, strict=True):
            own = (row.ranked.own_stops_s[name] for name in OWN)
            done_to = (getattr(row.sums, f"{name}_s") for name in DONE_TO)
            yield (*of_ranking, *own, exact_seconds(row.sums.reject_us), *done_to)

    def _explain(self, rows: list[PlacedRow]) -> list[RankingRow]:
        placed = [row.placed for row in rows]
        return [
            RankingRow(placed=one, ranked=one, by=self.by)
            for one in self._ranking.explained(placed)
        ]


def _by_rate(rows: list[PlacedRow]) -> list[PlacedRow]:
    """Ranked anew by minutes per 100 planned hours; not known last, ties by code."""
    ordered = sorted(
        rows,
        key=lambda row: (row.per_100_h is None, -(row.per_100_h or 0), row.cell.code),
    )
    return [
        replace(
            row,
            placed=replace(row.placed, place=replace(row.placed.place, rank=place)),
        )
        for place, row in enumerate(ordered, start=1)
    ]
