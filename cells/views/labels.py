"""Labels to print: of a cell, of a machine, of all that stands in a line."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from cells.labels import Label, cell_label, machine_label
from cells.models import Cell, Line, Machine, Placement


@require_safe
def cell_page(request: HttpRequest, code: str) -> HttpResponse:
    cell = get_object_or_404(Cell, code=code)
    return _page(request, f"The label of cell {cell}.", [cell_label(cell)], cell)


@require_safe
def machine_page(request: HttpRequest, serial: str) -> HttpResponse:
    machine = get_object_or_404(Machine, serial=serial)
    lead = f"The label of machine {machine}."
    return _page(request, lead, [machine_label(machine)], machine)


@require_safe
def line_page(request: HttpRequest, code: str) -> HttpResponse:
    line = get_object_or_404(Line, code=code)
    cells = line.cells.filter(retired_on=None).order_by("order", "code")
    standing = (
        Placement.objects.filter(cell__in=cells, removed_on=None)
        .select_related("machine")
        .order_by("cell__order", "cell__code", "position")
    )
    labels = [cell_label(cell) for cell in cells]
    labels += [machine_label(place.machine) for place in standing]
    return _page(request, f"The labels of line {line}: {len(labels)}.", labels, None)


def _page(
    request: HttpRequest, lead: str, labels: list[Label], back: Cell | Machine | None
) -> HttpResponse:
    context = {"lead": lead, "labels": labels, "back": back}
    return render(request, "cells/labels.html", context)
