"""A door to a verb: a form of its own page, what it does, and where it leads.

Used by every page that asks for one thing and does it.
"""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import IntegrityError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from cells.plant_forms import PlantForm, add_errors

UNPROCESSABLE = 422

#: Of two who enter the same at the same moment, PostgreSQL tells the second so.
UNIQUE_VIOLATION = "23505"
SAVED_AT_ONCE = (
    "Somebody else entered the same at this moment, so yours was not saved: load the "
    "page again and see what stands there."
)


def door(
    request: HttpRequest,
    form: PlantForm,
    do: Callable[..., Any],
    *,
    lead: str,
    back: str,
    said: str,
    action: str = "Save",
    warning: str = "",
    then: Callable[[Any], str] | None = None,
) -> HttpResponse:
    """Ask, do, say so and go back, or where ``then`` says of what the verb returned.

    What is refused stays on the page.
    """
    results = done(form, do)
    if results:
        messages.success(request, said)
        return redirect(then(results[0]) if then else back)
    context = {
        "form": form,
        "lead": lead,
        "back": back,
        "action": action,
        "warning": warning,
    }
    return render(request, "cells/form.html", context, status=status_of(form))


def done(form: PlantForm, do: Callable[..., Any]) -> list[Any]:
    """What the verb returned, in a list of one; empty if it was not sent or refused."""
    if not form.is_bound or not form.is_valid():
        return []
    try:
        return [do(**form.facts())]
    except ValidationError as error:
        add_errors(form, error)
    except IntegrityError as error:
        if getattr(error.__cause__, "sqlstate", "") != UNIQUE_VIOLATION:
            raise
        form.add_error(None, SAVED_AT_ONCE)
    return []


def status_of(form: PlantForm) -> int:
    return UNPROCESSABLE if form.is_bound else 200


def sent(request: HttpRequest) -> Any:
    """The data of a form that was sent, else None."""
    return request.POST if request.method == "POST" else None


def csv_url(request: HttpRequest) -> str:
    """This page's rows, filtered as they are, as CSV."""
    query = request.GET.copy()
    query["csv"] = "1"
    return f"?{query.urlencode()}"
