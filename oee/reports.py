"""The stored ledger by plant, area, line or cell, and by shift, day, week or month.

Pages, commands and files ask here, so that a figure is the same wherever it stands.
"""

from datetime import UTC, date, datetime, timedelta
from typing import Literal, NamedTuple

from django.core.exceptions import ValidationError
from django.db.models import F, Min
from django.db.models.functions import TruncMonth, TruncWeek

from cells import clock
from cells.models import Area, Cell, Line, Plant, Shift
from oee.ledger.sums import Sums
from oee.rollups import Basis, accounts, sums_by

By = Literal["plant", "area", "line", "cell"]
Every = Literal["shift", "day", "week", "month", "all"]

#: How many production dates a report covers if nobody says otherwise.
USUAL_DATES = 28

_NEVER = datetime.max.replace(tzinfo=UTC)


class Rolled(NamedTuple):
    """The sums of one plant, area, line or cell in one period."""

    key: str  # a code; of the plant its name
    period: str  # 2026-03-02 Early, 2026-03-02, 2026-W10, 2026-03 or all
    sums: Sums


def date_range(
    *,
    first: date | None = None,
    last: date | None = None,
    area: Area | None = None,
) -> tuple[date, date]:
    """First and last production date of a report, both included.

    Without a last one: yesterday, by the plant's calendar. Without a first one: as
    many dates as usual on which the plant, or the area, has shifts stored.
    """
    if last is None:
        last = clock.today() - timedelta(days=1)
        if first is not None and first > last:
            raise ValidationError(
                f"The first date ({first}) lies after yesterday ({last}): give a last "
                "date too, or an earlier first one."
            )
    if first is None:
        return min(_usual_dates(last, area), default=last), last
    if first > last:
        raise ValidationError(
            f"The first date ({first}) lies after the last ({last}): swap them, or "
            "correct one of the two."
        )
    return first, last


def _usual_dates(last: date, area: Area | None) -> list[date]:
    shifts = Shift.objects.worked().filter(production_date__lte=last)
    if area is not None:
        shifts = shifts.filter(line__area=area)
    dates = shifts.order_by("-production_date").values_list("production_date")
    return [day for (day,) in dates.distinct()[:USUAL_DATES]]


def roll_up(
    *,
    by: By,
    every: Every,
    first: date,
    last: date,
    basis: Basis = "counting",
    area: Area | None = None,
    line: Line | None = None,
) -> list[Rolled]:
    """By key, then period in the order of time. Only where something was planned.

    A cell stands for itself, whatever the basis.
    """
    rows = accounts(
        first=first,
        last=last,
        basis="cells" if by == "cell" else basis,
        area=None if area is None else area.pk,
        line=None if line is None else line.pk,
    )
    if every == "week":
        rows = rows.annotate(period=TruncWeek("production_date"))
    elif every == "month":
        rows = rows.annotate(period=TruncMonth("production_date"))
    elif every in ("day", "shift"):
        rows = rows.annotate(period=F("production_date"))
    places = [] if by == "plant" else [by]
    periods = {"all": [], "shift": ["period", "shift__name"]}.get(every, ["period"])
    names = _names(by)
    begun = _begun(first, last) if every == "shift" else {}
    found = [
        (names[key[0]] if places else names[None], key[len(places) :], sums)
        for key, sums in sums_by(rows, *places, *periods).items()
    ]
    # Of a date's shifts the one that began first comes first, whatever its name.
    found.sort(
        key=lambda row: (row[0], row[1][:1], begun.get(row[1], _NEVER), row[1][1:])
    )
    return [Rolled(key, _period(every, parts), sums) for key, parts, sums in found]


def _names(by: By) -> dict[int | None, str]:
    if by == "plant":
        return {None: Plant.current().name}
    model = {"area": Area, "line": Line, "cell": Cell}[by]
    return dict(model._default_manager.order_by().values_list("id", "code"))


def _begun(first: date, last: date) -> dict[tuple, datetime]:
    shifts = Shift.objects.filter(production_date__range=(first, last))
    groups = shifts.order_by().values_list("production_date", "name")
    return {(day, name): at for day, name, at in groups.annotate(Min("starts_at"))}


def _period(every: Every, parts: tuple) -> str:
    match every:
        case "week":
            year, week, _ = parts[0].isocalendar()
            return f"{year}-W{week:02}"
        case "month":
            return f"{parts[0]:%Y-%m}"
        case "all":
            return "all"
    return " ".join(str(part) for part in parts)
