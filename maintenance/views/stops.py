"""The list of stops, and the page of one."""

from collections.abc import Iterator
from datetime import datetime

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Sum
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from cells import trail
from cells.downloads import csv_response
from cells.plant_forms import PlantForm, WhyForm
from cells.rights import SignedIn
from cells.views.doors import UNPROCESSABLE, done
from maintenance import timeline
from maintenance.forms.lists import StopFilter
from maintenance.forms.stops import CorrectStopForm
from maintenance.models import Stop
from maintenance.models.stops import StopQuerySet
from maintenance.rights import (
    REPAIR_FIELDS,
    ids_that_may_be_ended,
    may_correct_stop,
    may_correct_times,
    need_to_correct_stop,
    need_to_correct_times,
)
from maintenance.stops import FACTS, correct_stop, reinstate_stop, withdraw_stop
from maintenance.views.stopped import taps

PAGE = 50

MOMENTS = ("started_at", "ended_at", *Stop.TIMELINE[1:])
COLUMNS = (
    "ref",
    "area",
    "line",
    "cell",
    "position",
    "reason",
    "loss_class",
    *MOMENTS,
    "seconds",
    "parts_wait_s",
    "cause",
    "note",
    "withdrawn",
    "logged_by",
)


@require_GET
def stop_list(request: SignedIn) -> HttpResponse:
    wanted = StopFilter(request.GET)
    stops = wanted.stops()
    if request.GET.get("csv"):
        return csv_response("stops", COLUMNS, _rows(stops))
    page = Paginator(stops, PAGE).get_page(request.GET.get("page"))
    tallies = wanted.tallies()
    context = {
        "filter": wanted,
        "page": page,
        "tallied": tallies.aggregate(rows=Count("pk"), times=Sum("times")),
        "tallies": tallies[:PAGE],
        **links(request),
    }
    return render(request, "maintenance/stops.html", context)


def stop(request: SignedIn, pk: int) -> HttpResponse:
    one = _stop(pk)
    may_change = _may_change(request, one)
    if request.method != "POST":
        form = CorrectStopForm(stop=one, may_change=may_change) if may_change else None
        return _page(request, one, correct=form)
    if may_change != FACTS:
        need_to_correct_times(request.user, one)
        if set(request.POST) & set(FACTS) - set(may_change) and not one.withdrawn:
            # The form would leave them out, and say that they are saved.
            need_to_correct_stop(request.user, one)
    form = CorrectStopForm(request.POST, stop=one, may_change=may_change)
    if done(
        form,
        lambda **facts: correct_stop(stop=one, by=request.user, **facts),
    ):
        messages.success(request, "The correction is saved, with its trail.")
        return redirect(one)
    return _page(request, one, correct=form)


@require_POST
def stop_withdraw(request: SignedIn, pk: int) -> HttpResponse:
    one = _stop(pk)
    need_to_correct_stop(request.user, one)
    form = _why_form("withdraw", request.POST)
    if done(form, lambda **facts: withdraw_stop(stop=one, by=request.user, **facts)):
        messages.success(request, "The stop is withdrawn and stays readable here.")
        return redirect(one)
    return _page(request, one, withdraw=form)


@require_POST
def stop_reinstate(request: SignedIn, pk: int) -> HttpResponse:
    one = _stop(pk)
    need_to_correct_stop(request.user, one)
    form = _why_form("reinstate", request.POST)
    if done(form, lambda **facts: reinstate_stop(stop=one, by=request.user, **facts)):
        messages.success(request, "The stop counts again.")
        return redirect(one)
    return _page(request, one, reinstate=form)


def _stop(pk: int) -> Stop:
    related = ("cell__line__area", "reason", "logged_by")
    return get_object_or_404(Stop.objects.select_related(*related), pk=pk)


def _may_change(request: SignedIn, one: Stop) -> tuple[str, ...]:
    if one.withdrawn:
        return ()
    if may_correct_stop(request.user, one):
        return FACTS
    return REPAIR_FIELDS if may_correct_times(request.user, one) else ()


def _why_form(do: str, data: QueryDict | None = None) -> WhyForm:
    """Beside the correction, which asks for a reason in a field of that id too."""
    return WhyForm(data, auto_id=f"{do}_%s")


def _page(
    request: SignedIn,
    one: Stop,
    *,
    correct: CorrectStopForm | None = None,
    withdraw: WhyForm | None = None,
    reinstate: WhyForm | None = None,
) -> HttpResponse:
    """The record, with the forms that this person may use; a refused one first."""
    may_correct = may_correct_stop(request.user, one)
    context = {
        "stop": one,
        "parts": timeline.parts(one),
        "down_s": timeline.down_s(one),
        "taps": taps(request, one) if one.is_running else [],
        "may_end": one.pk in ids_that_may_be_ended(request.user, [one]),
        "correct": correct,
        "withdraw": (withdraw or _why_form("withdraw")) if may_correct else None,
        "reinstate": (reinstate or _why_form("reinstate")) if may_correct else None,
        "changes": trail.changes_of(one),
    }
    status = status_of(correct, withdraw, reinstate)
    return render(request, "maintenance/stop.html", context, status=status)


def status_of(*forms: PlantForm | None) -> int:
    """Of a page with these forms: one of them was sent and refused, or none."""
    refused = any(form is not None and form.is_bound for form in forms)
    return UNPROCESSABLE if refused else 200


def _rows(stops: StopQuerySet) -> Iterator[list[object]]:
    for one in stops.iterator(chunk_size=2000):
        yield [
            one.ref,
            one.cell.line.area.code,
            one.cell.line.code,
            one.cell.code,
            one.position,
            one.reason.code,
            one.reason.loss_class,
            *(plant_time(getattr(one, name)) for name in MOMENTS),
            one.length_s if one.ended_at else None,
            one.parts_wait_s,
            one.cause,
            one.note,
            one.withdrawn,
            one.logged_by.get_username() if one.logged_by else "",
        ]


def plant_time(moment: datetime | None) -> datetime | None:
    return moment and timezone.localtime(moment)


def links(request: SignedIn) -> dict[str, str]:
    """The filter as it stands, for the links to other pages and to the CSV."""
    query = request.GET.copy()
    query.pop("page", None)
    return {"query": query.urlencode(), "csv_url": f"?{query.urlencode()}&csv=1"}
