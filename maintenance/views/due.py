"""What falls due: the planner's first page."""

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from cells import clock
from cells.downloads import csv_response
from cells.rights import SignedIn
from maintenance import due_list
from maintenance.forms.due import DueFilter
from maintenance.models import SafetyAlert
from maintenance.tasks import safety_overdue
from maintenance.views.stops import links

PAGE = 50
PRINTED = 300  # by cell it is for paper, where short pages help nobody


@require_GET
def due(request: SignedIn) -> HttpResponse:
    today = clock.today()
    wanted = DueFilter(request.GET)
    tasks = wanted.tasks(today)
    if request.GET.get("csv"):
        return csv_response("due", due_list.HEADER, due_list.csv_rows(tasks))
    chosen = wanted.cleaned_data if wanted.is_valid() else {}
    size = PRINTED if chosen.get("group") else PAGE
    page = Paginator(tasks, size).get_page(request.GET.get("page"))
    rows = [due_list.Row.of(task, on=today, user=request.user) for task in page]
    area = chosen.get("area")
    counts = due_list.counts(wanted.chosen(), today)
    loads = due_list.loads(today, area)
    safety = safety_overdue(today).count
    context = {
        "filter": wanted,
        "page": page,
        "rows": rows,
        "groups": due_list.by_cell(rows) if chosen.get("group") else [],
        "may_complete": any(row.may_complete for row in rows),
        "sentence": due_list.sentence(
            safety=safety,
            counts=counts,
            is_part=wanted.is_part,
            loads=loads,
            area=area,
        ),
        "safety": safety,
        "counts": counts,
        "loads": loads,
        "area": area,
        "alerts": SafetyAlert.objects.filter(accepted_at=None).count(),
        "today": today,
        **links(request),
    }
    return render(request, "maintenance/due.html", context)
