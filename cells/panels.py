"""What other rooms show on a cell's or a machine's page.

The cells room knows nothing of stops, tasks or accounts. Rooms above register a
panel when Django starts; the pages ask for all of them, in their order.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string


@dataclass(frozen=True, kw_only=True)
class Panel:
    order: int
    template: str
    #: (request, cell or machine) → the template's context; None: nothing to show.
    context: Callable[[HttpRequest, Any], dict[str, Any] | None]


_panels: dict[str, list[Panel]] = {"cell": [], "machine": []}


def register(page: str, panel: Panel) -> None:
    """``page`` is "cell" or "machine". Registering twice changes nothing."""
    if panel not in _panels[page]:
        _panels[page].append(panel)


def rendered(page: str, request: HttpRequest, subject: Any) -> list[str]:
    parts: list[str] = []
    for panel in sorted(_panels[page], key=lambda panel: panel.order):
        context = panel.context(request, subject)
        if context is not None:
            parts.append(render_to_string(panel.template, context, request=request))
    return parts
