"""What this room adds to a cell's page: its last stops and what fixed them."""

from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from cells.models import Cell
from cells.panels import Panel, register
from maintenance.models import Stop

LAST = 10  # what a technician reads before opening the cell's panel


def register_panels() -> None:
    register(
        "cell",
        Panel(order=20, template="maintenance/_cell_stops.html", context=last_stops),
    )


def last_stops(request: HttpRequest, cell: Cell) -> dict[str, Any]:
    stops = Stop.objects.standing().filter(cell=cell).select_related("reason")
    last = list(stops.order_by("-started_at", "-ref")[:LAST])
    return {
        "cell": cell,
        "stops": last,
        "running": list(stops.filter(ended_at=None)),
        "all_stops": f"{reverse('stops')}?cell={cell.code}",
    }
