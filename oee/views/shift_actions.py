"""What the buttons of the shift page do: read the form, call the verb, say so.

Each action returns nothing when it is done, or the form that was refused. A verb
that refuses a one-tap button has no field to stand beside: it becomes a message.
"""

from collections.abc import Callable
from typing import Any, TypeVar

from django import forms
from django.contrib import messages
from django.core.exceptions import BadRequest, ValidationError
from django.db import transaction
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from cells.models import Cell, WorkedBreak
from cells.plant_forms import add_errors
from cells.shifts import withdraw_worked_break, work_through_break
from cells.templatetags.figures import clock
from maintenance import confirmations, stops, tallies
from maintenance.forms.stops import StartStopForm
from maintenance.models import Stop, Tally
from maintenance.rights import need_to_correct_tally
from oee import counts
from oee.shift_page import ShiftPage
from oee.views.shift_forms import make_form

T = TypeVar("T")

Refused = forms.Form | None
Action = Callable[[HttpRequest, ShiftPage], Refused]


def start(request: HttpRequest, page: ShiftPage) -> Refused:
    form = StartStopForm({**request.POST.dict(), "cell": _open_cell(page).pk})
    if not form.is_valid():
        return _say(request, form)
    facts = form.cleaned_data
    try:
        stop = stops.start_stop(**facts, by=page.user)
    except ValidationError as error:
        return _say(request, form, error)
    words = f"{stop.cell}: “{stop.reason}” stands since {clock(stop.started_at)}."
    messages.success(request, words)
    return None


def end(request: HttpRequest, page: ShiftPage) -> Refused:
    stop = get_object_or_404(
        Stop.objects.select_related("cell__line__area", "reason"),
        pk=_number(request, "stop"),
    )
    try:
        stop = stops.end_stop(stop=stop, by=page.user)
    except ValidationError as error:
        return _say(request, forms.Form({}), error)
    words = f"{stop.cell}: “{stop.reason}” ended at {clock(stop.ended_at)}."
    messages.success(request, words)
    return None


def log_stop(request: HttpRequest, page: ShiftPage) -> Refused:
    cell = _open_cell(page)
    form = make_form(page, "stop", request.POST)
    return _run(
        request,
        form,
        lambda: stops.log_stop(**form.facts(), by=page.user),  # type: ignore[attr-defined]
        f"Stop of {cell} logged.",
    )


def log_tally(request: HttpRequest, page: ShiftPage) -> Refused:
    cell = _open_cell(page)
    form = make_form(page, "tally", request.POST)
    return _run(
        request,
        form,
        lambda: tallies.log_tally(**form.facts(), by=page.user),  # type: ignore[attr-defined]
        f"Tally of {cell} logged.",
    )


def correct_tally(request: HttpRequest, page: ShiftPage) -> Refused:
    tally = _tally_to_change(page)
    form = make_form(page, "correct_tally", request.POST)
    return _run(
        request,
        form,
        lambda: tallies.correct_tally(
            tally=tally,
            changes=form.changes(),  # type: ignore[attr-defined]
            why=form.cleaned_data["why"],
            seen=form.cleaned_data["seen"],
            by=page.user,
        ),
        f"Tally “{tally.reason}” of {tally.cell} corrected.",
    )


def withdraw_tally(request: HttpRequest, page: ShiftPage) -> Refused:
    tally = _tally_to_change(page)
    form = make_form(page, "withdraw_tally", request.POST)
    return _run(
        request,
        form,
        lambda: tallies.withdraw_tally(
            tally=tally, why=form.cleaned_data["why"], by=page.user
        ),
        f"Tally “{tally.reason}” of {tally.cell} withdrawn.",
    )


def enter_count(request: HttpRequest, page: ShiftPage) -> Refused:
    form = make_form(page, "count", request.POST)
    return _run(
        request,
        form,
        lambda: counts.enter_count(shift=page.shift, **form.facts(), by=page.user),  # type: ignore[attr-defined]
        "Count entered.",
    )


