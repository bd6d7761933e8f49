"""Readings that ask a question, and one reading's page."""

from collections.abc import Callable
from datetime import timedelta

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from cells import clock, meters, rights, trail
from cells.downloads import csv_response
from cells.forms import CorrectReadingForm
from cells.models import Reading
from cells.plant_forms import PlantForm, WhyForm
from cells.rights import Role, SignedIn
from cells.views.doors import csv_url, done, sent, status_of

DAYS_SHOWN = 7
MOST_SHOWN = 500


@require_safe
def readings(request: SignedIn) -> HttpResponse:
    """Those to be confirmed, all of them; then what was entered this week."""
    all_readings = Reading.objects.select_related("meter__machine", "by")
    questioned = all_readings.questioned().order_by("read_at")
    since = clock.now() - timedelta(days=DAYS_SHOWN)
    latest = all_readings.counting().filter(read_at__gte=since).order_by("-read_at")
    if "csv" in request.GET:
        return _csv(questioned)
    context = {
        "questioned": questioned,
        "latest": latest[:MOST_SHOWN],
        "latest_found": latest.count(),
        "days": DAYS_SHOWN,
        "may_confirm": rights.has_role(request.user, Role.PLANNER),
        "csv_url": csv_url(request),
    }
    return render(request, "cells/readings.html", context)


def reading(request: SignedIn, pk: int) -> HttpResponse:
    """Confirm, correct or withdraw it; the button says which."""
    readings = Reading.objects.select_related("meter__machine", "by")
    reading = get_object_or_404(readings, pk=pk)
    forms = _forms(reading)
    status = 200
    if request.method == "POST":
        do = request.POST.get("do", "")
        if do not in forms:
            raise BadRequest(f"A reading's page has no button {do!r}.")
        forms[do] = type(forms[do])(sent(request), auto_id=f"{do}_%s")
        if _did(request, do, forms[do], reading):
            return redirect(reverse("reading", args=[pk]))
        status = status_of(forms[do])
        reading.refresh_from_db()
    may_correct = reading.by_id == request.user.pk and meters.may_read_meters(
        request.user
    )
    may_confirm = rights.has_role(request.user, Role.PLANNER)
    context = {
        "reading": reading,
        "forms": forms,
        "may_confirm": may_confirm and not reading.confirmed,
        "may_correct": may_correct or may_confirm,
        "changes": trail.changes_of(reading),
    }
    return render(request, "cells/reading.html", context, status=status)


def _forms(reading: Reading) -> dict[str, PlantForm]:
    initial = {"value": reading.value.normalize(), "read_at": reading.read_at}
    return {
        "confirm": WhyForm(auto_id="confirm_%s"),
        "correct": CorrectReadingForm(initial=initial, auto_id="correct_%s"),
        "withdraw": WhyForm(auto_id="withdraw_%s"),
    }


def _did(request: SignedIn, do: str, form: PlantForm, reading: Reading) -> bool:
    verbs: dict[str, Callable[..., None]] = {
        "confirm": meters.confirm_reading,
        "correct": meters.correct_reading,
        "withdraw": meters.withdraw_reading,
    }
    if not done(
        form, lambda **facts: verbs[do](reading=reading, by=request.user, **facts)
    ):
        return False
    if do == "correct" and not reading.confirmed:
        messages.warning(request, reading.question)
    else:
        past = {"confirm": "confirmed", "correct": "corrected", "withdraw": "withdrawn"}
        messages.success(request, f"The reading is {past[do]}.")
    return True


def _csv(questioned: QuerySet[Reading]) -> HttpResponse:
    header = ["serial", "meter", "read_at", "value", "question", "by"]
    rows = (
        (
            reading.meter.machine.serial,
            reading.meter.name,
            reading.read_at,
            reading.value,
            reading.question,
            reading.by.get_username() if reading.by else "",
        )
        for reading in questioned
    )
    return csv_response("questioned-readings", header, rows)
