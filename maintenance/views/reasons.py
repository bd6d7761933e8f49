"""Reasons: listed, added, changed, retired."""

from collections.abc import Callable, Iterator

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from cells import trail
from cells.downloads import csv_response
from cells.plant_forms import WhyForm
from cells.rights import SignedIn
from cells.views.doors import done
from maintenance.forms.reasons import AddReasonForm, ChangeReasonForm
from maintenance.models import Reason
from maintenance.reasons import (
    add_reason,
    change_reason,
    is_used,
    offer_reason_again,
    retire_reason,
)
from maintenance.rights import may_edit_reasons, need_to_edit_reasons
from maintenance.views.stops import status_of

COLUMNS = ("code", "name", "loss_class", "group", "subgroup", "retired_on")


def reasons(request: SignedIn) -> HttpResponse:
    form = AddReasonForm() if may_edit_reasons(request.user) else None
    if request.method == "POST":
        need_to_edit_reasons(request.user)
        form = AddReasonForm(request.POST)
        if done(form, lambda **facts: add_reason(by=request.user, **facts)):
            messages.success(request, f"“{form.cleaned_data['name']}” can be chosen.")
            return redirect("reasons")
    known = Reason.objects.all()
    if request.GET.get("csv"):
        return csv_response("reasons", COLUMNS, _rows(known))
    context = {"reasons": known, "form": form}
    status = status_of(form)
    return render(request, "maintenance/reasons.html", context, status=status)


def reason(request: SignedIn, code: str) -> HttpResponse:
    one = get_object_or_404(Reason, code=code)
    form = ChangeReasonForm(reason=one) if may_edit_reasons(request.user) else None
    if request.method == "POST":
        need_to_edit_reasons(request.user)
        form = ChangeReasonForm(request.POST, reason=one)
        if done(
            form,
            lambda **facts: change_reason(reason=one, by=request.user, **facts),
        ):
            messages.success(request, "The change is saved, with its trail.")
            return redirect("reason", one.code)
    return _page(request, one, change=form)


@require_POST
def reason_retire(request: SignedIn, code: str) -> HttpResponse:
    return _set_offered(request, code, retire_reason)


@require_POST
def reason_offer(request: SignedIn, code: str) -> HttpResponse:
    """Again, one that is retired."""
    return _set_offered(request, code, offer_reason_again)


def _set_offered(
    request: SignedIn, code: str, act: Callable[..., Reason]
) -> HttpResponse:
    one = get_object_or_404(Reason, code=code)
    need_to_edit_reasons(request.user)
    form = WhyForm(request.POST)
    if done(form, lambda **facts: act(reason=one, by=request.user, **facts)):
        messages.success(request, "The change is saved, with its trail.")
        return redirect("reason", one.code)
    return _page(request, one, retire=form)


def _page(
    request: SignedIn,
    one: Reason,
    *,
    change: ChangeReasonForm | None = None,
    retire: WhyForm | None = None,
) -> HttpResponse:
    may = may_edit_reasons(request.user)
    context = {
        "reason": one,
        "used": is_used(one),
        "change": change,
        "retire": (retire or WhyForm()) if may else None,
        "changes": trail.changes_of(one),
    }
    status = status_of(change, retire)
    return render(request, "maintenance/reason.html", context, status=status)


def _rows(known: QuerySet[Reason]) -> Iterator[list[object]]:
    for one in known:
        yield [getattr(one, column) for column in COLUMNS]
