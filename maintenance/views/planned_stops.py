"""Planned stops: listed, declared, corrected, withdrawn."""

from collections.abc import Iterator
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from cells.downloads import csv_response
from maintenance.forms.faults import accepted
from maintenance.forms.lists import PlannedFilter
from maintenance.forms.planned_stops import CorrectPlannedForm, DeclareForm
from maintenance.forms.stops import WhyForm
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
from maintenance.views.stops import changes_of, links, plant_time

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


def planned_stops(request: HttpRequest) -> HttpResponse:
    if request.method == "POST":
        return _declare(request)
    may = may_declare_somewhere(request.user)
    return _list(request, DeclareForm(user=request.user) if may else None)


def planned_stop(request: HttpRequest, pk: int) -> HttpResponse:
    planned = _planned(pk)
    may = may_declare_planned_stop(request.user, planned.place)
    if request.method != "POST":
        form = None
        if may and not planned.withdrawn:
            form = CorrectPlannedForm(planned=planned, user=request.user)
        return _page(request, planned, correct=form)
    need_to_declare_planned_stop(request.user, planned.place)
    form = CorrectPlannedForm(request.POST, planned=planned, user=request.user)
    if form.is_valid() and accepted(
        form,
        lambda: correct_planned_stop(
            planned=planned,
            changes=form.changes(),
            why=form.cleaned_data["why"],
            long_ok=form.cleaned_data["long_ok"],
            by=request.user,
        ),
    ):
        messages.success(request, "The correction is saved, with its trail.")
        return redirect("planned_stop", planned.pk)
    return _page(request, planned, correct=form)


@require_POST
def planned_stop_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    planned = _planned(pk)
    need_to_declare_planned_stop(request.user, planned.place)
    form = WhyForm(request.POST)
    if form.is_valid() and accepted(
        form,
        lambda: withdraw_planned_stop(
            planned=planned, by=request.user, **form.cleaned_data
        ),
    ):
        messages.success(request, "It is withdrawn and stays readable here.")
        return redirect("planned_stop", planned.pk)
    return _page(request, planned, withdraw=form)


def _declare(request: HttpRequest) -> HttpResponse:
    need_to_declare_somewhere(request.user)
    form = DeclareForm(request.POST, user=request.user)
    if form.is_valid() and accepted(
        form, lambda: declare_planned_stop(by=request.user, **form.facts())
    ):
        messages.success(request, "The planned stop is declared.")
        return redirect("planned_stops")
    return _list(request, form)


def _list(request: HttpRequest, form: DeclareForm | None) -> HttpResponse:
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
    return render(request, "maintenance/planned_stops.html", context)


def _page(
    request: HttpRequest,
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
        "changes": changes_of(planned),
    }
    return render(request, "maintenance/planned_stop.html", context)


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
