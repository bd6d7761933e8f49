"""What this room adds to a cell's or machine's page: last stops, open tasks."""

from typing import Any

from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from cells import clock
from cells.models import Cell, Machine
from cells.panels import Panel, register
from maintenance.due_list import Row, ranked
from maintenance.models import Stop, Task
from maintenance.models.tasks import TaskQuerySet

LAST = 10  # what a technician reads before opening the cell's panel
NEXT = 15
LAST_DONE = 5


def register_panels() -> None:
    register(
        "cell",
        Panel(order=20, template="maintenance/_cell_stops.html", context=last_stops),
    )
    tasks = "maintenance/_open_tasks.html"
    register("cell", Panel(order=30, template=tasks, context=tasks_of_cell))
    register("machine", Panel(order=30, template=tasks, context=tasks_of_machine))


def tasks_of_cell(request: HttpRequest, cell: Cell) -> dict[str, Any]:
    found = _open_tasks(request, Task.objects.filter(cell=cell))
    return {**found, "all_tasks": f"{reverse('due')}?cell={cell.code}&days=3650"}


def tasks_of_machine(request: HttpRequest, machine: Machine) -> dict[str, Any]:
    return _open_tasks(request, Task.objects.filter(machine=machine))


def _open_tasks(request: HttpRequest, tasks: TaskQuerySet) -> dict[str, Any]:
    """What falls due next, the most urgent first, and what was done last."""
    today = timezone.localdate(clock.now())  # the plant's, active in every request
    related = ("routine", "machine", "cell__line__area")
    soon = ranked(tasks.open(), today).select_related(*related)
    done = tasks.done().select_related("routine").order_by("-done_at")
    first = list(soon.order_by("rank", "due", "routine__code")[: NEXT + 1])
    return {
        "rows": [Row.of(task, on=today, user=request.user) for task in first[:NEXT]],
        "there_are_more": len(first) > NEXT,
        "done": done[:LAST_DONE],
    }


def last_stops(request: HttpRequest, cell: Cell) -> dict[str, Any]:
    stops = Stop.objects.standing().filter(cell=cell).select_related("reason")
    last = list(stops.order_by("-started_at", "-ref")[:LAST])
    return {
        "cell": cell,
        "stops": last,
        "running": list(stops.filter(ended_at=None)),
        "all_stops": f"{reverse('stops')}?cell={cell.code}",
    }
