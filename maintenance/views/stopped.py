"""What stands still now, and the taps that say so."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_POST

from cells.models import Area, Cell
from cells.rights import SignedIn, areas_and_lines_of
from maintenance.forms.stops import StartStopForm
from maintenance.models import LossClass, Stop
from maintenance.reasons import reasons_for
from maintenance.rights import (
    areas_logged_in,
    ids_that_may_be_ended,
    may_record_times,
    need_to_log_stop,
)
from maintenance.stop_rules import WORDS
from maintenance.stops import MOMENTS, end_stop, record_moment, start_stop


@dataclass(frozen=True, kw_only=True)
class StoppedNow:
    stop: Stop
    recorded: list[tuple[str, object]]  # words and moment, in order
    taps: list[tuple[str, str]]  # which and its words
    may_end: bool


@require_GET
def stopped(request: SignedIn) -> HttpResponse:
    area_code, cell_code = request.GET.get("area"), request.GET.get("cell")
    area = get_object_or_404(Area, code=area_code) if area_code else None
    context: dict[str, Any] = {
        "stops": stopped_now(request, area),
        "area": area,
        "areas": Area.objects.all(),
        "may_start": areas_logged_in(request.user) != set(),
    }
    if request.htmx:
        return render(request, "maintenance/_stopped_now.html", context)
    if cell_code:
        cells = Cell.objects.select_related("line__area")
        cell = get_object_or_404(cells, code=cell_code)
        need_to_log_stop(request.user, cell)
        everything = request.GET.get("reasons") == "all"
        context["cell"] = cell
        context["everything"] = everything
        context["reasons"] = reasons_for(cell, None if everything else 10)
    elif context["may_start"]:
        context["lines"] = _cells_to_start(request)
    return render(request, "maintenance/stopped.html", context)


@require_POST
def stop_start(request: SignedIn) -> HttpResponse:
    form = StartStopForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Choose a cell and what stopped it.")
        return _back(request)
    try:
        stop = start_stop(by=request.user, **form.facts())
    except ValidationError as error:
        return _refused(request, error)
    messages.success(request, f"{stop.cell}: {stop.reason}, stopped from now on.")
    return _back(request)


@require_POST
def stop_tap(request: SignedIn, pk: int, which: str) -> HttpResponse:
    """``which``: ended_at or one of the moments of a repair. It happened now."""
    if which not in ("ended_at", *MOMENTS):
        raise Http404(f"{which} is no moment of a stop.")
    stop = get_object_or_404(Stop.objects.select_related("cell", "reason"), pk=pk)
    try:
        if which == "ended_at":
            end_stop(stop=stop, by=request.user)
        else:
            record_moment(stop=stop, which=which, by=request.user)
    except ValidationError as error:
        return _refused(request, error)
    messages.success(request, f"{stop.cell}, {stop.reason}: {WORDS[which]}, recorded.")
    return _back(request)


def stopped_now(request: SignedIn, area: Area | None = None) -> list[StoppedNow]:
    """Running stops, the longest first, with what this person may tap."""
    running = Stop.objects.running().select_related("cell__line__area", "reason")
    if area is not None:
        running = running.filter(cell__line__area=area)
    stops = list(running.order_by("started_at", "ref"))
    may_end = ids_that_may_be_ended(request.user, stops)
    return [
        StoppedNow(
            stop=stop,
            recorded=[
                (WORDS[name], at) for name in MOMENTS if (at := getattr(stop, name))
            ],
            taps=taps(request, stop),
            may_end=stop.pk in may_end,
        )
        for stop in stops
    ]


def taps(request: SignedIn, stop: Stop) -> list[tuple[str, str]]:
    """The moments of a breakdown that can still come, for those who record them."""
    breakdown = stop.reason.loss_class == LossClass.BREAKDOWN
    if not (breakdown and may_record_times(request.user, stop)):
        return []
    last = max(
        (place for place, name in enumerate(MOMENTS) if getattr(stop, name)), default=-1
    )
    return [(name, WORDS[name]) for name in MOMENTS[last + 1 :]]


def _cells_to_start(request: SignedIn) -> list[tuple[object, list[Cell]]]:
    """Cells by line, the person's own lines first."""
    areas = areas_logged_in(request.user)
    cells = Cell.objects.filter(retired_on=None).select_related("line__area")
    if areas is not None:
        cells = cells.filter(line__area__in=areas)
    own_lines = areas_and_lines_of(request.user)[1]
    by_line: dict[object, list[Cell]] = {}
    for cell in sorted(cells, key=lambda cell: cell.line_id not in own_lines):
        by_line.setdefault(cell.line, []).append(cell)
    return list(by_line.items())


def _refused(request: SignedIn, error: ValidationError) -> HttpResponse:
    for sentence in error.messages:
        messages.error(request, sentence)
    return _back(request)


def _back(request: SignedIn) -> HttpResponseRedirect:
    """To the page of this site that the button stood on."""
    wanted = request.POST.get("next", "")
    if url_has_allowed_host_and_scheme(wanted, allowed_hosts={request.get_host()}):
        return HttpResponseRedirect(wanted)
    return HttpResponseRedirect(reverse("stopped"))