def correct_count(request: HttpRequest, page: ShiftPage) -> Refused:
    count = _known(page.open_count)
    form = make_form(page, "correct_count", request.POST)
    return _run(
        request,
        form,
        lambda: counts.correct_count(count=count, **form.facts(), by=page.user),  # type: ignore[attr-defined]
        f"Count of {count.variant} at {count.at} corrected.",
    )


def withdraw_count(request: HttpRequest, page: ShiftPage) -> Refused:
    count = _known(page.open_count)
    form = make_form(page, "withdraw_count", request.POST)
    return _run(
        request,
        form,
        lambda: counts.withdraw_count(count=count, **form.facts(), by=page.user),  # type: ignore[attr-defined]
        f"Count of {count.variant} at {count.at} withdrawn.",
    )


def work_break(request: HttpRequest, page: ShiftPage) -> Refused:
    """The cell ran through this break, or it took it after all: sent twice, no more."""
    cell = _open_cell(page)
    pk = _number(request, "break")
    rest = _known(next((rest for rest in page.rests if rest.pk == pk), None))
    worked = WorkedBreak.objects.filter(
        cell=cell, shift=page.shift, break_start=rest.starts_at, withdrawn=False
    ).first()
    span = f"{clock(rest.starts_at)} to {clock(rest.ends_at)}"
    if request.POST.get("taken") != "yes":
        work_through_break(
            cell=cell, shift=page.shift, break_start=rest.starts_at, by=page.user
        )
        messages.success(request, f"{cell} worked through the break {span}.")
        return None
    if worked is not None:
        withdraw_worked_break(worked=worked, by=page.user, why="taken after all")
    messages.success(request, f"{cell} took the break {span}.")
    return None


def confirm(request: HttpRequest, page: ShiftPage) -> Refused:
    form = make_form(page, "confirm", request.POST)

    @transaction.atomic
    def confirm_all() -> None:
        for stop, ended_at in form.ended():  # type: ignore[attr-defined]
            stops.end_stop(stop=stop, at=ended_at, by=page.user)
        confirmations.confirm_shift(
            shift=page.shift,
            still_running=form.still_running(),  # type: ignore[attr-defined]
            by=page.user,
        )

    return _run(request, form, confirm_all, f"{page.shift} confirmed.")


ACTIONS: dict[str, Action] = {
    "start": start,
    "end": end,
    "stop": log_stop,
    "tally": log_tally,
    "correct_tally": correct_tally,
    "withdraw_tally": withdraw_tally,
    "count": enter_count,
    "correct_count": correct_count,
    "withdraw_count": withdraw_count,
    "work_break": work_break,
    "confirm": confirm,
}


def _run(
    request: HttpRequest, form: forms.Form, verb: Callable[[], Any], done: str
) -> Refused:
    if not form.is_valid():
        return form
    try:
        verb()
    except ValidationError as error:
        add_errors(form, error)
        return form
    messages.success(request, done)
    return None


def _say(
    request: HttpRequest, form: forms.Form, error: ValidationError | None = None
) -> forms.Form:
    sentences = (
        error.messages
        if error
        else [str(fault) for faults in form.errors.values() for fault in faults]
    )
    for sentence in sentences:
        messages.error(request, sentence)
    return form


def _open_cell(page: ShiftPage) -> Cell:
    return _known(page.cell)


def _tally_to_change(page: ShiftPage) -> Tally:
    tally = _known(page.asked_tally)
    need_to_correct_tally(page.user, tally)
    return tally


def _number(request: HttpRequest, name: str) -> int:
    sent = request.POST.get(name, "")
    if not sent.isdecimal() or len(sent) > 18:
        raise BadRequest(f"{name} ({sent!r}) is not a number.")
    return int(sent)


def _known(thing: T | None) -> T:
    if thing is None:
        raise BadRequest("The form was about something that is not on this page.")
    return thing
