"""PM compliance, the rows behind it, and the failed safety tests."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.core.paginator import Page, Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from cells.downloads import csv_response
from cells.rights import SignedIn
from cells.working_time.periods import add_months
from maintenance.compliance import WORDS, ClosedTask, months_of, windows
from maintenance.forms.compliance import ComplianceFilter
from maintenance.models import SafetyAlert, Task
from maintenance.planning.compliance import ClosedWindow, pm_compliance
from maintenance.task_rights import may_accept_alert
from maintenance.views.stops import links, plant_time

PAGE = 100
MONTHS = 6
ALERTS_SHOWN = 200

COLUMNS = (
    "closed",
    "outcome",
    "routine",
    "serial",
    "cell",
    "position",
    "due",
    "done_at",
    "safety",
    "labour_minutes",
)
ALERT_COLUMNS = (
    "raised_at",
    "routine",
    "serial",
    "cell",
    "position",
    "accepted_at",
    "accepted_by",
    "measure",
)


@dataclass(frozen=True, kw_only=True)
class Row:
    task: Task
    closed: ClosedTask


@require_GET
def compliance(request: SignedIn) -> HttpResponse:
    wanted = ComplianceFilter(request.GET)
    if not wanted.is_valid():
        nothing = {"filter": wanted, "figures": None}
        return render(request, "maintenance/compliance.html", nothing)
    first, last = wanted.cleaned_data["first"], wanted.cleaned_data["last"]
    chosen = wanted.chosen()
    if request.GET.get("csv"):
        return csv_response("pm-compliance", COLUMNS, _csv_rows(chosen))
    page: Page[ClosedTask] = Paginator(chosen, PAGE).get_page(request.GET.get("page"))
    months_from = _months_back(last)
    known = list(windows(min(first, months_from), last, by_date=True))
    closed = [window for window in known if window.closes >= first]
    lately = [window for window in known if window.closes >= months_from]
    context: dict[str, Any] = {
        "filter": wanted,
        "first": first,
        "last": last,
        "figures": pm_compliance(closed, first=first, last=last),
        "outcomes": _outcomes(closed),
        "months": months_of(lately, months_from, last),
        "page": page,
        "rows": _with_tasks(page.object_list),
        **links(request),
    }
    return render(request, "maintenance/compliance.html", context)


@require_GET
def alerts(request: SignedIn) -> HttpResponse:
    """Failed safety tests: those that nobody has accepted first."""
    found = SafetyAlert.objects.select_related(
        "task__routine", "task__machine", "task__cell__line", "accepted_by"
    )
    waiting = list(found.filter(accepted_at=None).order_by("raised_at"))
    accepted = found.filter(accepted_at__isnull=False)[:ALERTS_SHOWN]
    if request.GET.get("csv"):
        rows = (_alert_row(one) for one in [*waiting, *accepted])
        return csv_response("failed-safety-tests", ALERT_COLUMNS, rows)
    context = {
        "waiting": [
            {"alert": one, "may_accept": may_accept_alert(request.user, one)}
            for one in waiting
        ],
        "accepted": accepted,
        "csv_url": "?csv=1",
    }
    return render(request, "maintenance/compliance_alerts.html", context)


def _outcomes(closed: Iterable[ClosedWindow]) -> list[tuple[str, int]]:
    counts = dict.fromkeys(WORDS, 0)
    for window in closed:
        counts[window.outcome] += window.times
    return [(WORDS[outcome], count) for outcome, count in counts.items()]


def _months_back(last: date) -> date:
    return add_months(last.replace(day=1), 1 - MONTHS)


def _with_tasks(closed: Iterable[ClosedTask]) -> list[Row]:
    closed = list(closed)
    related = Task.objects.select_related("routine", "machine", "cell")
    by_id = related.in_bulk({one.task_id for one in closed})
    return [Row(task=by_id[one.task_id], closed=one) for one in closed]


def _csv_rows(closed: Iterable[ClosedTask]) -> Iterable[list[object]]:
    for row in _with_tasks(closed):
        task, window = row.task, row.closed.window
        yield [
            window.closes,
            window.outcome,
            task.routine.code,
            task.machine.serial if task.machine else "",
            task.cell.code if task.cell else "",
            task.position,
            task.due,
            plant_time(task.done_at),
            window.safety,
            window.minutes,
        ]


def _alert_row(alert: SafetyAlert) -> list[object]:
    task, by = alert.task, alert.accepted_by
    return [
        plant_time(alert.raised_at),
        task.routine.code,
        task.machine.serial if task.machine else "",
        task.cell.code if task.cell else "",
        task.position,
        plant_time(alert.accepted_at),
        by.get_username() if by else "",
        alert.measure,
    ]
