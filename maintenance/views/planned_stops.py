"""Planned stops: listed, declared, corrected, withdrawn."""

from collections.abc import Iterator
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from cells import trail
from cells.downloads import csv_response
from cells.plant_forms import WhyForm
from cells.rights import SignedIn
from cells.views.doors import done
from maintenance.forms.lists import PlannedFilter
from maintenance.forms.planned_stops import CorrectPlannedForm, DeclareForm
from maintenance.models import PlannedStop
from maintenance.planned_stops import (
    correct_planned_stop,
    declare_planned_stop,
    withdraw_planned_stop,
)
from maintenance.rights import (
    may_declare_planned_stop,
    may_declare_somewhere,
    need_to_declare_planned_stop,
    need_to_declare_somewhere,
)
from maintenance.views.stops import links, plant_time, status_of

PAGE = 50

COLUMNS = (
    "ref",
    "at",
    "starts_at",
    "ends_at",
    "reason",
    "declared_at",
    "declared_by",
    "withdrawn",
)


def planned_stops(request: SignedIn) -> HttpResponse:
    if request.method == "POST":
        return _declare(request)
    may = may_declare_somewhere(request.user)
    return _list(request, DeclareForm(user=request.user) if may else None)


def planned_stop(request: SignedIn, pk: int) -> HttpResponse:
    planned = _planned(pk)
    may = may_declare_planned_stop(request.user, planned.place)
    if request.method != "POST":
        form = None
        if may and not planned.withdrawn:
            form = CorrectPlannedForm(planned=planned, user=request.user)
        return _page(request, planned, correct=form)
    need_to_declare_planned_stop(request.user, planned.place)
    form = CorrectPlannedForm(request.POST, planned=planned, user=request.user)
    if done(
        form,
        lambda **facts: correct_planned_stop(planned=planned, by=request.user, **facts),
    ):
        messages.success(request, "The correction is saved, with its trail.")
        return redirect("planned_stop", planned.pk)
    return _page(request, planned, correct=form)


@require_POST
def planned_stop_withdraw(request: SignedIn, pk: int) -> HttpResponse:
    planned = _planned(pk)
    need_to_declare_planned_stop(request.user, planned.place)
    form = WhyForm(request.POST)
    if done(
        form,
        lambda **facts: withdraw_planned_stop(
            planned=planned, by=request.user, **facts
        ),
    ):
        messages.success(request, "It is withdrawn and stays readable here.")
        return redirect("planned_stop", planned.pk)
    return _page(request, planned, withdraw=form)


def _declare(request: SignedIn) -> HttpResponse:
    need_to_declare_somewhere(request.user)
    form = DeclareForm(request.POST, user=request.user)
    if done(form, lambda **facts: declare_planned_stop(by=request.user, **facts)):
        messages.success(request, "The planned stop is declared.")
        return redirect("planned_stops")
    return _list(request, form)


def _list(request: SignedIn, form: DeclareForm | None) -> HttpResponse:
    wanted = PlannedFilter(request.GET)
    stops = wanted.planned_stops()
    if request.GET.get("csv"):
        return csv_response("planned_stops", COLUMNS, _rows(stops))
    context = {
        "filter": wanted,
        "page": Paginator(stops, PAGE).get_page(request.GET.get("page")),
        **links(request),
        "form": form,
    }
    status = status_of(form)
    return render(request, "maintenance/planned_stops.html", context, status=status)


def _page(
    request: SignedIn,
    planned: PlannedStop,
    *,
    correct: CorrectPlannedForm | None = None,
    withdraw: WhyForm | None = None,
) -> HttpResponse:
    may = may_declare_planned_stop(request.user, planned.place)
    context = {
        "planned": planned,
        "correct": correct,
        "withdraw": (withdraw or WhyForm()) if may else None,
        "changes": trail.changes_of(planned),
    }
    status = status_of(correct, withdraw)
    return render(request, "maintenance/planned_stop.html", context, status=status)


def _planned(pk: int) -> PlannedStop:
    related = ("area", "line__area", "cell__line__area", "reason", "declared_by")
    return get_object_or_404(PlannedStop.objects.select_related(*related), pk=pk)


def _rows(stops: Any) -> Iterator[list[object]]:
    for one in stops.iterator(chunk_size=2000):
        yield [
            one.ref,
            one.place.code,
            plant_time(one.starts_at),
            plant_time(one.ends_at),
            one.reason.code,
            plant_time(one.declared_at),
            one.declared_by.get_username() if one.declared_by else "",
            one.withdrawn,
        ]
