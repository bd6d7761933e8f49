"""The accounts of an area, a line and a cell, each down to the rows behind it.

Everything is read when the template asks for it; each property is one query or none.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import NamedTuple
from urllib.parse import urlencode

from django.db.models import Count
from django.urls import reverse

from cells.models import Area, AreaTarget, Bank, Cell, Line, Shift
from cells.templatetags.figures import day, percent
from maintenance.models import Reason
from oee.account_rows import AccountRow
from oee.account_words import FLAG_WORDS
from oee.freshness import rows_of
from oee.ledger.classes import OWN
from oee.ledger.flags import names
from oee.ledger.sums import Sums
from oee.models import CellShift
from oee.periods import Choice, last_production_date
from oee.ranking import ReasonTotals
from oee.ranking_page import RankingPage
from oee.rollups import BASES, Basis, combined, of_row
from oee.so_far import PeriodAccounts
from oee.templatetags.accounts import in_minutes, points

#: Of an area's ranking; the rest is on the ranking page and in the file.
FIRST_CELLS = 20


class ReasonRow(NamedTuple):
    reason: Reason
    seconds: int  # owned in the period
    times: int  # stops begun and times tallied

    @property
    def is_own(self) -> bool:
        """The cell's own fault, and some of it left to own."""
        return self.reason.loss_class in OWN and self.seconds > 0


@dataclass(frozen=True, kw_only=True)
class FlowRow(AccountRow):
    """A cell of a line in the order of the flow."""

    banks: tuple[Bank, ...]  # after it


class AccountPage:
    """What the three pages share. ``place``: area=, line= or cell= with an id."""

    stops_of: dict[str, str]  # the same place in the address of the list of stops

    def __init__(
        self, choice: Choice, *, now: datetime, basis: Basis, **place: int
    ) -> None:
        self.choice, self.period, self.now = choice, choice.period, now
        self.basis = basis
        self.accounts = PeriodAccounts(
            self.period,
            now=now,
            area=place.get("area"),
            line=place.get("line"),
            cell=place.get("cell"),
        )

    @property
    def bases(self) -> list[tuple[str, str, bool]]:
        """Both of them: its address, its name, whether it is the chosen one."""
        query = self.period.query
        return [
            (f"?{query}&basis={basis}", words, basis == self.basis)
            for basis, words in BASES.items()
        ]

    @property
    def query(self) -> str:
        return f"{self.period.query}&basis={self.basis}"

    @property
    def stops_query(self) -> str:
        """What narrows the list of stops to those behind these minutes."""
        dates = {"first": self.period.first, "last": self.period.last}
        return urlencode({**self.stops_of, **dates})

    @cached_property
    def last_date(self) -> date | None:
        """To look at instead, where nothing was planned."""
        return last_production_date(self.period.first)

    @property
    def of(self) -> str:
        return "shift" if self.basis == "counting" else "cell-shift"

    @cached_property
    def by_date(self) -> list[tuple[date, Sums]]:
        of_dates = self.accounts.sums_by("production_date", basis=self.basis)
        return [(on, sums) for (on,), sums in sorted(of_dates.items())]

    @cached_property
    def total(self) -> AccountRow:
        sums = combined(sums for _, sums in self.by_date)
        open_stops_s = self._open_stops().get((), {})
        return AccountRow(
            name="All of it", sums=sums, of=self.of, open_stops_s=open_stops_s
        )

    def _open_stops(self, *keys: str) -> Mapping[tuple, Mapping[str, int]]:
        return self.accounts.open_stops(*keys, basis=self.basis)

    @property
    def running(self) -> int:
        return len(self.accounts.running_of(self.basis))

    @cached_property
    def flag_counts(self) -> list[tuple[str, int]]:
        """Each remark in words, with the number of cell-shifts it holds for."""
        stored = self.accounts.stored(self.basis).order_by().values_list("flags")
        found = dict.fromkeys(FLAG_WORDS, 0)
        running = ((row.flags, 1) for row in self.accounts.running_of(self.basis))
        counted = rows_of(stored.annotate(Count("id")))
        for flags, times in (*counted, *running):
            for name in names(flags):
                found[name] += times
        return [(FLAG_WORDS[name], times) for name, times in found.items() if times]

    @cached_property
    def reasons(self) -> list[ReasonRow]:
        """Of all cells, whichever basis; what took most comes first."""
        taken = ReasonTotals()
        for of_cell in self.accounts.reasons().values():
            taken.seconds.update(of_cell.seconds)
            taken.times.update(of_cell.times)
        known = Reason.objects.in_bulk()
        rows = [
            ReasonRow(known[pk], taken.seconds[pk], times)
            for pk, times in taken.times.items()
        ]
        return sorted(rows, key=lambda row: (-row.seconds, row.reason.code))

    def _lead(self, subject: str, target: AreaTarget | None = None) -> str:
        sums, when = self.total.sums, self.period.words
        if not sums.expected:
            return f"{subject}: nothing was planned {when}."
        if sums.oee is None:
            return f"{subject}: no OEE is known {when}, {self.total.coverage} counted."
        if target is None:
            return f"{subject}: OEE {percent(sums.oee)} {when}."
        off = points(100 * (sums.oee - float(target.oee)))
        return f"{subject}: OEE {percent(sums.oee)} {when}, {off} its target."


