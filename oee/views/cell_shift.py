"""The rows behind one cell's figures in one shift."""

from collections.abc import Iterator
from datetime import date

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cells.downloads import csv_response
from cells.rights import SignedIn
from oee.cell_shift_page import CellShiftPage
from oee.views.shift import page_of

HEADER = ("row", "reason", "loss_class", "start", "end", "times", "seconds", "owned_s")


@require_safe
def cell_shift(request: SignedIn, code: str, day: date, name: str) -> HttpResponse:
    page = page_of(request, day, name, line__cells__code=code, asked={"cell": code})
    if page.cell is None:
        raise Http404(f"Cell {code} was retired before {day}.")
    rows = CellShiftPage(page)
    if request.GET.get("csv") == "1":
        return csv_response(f"{code}-{day}-{name}", HEADER, _rows(rows))
    return render(request, "oee/cell_shift.html", {"page": page, "rows": rows})


def _rows(rows: CellShiftPage) -> Iterator[tuple[object, ...]]:
    for stop, owned_s in rows.row.owned_stops:
        reason = stop.reason
        kind = ("stop", reason.code, reason.loss_class)
        yield (*kind, stop.started_at, stop.ended_at, None, None, owned_s)
    for tally, owned_s in rows.tallies:
        kind = ("tally", tally.reason.code, tally.reason.loss_class)
        yield (*kind, None, None, tally.times, tally.seconds, owned_s)
    for planned in rows.planned_stops:
        kind = ("planned stop", planned.reason.code, planned.reason.loss_class)
        yield (*kind, planned.starts_at, planned.ends_at, None, None, None)
