"""What the plant manager asks first: where were the planned minutes lost, and by whom?

Everything is read when the template asks for it; each property is one query or none.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.db.models import Count, Q, Sum

from cells.models import Area, AreaTarget, Cell
from maintenance import compliance
from maintenance.models import Reason
from maintenance.planning.compliance import PmCompliance
from maintenance.tasks import safety_overdue
from oee.account_rows import AccountRow
from oee.freshness import rows_of
from oee.ledger.ranking import RankedCell, rank_cells
from oee.ledger.sums import Sums, seconds
from oee.models import CellShift
from oee.periods import Period, last_production_date
from oee.ranking import ReasonTotals, top
from oee.rollups import combined, of_row, sums_by
from oee.so_far import PeriodAccounts

DAY = timedelta(days=1)
FOUR_WEEKS = timedelta(days=28)


@dataclass(frozen=True, kw_only=True)
class Worst:
    """The cell that lost most by its own fault, and mostly to what."""

    cell: Cell
    lost_s: float
    cause: str  # empty: no reason took any of it
    cause_s: float

    @property
    def is_mostly(self) -> bool:
        """More than half of it."""
        return 2 * self.cause_s > self.lost_s


@dataclass(frozen=True, kw_only=True)
class Bodies:
    """Of an area's line that is furthest behind its plan.

    A body passes every line, so the lines' bodies are never added up. Planned and
    built at the line's counting cell, in the ended shifts that have both a plan and a
    count.
    """

    line: str
    planned: int
    good: int
    shifts: int
    with_plan: int
    uncounted: tuple[str, ...]  # lines with a plan of which no shift was counted

    @property
    def short(self) -> int:
        return self.planned - self.good

    @property
    def over(self) -> int:
        return -self.short


@dataclass(frozen=True, kw_only=True)
class AreaRow(AccountRow):
    area: Area
    target: AreaTarget | None
    before: Sums  # its own four weeks before the period
    trend: list[float | None]  # OEE by production date, the last one last
    bodies: Bodies | None  # None: no plan was loaded
    worst: Worst | None  # None: no own fault

    @property
    def target_oee(self) -> float | None:
        return None if self.target is None else float(self.target.oee)

    @property
    def points_off_target(self) -> float | None:
        """Percentage points above (or, negative, below) the target."""
        if self.target_oee is None or self.sums.oee is None:
            return None
        return 100 * (self.sums.oee - self.target_oee)

    @property
    def points_off_before(self) -> float | None:
        if self.before.oee is None or self.sums.oee is None:
            return None
        return 100 * (self.sums.oee - self.before.oee)

    @property
    def points(self) -> float | None:
        """Against its target or, without one, against its own four weeks."""
        if self.target is None:
            return self.points_off_before
        return self.points_off_target


class PlantPage:
    def __init__(self, period: Period, *, now: datetime) -> None:
        self.period, self.now = period, now
        self.accounts = PeriodAccounts(period, now=now, cells=self.cells.values())

    @cached_property
    def areas(self) -> list[Area]:
        return list(Area.objects.prefetch_related("targets"))

    @cached_property
    def of_areas(self) -> dict[int, Sums]:
        """Counting points, with the shifts that still run."""
        found: dict[int, Sums] = {}
        stored = (
            (area, sums)
            for (area, day), sums in self.by_date.items()
            if day >= self.period.first
        )
        running = (
            (row.area_id, of_row(row)) for row in self.accounts.running_of("counting")
        )
        for area, sums in (*stored, *running):
            found[area] = found.get(area, Sums()) + sums
        return {area: sums for area, sums in found.items() if sums.expected}

    @cached_property
    def by_date(self) -> dict[tuple[int, date], Sums]:
        """Stored, counting points: of the four weeks before the period and of it."""
        first = self.period.first - FOUR_WEEKS
        stored = self.accounts.stored("counting", first=first)
        return sums_by(stored, "area", "production_date", read=rows_of)

    @cached_property
    def of_cells(self) -> dict[int, dict[int, Sums]]:
        """By area, then cell: who lost how much, counting cell or not."""
        found: dict[int, dict[int, Sums]] = {}
        for (area, cell), sums in self.accounts.sums_by("area", "cell").items():
            found.setdefault(area, {})[cell] = sums
        return found

    @cached_property
    def cells(self) -> dict[int, Cell]:
        return Cell.objects.order_by().select_related("line").in_bulk()

    @cached_property
    def reasons(self) -> dict[int, Reason]:
        return Reason.objects.in_bulk()

    @cached_property
    def taken(self) -> dict[int, ReasonTotals]:
        """Of each area's worst cell."""
        return self.accounts.reasons({cell.pk for cell, _ in self.worst.values()})

    @cached_property
    def worst(self) -> dict[int, tuple[Cell, RankedCell]]:
        """By area: the cell that lost most by its own fault, where any lost some."""
        found = {}
        for area, of_cells in self.of_cells.items():
            codes = {self.cells[pk].code: pk for pk in of_cells}
            ranked = rank_cells(
                {code: of_cells[pk] for code, pk in codes.items()}, by="own"
            )
            if ranked and ranked[0].own_lost_us:
                found[area] = (self.cells[codes[ranked[0].cell]], ranked[0])
        return found

    @cached_property
    def bodies(self) -> dict[int, Bodies]:
        return bodies_by_area(self.period)

    @cached_property
    def open_stops(self) -> Mapping[tuple, Mapping[str, int]]:
        return self.accounts.open_stops("area", basis="counting")

    @cached_property
    def rows(self) -> list[AreaRow]:
        return [self._row(area) for area in self.areas if area.pk in self.of_areas]

    @property
    def without_account(self) -> list[tuple[Area, str]]:
        """Areas that are missing in the table, and why."""
        return [
            (
                area,
                "no line of it has a counting cell"
                if area.pk in self.of_cells
                else "nothing was planned there",
            )
            for area in self.areas
            if area.pk not in self.of_areas
        ]

    @cached_property
    def last_date(self) -> date | None:
        """To look at instead, where nothing was planned."""
        return last_production_date(self.period.first)

    @property
    def running(self) -> int:
        return len(self.accounts.running_of("counting"))

    @property
    def has_bodies(self) -> bool:
        return bool(self.bodies)

    def _row(self, area: Area) -> AreaRow:
        days = {day: sums for (pk, day), sums in self.by_date.items() if pk == area.pk}
        before = combined(sums for day, sums in days.items() if day < self.period.first)
        return AreaRow(
            name=area.name,
            words=area.code,
            href=f"{area.get_absolute_url()}?{self.period.query}",
            sums=self.of_areas[area.pk],
            open_stops_s=self.open_stops.get((area.pk,), {}),
            area=area,
            target=area.target_on(self.period.last),
            before=before,
            trend=self._trend(days),
            bodies=self.bodies.get(area.pk),
            worst=self._worst(area.pk),
        )

    def _trend(self, days: Mapping[date, Sums]) -> list[float | None]:
        """Whole production dates only: today's would dip for want of counts."""
        last = min(self.period.last, self.period.today - DAY)
        shown = sorted(day for day in days if last - FOUR_WEEKS < day <= last)
        return [days[day].oee for day in shown]

    def _worst(self, area: int) -> Worst | None:
        if area not in self.worst:
            return None
        cell, first = self.worst[area]
        cause, cause_s = self._cause(first, cell)
        return Worst(
            cell=cell, lost_s=seconds(first.own_lost_us), cause=cause, cause_s=cause_s
        )

    def _cause(self, ranked: RankedCell, cell: Cell) -> tuple[str, float]:
        """The reason that took most of it, or the rejects where these took more."""
        totals = self.taken.get(cell.pk, ReasonTotals())
        reason = top(totals, self.reasons, own=True)
        reason_s = totals.seconds[reason.pk] if reason else 0
        reject_s = seconds(ranked.sums.reject_us) or 0
        if reject_s > reason_s:
            return "rejects", reject_s
        return (reason.name, reason_s) if reason else ("", 0)

    # Maintenance

    @cached_property
    def compliance(self) -> PmCompliance:
        """Of the windows that closed in the last 28 days."""
        today = self.period.today
        return compliance.figures(today - FOUR_WEEKS, today - DAY)

    @cached_property
    def safety_overdue(self) -> int:
        return safety_overdue(self.period.today).count


