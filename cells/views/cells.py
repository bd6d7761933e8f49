"""A cell's page, and the doors to its facts."""

from datetime import date, timedelta

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from cells import clock, panels, registry, rights, trail
from cells.downloads import csv_response
from cells.forms import BankForm, CellForm, ChangeCellForm, LockoutForm, RetireForm
from cells.models import Cell, Placement, Shift
from cells.rights import Role, SignedIn
from cells.views.doors import csv_url, door, sent

CHANGES_SHOWN = 20


@require_safe
def cell(request: SignedIn, code: str) -> HttpResponse:
    cell = _cell(code)
    placements = Placement.objects.filter(cell=cell).select_related("machine")
    if "csv" in request.GET:
        return _csv(cell, list(placements))
    today = clock.today()
    context = {
        "cell": cell,
        "standing": [place for place in placements if place.removed_on is None],
        "stood": sorted(
            (place for place in placements if place.removed_on is not None),
            key=lambda place: (place.removed_on, place.position),
            reverse=True,
        ),
        "banks_in": cell.banks_in.select_related("from_cell"),
        "banks_out": cell.banks_out.select_related("to_cell"),
        "shifts": _week_of(cell, today),
        "panels": panels.rendered("cell", request, cell),
        "changes": trail.changes_of(cell)[:CHANGES_SHOWN],
        "trail_url": f"{reverse('trail')}?kind=cell&record={cell.pk}",
        "may_edit": rights.may_edit_registry(request.user),
        "may_record_sheet": rights.has_role(
            request.user, Role.SAFETY_OFFICER, Role.PLANNER
        ),
        "csv_url": csv_url(request),
    }
    return render(request, "cells/cell.html", context)


@require_safe
def cell_short(request: SignedIn, code: str) -> HttpResponse:
    """What a label's QR code opens."""
    return redirect(get_object_or_404(Cell, code__iexact=code))


def cell_add(request: SignedIn) -> HttpResponse:
    registry.need_planner(request.user)
    return door(
        request,
        CellForm(sent(request), initial={"line": request.GET.get("line")}),
        lambda **facts: registry.add_cell(**facts, by=request.user),
        lead="Add a cell.",
        back=reverse("registry"),
        said="The cell is in the registry. Its account begins with today's shifts.",
        then=Cell.get_absolute_url,
    )


def cell_edit(request: SignedIn, code: str) -> HttpResponse:
    registry.need_planner(request.user)
    cell = _cell(code)
    names = ("name", "order", "leg", "criticality", "heads_limit")
    initial = {name: getattr(cell, name) for name in names}
    return door(
        request,
        ChangeCellForm(sent(request), initial=initial),
        lambda **facts: registry.change_cell(cell=cell, by=request.user, **facts),
        lead=f"Change cell {cell}.",
        back=cell.get_absolute_url(),
        said=f"Cell {cell} is changed.",
    )


def cell_lockout(request: SignedIn, code: str) -> HttpResponse:
    rights.need(
        rights.has_role(request.user, Role.SAFETY_OFFICER, Role.PLANNER),
        registry.ONLY_SAFETY,
    )
    cell = _cell(code)
    initial = {
        "sheet": cell.lockout_sheet,
        "revision": cell.lockout_revision,
        "revised_on": cell.lockout_date,
    }
    return door(
        request,
        LockoutForm(sent(request), initial=initial),
        lambda **facts: registry.record_lockout_sheet(
            cell=cell, by=request.user, **facts
        ),
        lead=f"Record which lockout sheet cell {cell} has.",
        back=cell.get_absolute_url(),
        said=f"The lockout sheet of cell {cell} is recorded as entered.",
    )


def cell_retire(request: SignedIn, code: str) -> HttpResponse:
    registry.need_planner(request.user)
    cell = _cell(code)
    return door(
        request,
        RetireForm(sent(request), initial={"retired_on": clock.today()}),
        lambda **facts: registry.retire_cell(cell=cell, by=request.user, **facts),
        lead=f"Retire cell {cell}.",
        back=cell.get_absolute_url(),
        said=f"Cell {cell} is retired. What happened in it stays.",
        action="Retire it",
    )


def bank_set(request: SignedIn, code: str) -> HttpResponse:
    registry.need_planner(request.user)
    cell = _cell(code)
    return door(
        request,
        BankForm(sent(request), initial={"to_cell": request.GET.get("to")}),
        lambda **facts: registry.set_bank(from_cell=cell, by=request.user, **facts),
        lead=f"Set the bank after cell {cell}.",
        back=cell.get_absolute_url(),
        said=f"The bank after cell {cell} is set.",
    )


def _cell(code: str) -> Cell:
    cells = Cell.objects.select_related("line__area", "line__counting_cell")
    return get_object_or_404(cells, code=code)


def _week_of(cell: Cell, today: date) -> list[Shift]:
    monday = today - timedelta(days=today.weekday())
    week = (monday, monday + timedelta(days=6))
    shifts = Shift.objects.filter(line=cell.line, production_date__range=week)
    return list(shifts.prefetch_related("breaks"))


def _csv(cell: Cell, placements: list[Placement]) -> HttpResponse:
    header = ["serial", "kind", "position", "placed_on", "removed_on", "model", "tags"]
    rows = (
        (
            place.machine.serial,
            place.machine.kind,
            place.position,
            place.placed_on,
            place.removed_on,
            place.machine.model,
            ";".join(place.machine.tags),
        )
        for place in placements
    )
    return csv_response(f"machines-{cell.code}", header, rows)