class AreaPage(AccountPage):
    def __init__(
        self, area: Area, choice: Choice, *, now: datetime, basis: Basis
    ) -> None:
        super().__init__(choice, now=now, basis=basis, area=area.pk)
        self.area, self.stops_of = area, {"area": area.code}

    @property
    def target(self) -> AreaTarget | None:
        return self.area.target_on(self.period.last)

    @property
    def lead(self) -> str:
        return self._lead(self.area.name, self.target)

    @cached_property
    def lines(self) -> list[AccountRow]:
        of_lines = self.accounts.sums_by("line", basis=self.basis)
        open_stops = self._open_stops("line")
        return [
            AccountRow(
                name=line.code,
                words=_line_words(line),
                href=f"{line.get_absolute_url()}?{self.query}",
                sums=of_lines.get((line.pk,), Sums()),
                of=self.of,
                open_stops_s=open_stops.get((line.pk,), {}),
            )
            for line in self.area.lines.select_related("counting_cell")
        ]

    @cached_property
    def ranking(self) -> RankingPage:
        """Its cells by own lost time, of shifts that have ended."""
        period = self.period
        return RankingPage(
            first=period.first, last=period.last, area=self.area, shown=FIRST_CELLS
        )

    @cached_property
    def days(self) -> list[AccountRow]:
        open_stops = self._open_stops("production_date")
        return [
            AccountRow(
                name=day(on),
                href=f"?from={on}&to={on}&basis={self.basis}",
                sums=sums,
                of=self.of,
                open_stops_s=open_stops.get((on,), {}),
            )
            for on, sums in self.by_date
        ]


class LinePage(AccountPage):
    def __init__(
        self, line: Line, choice: Choice, *, now: datetime, basis: Basis
    ) -> None:
        super().__init__(choice, now=now, basis=basis, line=line.pk)
        self.line, self.stops_of = line, {"line": line.code}

    @property
    def lead(self) -> str:
        return self._lead(f"Line {self.line}, {self.line.name}")

    @cached_property
    def flow(self) -> list[FlowRow]:
        """All cells with an account, whichever basis, in the order of the flow."""
        of_cells = self.accounts.sums_by("cell")
        open_stops = self.accounts.open_stops("cell")
        cells = self.line.cells.prefetch_related("banks_out__to_cell")
        return [
            FlowRow(
                name=cell.code,
                words=self._cell_words(cell),
                href=account_url(cell.code, self.period.query),
                sums=of_cells.get((cell.pk,), Sums()),
                open_stops_s=open_stops.get((cell.pk,), {}),
                banks=tuple(cell.banks_out.all()),
            )
            for cell in cells
            if cell.retired_on is None or (cell.pk,) in of_cells
        ]

    def _cell_words(self, cell: Cell) -> str:
        leg = f", leg {cell.leg}" if cell.leg else ""
        counting = cell.pk == self.line.counting_cell_id
        return f"{cell.name}{leg}{', counting cell' if counting else ''}"

    @cached_property
    def shifts(self) -> list[AccountRow]:
        sums = self.accounts.sums_by("shift", basis=self.basis)
        open_stops = self._open_stops("shift")
        flags = self._flags()
        shifts = Shift.objects.filter(pk__in=flags).order_by("-starts_at")
        return [
            AccountRow(
                name=shift.name,
                words=day(shift.production_date),
                href=reverse(
                    "shift", args=[self.line.code, shift.production_date, shift.name]
                ),
                sums=sums.get((shift.pk,), Sums()),
                flags=flags[shift.pk],
                open_stops_s=open_stops.get((shift.pk,), {}),
                of="cell-shift" if self.basis == "cells" else "count",
            )
            for shift in shifts
        ]

    def _flags(self) -> dict[int, int]:
        """What holds for any of the cells, by shift."""
        stored = self.accounts.stored(self.basis).order_by()
        found: dict[int, int] = {}
        for shift, flags in (
            *rows_of(stored.values_list("shift", "flags").distinct()),
            *(
                (row.shift_id, row.flags)
                for row in self.accounts.running_of(self.basis)
            ),
        ):
            found[shift] = found.get(shift, 0) | flags
        return found


class CellPage(AccountPage):
    """One cell: there is nothing to choose a basis of."""

    def __init__(self, cell: Cell, choice: Choice, *, now: datetime) -> None:
        super().__init__(choice, now=now, basis="cells", cell=cell.pk)
        self.cell, self.stops_of = cell, {"cell": cell.code}

    @property
    def of(self) -> str:
        return "shift"

    @property
    def lead(self) -> str:
        said = self._lead(f"Cell {self.cell}, {self.cell.name}")
        lost_s = self.total.own_lost_s
        if not self.total.is_planned:
            return said
        return f"{said.removesuffix('.')}; {in_minutes(lost_s)} lost by its own fault."

    @cached_property
    def shifts(self) -> list[AccountRow]:
        """The newest first; those without planned time too."""
        stored = self.accounts.stored().select_related("shift").order_by()
        rows = [*stored.defer("reasons"), *self._running()]
        rows.sort(key=lambda row: row.shift.starts_at, reverse=True)
        return [self._shift_row(row) for row in rows]

    @cached_property
    def trend(self) -> list[float | None]:
        """OEE by production date, the last one last."""
        return [sums.oee for _, sums in self.by_date]

    def _running(self) -> Iterable[CellShift]:
        running = self.accounts.running
        shifts = Shift.objects.in_bulk([row.shift_id for row in running])
        for row in running:
            row.shift = shifts[row.shift_id]
        return running

    def _shift_row(self, row: CellShift) -> AccountRow:
        shift = row.shift
        return AccountRow(
            name=shift.name,
            words=day(shift.production_date),
            href=reverse(
                "cell_shift", args=[self.cell.code, shift.production_date, shift.name]
            ),
            sums=of_row(row),
            flags=row.flags,
        )


def account_url(cell: str, query: str) -> str:
    return f"{reverse('cell_account', args=[cell])}?{query}"


def _line_words(line: Line) -> str:
    if line.counting_cell is None:
        return f"{line.name}, no counting cell"
    return f"{line.name}, counted at {line.counting_cell}"
