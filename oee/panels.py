"""What this room adds to a cell's page: its account of the last 28 production days."""

from typing import Any

from django.http import HttpRequest

from cells import clock
from cells.models import Cell
from cells.panels import Panel, register
from oee.account_pages import CellPage
from oee.periods import chosen, production_today

TOP_REASONS = 3


def register_panels() -> None:
    register(
        "cell",
        Panel(order=10, template="oee/_cell_account.html", context=four_weeks),
    )


def four_weeks(request: HttpRequest, cell: Cell) -> dict[str, Any]:
    now = clock.now()
    today = production_today(now, request.plant.zone)  # type: ignore[attr-defined]
    page = CellPage(cell, chosen({}, today=today), now=now)
    own = [row for row in page.reasons if row.is_own]
    return {"page": page, "cell": cell, "top_reasons": own[:TOP_REASONS]}
