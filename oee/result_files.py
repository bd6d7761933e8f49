"""The files that leave this room: their columns, and their rows as they are stored.

None is an empty cell and means unknown. Ideal seconds keep the decimals that the
cycles bring; every table of such figures, on a page or from a command, is made here.
"""

from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal

from cells.models import Area, Cell, Line
from oee.ledger.flags import names
from oee.ledger.sums import Sums, cell_shift
from oee.ranking import Ranked
from oee.reports import Rolled
from oee.rollups import SECONDS, accounts

Row = tuple[object, ...]

_WHOLE = (
    "scheduled_s",
    "break_s",
    "planned_s",
    "planned_late_s",
    "busy_s",
    "breakdown_s",
    "setup_s",
    "quality_hold_s",
    "minor_s",
    "people_s",
    "supply_s",
    "utilities_s",
    "blocked_s",
    "starved_s",
    "run_s",
)
_EXACT = ("ideal_total_s", "ideal_good_s", "slow_s", "reject_s", "own_lost_s")
_FACTORS = ("availability", "performance", "quality", "oee")

SUMS_HEADER = (*_WHOLE, *_EXACT, *_FACTORS)
CELL_SHIFTS_HEADER = ("area", "line", "cell", "date", "shift", *SUMS_HEADER, "flags")
OEE_HEADER = ("key", "period", *SUMS_HEADER, "reported", "expected")
RANKING_HEADER = (
    "rank",
    "cell",
    "own_lost_s",
    "slow_s",
    "all_lost_s",
    "busy_s",
    "per_100_h",
    "stops",
    "top_reason",
)


def sums_row(sums: Sums) -> Row:
    """The cells under SUMS_HEADER."""
    exact = (
        sums.ideal_total_us if sums.counted else None,
        sums.ideal_good_us if sums.counted else None,
        sums.slow_us,
        sums.reject_us,
        sums.own_lost_us,
    )
    return (
        *(getattr(sums, name) for name in _WHOLE),
        *(exact_seconds(us) for us in exact),
        *(getattr(sums, name) for name in _FACTORS),
    )


def exact_seconds(microseconds: int | None) -> Decimal | None:
    return None if microseconds is None else Decimal(microseconds).scaleb(-6)


def cell_shift_rows(
    *, first: date, last: date, area: Area | None = None
) -> Iterator[Row]:
    """A row per stored cell-shift, one cell at a time: years of them need no memory."""
    rows = accounts(
        first=first, last=last, area=None if area is None else area.pk
    ).order_by()
    areas, lines, cells = (
        dict(model._default_manager.order_by().values_list("id", "code"))
        for model in (Area, Line, Cell)
    )
    places = rows.values_list("area", "line", "cell").distinct()
    coded = sorted(
        ((areas[place[0]], lines[place[1]], cells[place[2]]), place) for place in places
    )
    for codes, (area_id, line_id, cell_id) in coded:
        of_place = rows.filter(area=area_id, line=line_id, cell=cell_id)
        stored = of_place.values_list(
            "production_date", "shift__name", "counted", "flags", *SECONDS
        )
        # No two rows have the same date and shift.
        for day, shift, counted, flags, *seconds in sorted(stored):
            columns = dict(zip(SECONDS, seconds, strict=True))
            figures = sums_row(cell_shift(columns, counted=counted))
            yield (*codes, day, shift, *figures, names(flags))


def oee_rows(rolled: Iterable[Rolled]) -> Iterator[Row]:
    """In the order of their key columns, whatever order they come in."""
    for row in sorted(rolled, key=lambda row: (row.key, row.period)):
        coverage = (row.sums.reported, row.sums.expected)
        yield (row.key, row.period, *sums_row(row.sums), *coverage)


def ranking_rows(ranked: Iterable[Ranked]) -> Iterator[Row]:
    for row in ranked:
        place = row.place
        yield (
            place.rank,
            place.cell,
            exact_seconds(place.own_lost_us),
            exact_seconds(place.slow_us),
            exact_seconds(place.all_lost_us),
            place.busy_s,
            place.per_100_h,
            row.stops,
            None if row.top_reason is None else row.top_reason.code,
        )
