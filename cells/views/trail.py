"""Who changed what, of everything. It filters by record, not by person, on purpose."""

from collections.abc import Iterable

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cells.downloads import csv_response
from cells.models import Change
from cells.views.doors import csv_url

ROWS = 100
MOST_IN_CSV = 100_000


@require_safe
def trail(request: HttpRequest) -> HttpResponse:
    changes = Change.objects.select_related("by")
    kind, record = request.GET.get("kind", ""), request.GET.get("record", "")
    if kind:
        changes = changes.filter(kind=kind)
    if record:
        if not record.isdecimal() or len(record) > 18:
            raise Http404(f"There is no record {record}.")
        changes = changes.filter(record_id=int(record))
    if "csv" in request.GET:
        return _csv(changes[:MOST_IN_CSV])
    page = Paginator(changes, ROWS).get_page(request.GET.get("page"))
    query = request.GET.copy()
    query.pop("page", None)
    context = {
        "page": page,
        "kind": kind,
        "record": record,
        "kinds": Change.objects.order_by("kind")
        .values_list("kind", flat=True)
        .distinct(),
        "query": query.urlencode(),
        "csv_url": csv_url(request),
    }
    return render(request, "cells/trail.html", context)


def _csv(changes: Iterable[Change]) -> HttpResponse:
    header = ["at", "by", "door", "kind", "record", "field", "old", "new", "why"]
    rows = (
        (
            change.at,
            change.by.get_username() if change.by else "",
            change.door,
            change.kind,
            change.record,
            change.field,
            change.old,
            change.new,
            change.why,
        )
        for change in changes
    )
    return csv_response("trail", header, rows)
