"""How many bodies a line is to build, shift by shift."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from cells import clock
from cells.downloads import csv_response
from cells.models import Change, Line, Shift
from cells.rights import SignedIn
from cells.views.doors import status_of
from oee.forms.cycles import PlanForm, bodies_of
from oee.plans import set_plan
from oee.rights import may_plan_output, need_to_plan_output

WEEKS = timedelta(weeks=4)
CHANGES_SHOWN = 100

COLUMNS = ("line", "date", "shift", "bodies")


def line_plan(request: SignedIn, code: str) -> HttpResponse:
    line = get_object_or_404(Line.objects.select_related("area"), code=code)
    shifts = _shifts(line)
    if request.method == "POST":
        need_to_plan_output(request.user)
        form = PlanForm(request.POST, shifts=shifts)
        changed = _saved(request, form)
        if changed:
            messages.success(
                request, f"{changed} shift{'s' if changed > 1 else ''} planned."
            )
            return redirect("line_plan", code)
        return _page(request, line, shifts, form)
    if request.GET.get("csv"):
        return csv_response(f"plan-{line.code}", COLUMNS, _rows(shifts))
    may = may_plan_output(request.user)
    return _page(request, line, shifts, PlanForm(shifts=shifts) if may else None)


def _shifts(line: Line) -> list[Shift]:
    """Of the last and the next four weeks. One that was cancelled has no plan."""
    today = clock.today()
    shifts = line.shifts.worked().filter(
        production_date__gte=today - WEEKS, production_date__lt=today + WEEKS
    )
    return list(shifts.select_related("line", "plan"))


def _saved(request: SignedIn, form: PlanForm) -> int:
    """How many were changed: all of what was typed, or nothing."""
    if not form.is_valid():
        return 0
    if not form.changed():
        form.add_error(None, "No number was changed: there is nothing to save.")
        return 0
    why = form.cleaned_data["why"]
    with transaction.atomic():
        for name in form.changed():
            try:
                set_plan(
                    shift=form.shifts[name],
                    bodies=form.cleaned_data[name],
                    why=why,
                    by=request.user,
                )
            except ValidationError as error:
                _refuse(form, name, error)
        if form.errors:
            transaction.set_rollback(True)
            return 0
    return len(form.changed())


def _refuse(form: PlanForm, name: str, error: ValidationError) -> None:
    """Beside the shift's number; a missing reason beside the reason, said once."""
    for field, sentences in error.message_dict.items():
        if field == "why" and form.has_error("why"):
            continue
        form.add_error("why" if field == "why" else name, ValidationError(sentences))


def _page(
    request: SignedIn, line: Line, shifts: list[Shift], form: PlanForm | None
) -> HttpResponse:
    today = clock.today()
    to_come = [shift for shift in shifts if shift.production_date >= today]
    past = [shift for shift in shifts if shift.production_date < today]
    plans = [shift.plan.pk for shift in shifts if bodies_of(shift) is not None]
    changes = Change.objects.filter(kind="productionplan", record_id__in=plans)
    context = {
        "line": line,
        "to_come": _with_fields(to_come, form),
        "past": _with_fields(past[::-1], form),
        "form": form,
        "changes": changes.select_related("by")[:CHANGES_SHOWN],
        "changes_shown": CHANGES_SHOWN,
    }
    status = status_of(form) if form else 200
    return render(request, "oee/plan.html", context, status=status)


def _with_fields(shifts: list[Shift], form: PlanForm | None) -> list[dict[str, Any]]:
    """The field is None for who may only read."""
    return [
        {
            "shift": shift,
            "bodies": bodies_of(shift),
            "field": form[f"shift_{shift.pk}"] if form else None,
        }
        for shift in shifts
    ]


def _rows(shifts: list[Shift]) -> Iterator[tuple[object, ...]]:
    for shift in shifts:
        yield shift.line.code, shift.production_date, shift.name, bodies_of(shift)
