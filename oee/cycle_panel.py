"""What this room adds to a cell's page beside its account: the cycles valid today."""

from typing import Any

from django.http import HttpRequest

from cells import clock
from cells.models import Cell
from cells.panels import Panel, register
from oee.cycle_rows import cycles_of


def register_panels() -> None:
    register(
        "cell", Panel(order=15, template="oee/_cell_cycles.html", context=valid_today)
    )


def valid_today(request: HttpRequest, cell: Cell) -> dict[str, Any]:
    return {"cell": cell, "rows": cycles_of(cell, clock.today())}