def bodies_by_area(period: Period) -> dict[int, Bodies]:
    """By area's id. Only shifts whose account is stored, so only ended ones.

    Bodies that no ideal cycle is known for were built all the same.
    """
    at_counting_cell = CellShift.objects.filter(
        production_date__range=(period.first, period.last),
        shift__plan__isnull=False,
        cell__counts_for__isnull=False,
    )
    built = Q(counted=True) | Q(made__gt=0)
    lines = (
        at_counting_cell.order_by()
        .values("area", "line__code")
        .annotate(
            planned=Sum("shift__plan__bodies", filter=built),
            built=Sum("good", filter=built),
            shifts=Count("id", filter=built),
            with_plan=Count("id"),
        )
        .order_by("line__code")
    )
    of_area: dict[int, list[Mapping[str, Any]]] = {}
    for line in lines:
        of_area.setdefault(line["area"], []).append(line)
    found = {area: _furthest_behind(parts) for area, parts in of_area.items()}
    return {area: bodies for area, bodies in found.items() if bodies}


def _furthest_behind(lines: list[Mapping[str, Any]]) -> Bodies | None:
    counted = [line for line in lines if line["shifts"]]
    if not counted:
        return None
    last = max(counted, key=lambda line: line["planned"] - line["built"])
    return Bodies(
        line=last["line__code"],
        planned=last["planned"],
        good=last["built"],
        shifts=last["shifts"],
        with_plan=last["with_plan"],
        uncounted=tuple(line["line__code"] for line in lines if not line["shifts"]),
    )
