"""What stands in the plant, and the doors to areas and lines."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Count, Prefetch, Q, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from cells import clock, registry, rights
from cells.downloads import csv_response
from cells.forms import (
    AreaForm,
    ChangeAreaForm,
    ChangeLineForm,
    CountingCellForm,
    LineForm,
    TargetForm,
)
from cells.models import Area, Cell, Line, Machine, MachineKind, Placement
from cells.rights import SignedIn
from cells.views.doors import csv_url, door, sent

MACHINES_SHOWN = 50


@require_safe
def registry_page(request: SignedIn) -> HttpResponse:
    """Areas, lines and cells with what stands in them. ?q= finds, ?area= narrows."""
    wanted = request.GET.get("q", "").strip()
    exact = _exactly(wanted)
    if exact is not None:
        return redirect(exact)
    cells = _cells(wanted, request.GET.get("area", ""))
    if "csv" in request.GET:
        return _csv(cells)
    areas = _areas(cells)
    shown = [area for area in areas if _is_shown(area, request.GET.get("area"), wanted)]
    found = [cell for area in shown for line in area.lines.all() for cell in _in(line)]
    machines = _machines(wanted) if wanted else []
    context = {
        "areas": shown,
        "all_areas": areas,
        "q": wanted,
        "machines": machines[:MACHINES_SHOWN],
        "machines_found": len(machines),
        "cells_found": len(found),
        "robots_found": sum(cell.robots for cell in found),
        "may_edit": rights.may_edit_registry(request.user),
        "csv_url": csv_url(request),
    }
    return render(request, "cells/registry.html", context)


def area_add(request: SignedIn) -> HttpResponse:
    registry.need_planner(request.user)
    return door(
        request,
        AreaForm(sent(request)),
        lambda **facts: registry.add_area(**facts, by=request.user),
        lead="Add an area.",
        back=reverse("registry"),
        said="The area is in the registry.",
    )


def area_edit(request: SignedIn, code: str) -> HttpResponse:
    registry.need_planner(request.user)
    area = get_object_or_404(Area, code=code)
    return door(
        request,
        ChangeAreaForm(sent(request), initial={"name": area.name}),
        lambda **facts: registry.change_area(area=area, by=request.user, **facts),
        lead=f"Change area {area}.",
        back=reverse("registry"),
        said=f"Area {area} is changed.",
    )


def target_set(request: SignedIn, code: str) -> HttpResponse:
    registry.need_planner(request.user)
    area = get_object_or_404(Area, code=code)
    return door(
        request,
        TargetForm(sent(request), initial={"valid_from": clock.today()}),
        lambda **facts: registry.set_target(area=area, by=request.user, **facts),
        lead=f"Set the OEE target of area {area}.",
        back=reverse("registry"),
        said=f"Area {area} has its target.",
    )


def line_add(request: SignedIn) -> HttpResponse:
    registry.need_planner(request.user)
    return door(
        request,
        LineForm(sent(request), initial={"area": request.GET.get("area")}),
        lambda **facts: registry.add_line(**facts, by=request.user),
        lead="Add a line.",
        back=reverse("registry"),
        said="The line is in the registry and works its area's shifts from today on.",
    )


def line_edit(request: SignedIn, code: str) -> HttpResponse:
    registry.need_planner(request.user)
    line = get_object_or_404(Line, code=code)
    return door(
        request,
        ChangeLineForm(sent(request), initial={"name": line.name, "order": line.order}),
        lambda **facts: registry.change_line(line=line, by=request.user, **facts),
        lead=f"Change line {line}.",
        back=reverse("registry"),
        said=f"Line {line} is changed.",
    )


def counting_cell(request: SignedIn, code: str) -> HttpResponse:
    registry.need_planner(request.user)
    line = get_object_or_404(Line.objects.select_related("counting_cell"), code=code)
    initial = {"counting_cell": line.counting_cell and line.counting_cell.code}
    return door(
        request,
        CountingCellForm(sent(request), line=line, initial=initial),
        lambda **facts: registry.set_counting_cell(line=line, by=request.user, **facts),
        lead=f"Choose the counting cell of line {line}.",
        back=reverse("registry"),
        said=f"Line {line} has its counting cell.",
    )


def _cells(wanted: str, area: str) -> QuerySet[Cell]:
    standing = Q(placements__removed_on=None)
    robot = Q(placements__machine__kind__in=MachineKind.robots())
    cells = Cell.objects.select_related("line__area").annotate(
        robots=Count("placements", filter=standing & robot),
        equipment=Count("placements", filter=standing & ~robot),
    )
    if area:
        cells = cells.filter(line__area__code=area)
    if wanted:
        holding = Placement.objects.filter(
            removed_on=None, machine__serial__icontains=wanted
        )
        cells = cells.filter(
            Q(code__icontains=wanted)
            | Q(name__icontains=wanted)
            | Q(pk__in=holding.values("cell"))
        )
    return cells


def _machines(wanted: str) -> list[Machine]:
    standing = Placement.objects.filter(removed_on=None).select_related("cell")
    return list(
        Machine.objects.filter(
            Q(serial__icontains=wanted) | Q(model__icontains=wanted)
        ).prefetch_related(Prefetch("placements", standing, to_attr="standing"))
    )


def _exactly(wanted: str) -> str | None:
    """Where a code or serial number that was typed or scanned in full leads."""
    if not wanted:
        return None
    cell = Cell.objects.filter(code__iexact=wanted).first()
    if cell is not None:
        return cell.get_absolute_url()
    machine = Machine.objects.filter(serial__iexact=wanted).first()
    return machine.get_absolute_url() if machine else None


def _areas(cells: QuerySet[Cell]) -> list[Area]:
    """All areas and lines with the cells that were found in them."""
    lines = Line.objects.select_related("counting_cell").order_by("order", "code")
    areas = Area.objects.prefetch_related(
        "targets",
        Prefetch("lines", lines),
        Prefetch("lines__cells", cells.order_by("order", "code")),
    )
    today = clock.today()
    for area in areas:
        area.target = area.target_on(today)  # type: ignore[attr-defined]
    return list(areas)


def _in(line: Line) -> list[Any]:
    """The cells found in a line, with their counts."""
    return list(line.cells.all())


def _is_shown(area: Area, chosen: str | None, wanted: str) -> bool:
    """Narrowed to one area, that one; searched, those where something was found."""
    if chosen and chosen != area.code:
        return False
    return not wanted or any(_in(line) for line in area.lines.all())


def _csv(cells: Iterable[Any]) -> HttpResponse:
    header = [
        "area",
        "line",
        "cell",
        "name",
        "leg",
        "criticality",
        "robots",
        "equipment",
        "lockout_sheet",
        "lockout_revision",
        "lockout_date",
        "retired_on",
    ]
    rows = (
        (
            cell.line.area.code,
            cell.line.code,
            cell.code,
            cell.name,
            cell.leg,
            cell.criticality,
            cell.robots,
            cell.equipment,
            cell.lockout_sheet,
            cell.lockout_revision,
            cell.lockout_date,
            cell.retired_on,
        )
        for cell in cells
    )
    return csv_response("cells", header, rows)
