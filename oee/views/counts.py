"""A line's counts of a period; those outside shifts are entered and mended here.

What was counted in a shift is corrected on the shift's page, to which its row leads.
"""

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from cells import clock, trail
from cells.downloads import csv_response
from cells.models import Line
from cells.plant_forms import PlantForm, WhyForm
from cells.rights import SignedIn
from cells.views.doors import done
from maintenance.views.stops import links, plant_time, status_of
from oee import counts
from oee.forms.counts import (
    CorrectCountForm,
    CountBetweenForm,
    CountFilter,
    Place,
    places_of,
)
from oee.models import Count, Variant
from oee.rights import may_count, need_to_count

PAGE = 100

COLUMNS = (
    "at",
    "date",
    "shift",
    "starts_at",
    "ends_at",
    "variant",
    "total",
    "good",
    "rework",
    "scrap",
    "entered_at",
    "entered_by",
    "withdrawn",
)


#: What a button sends: the verb, and what is said once it is done.
DO: dict[str, tuple[Callable[..., Count], str]] = {
    "correct_count": (
        counts.correct_count,
        "The correction is saved, with its trail.",
    ),
    "withdraw_count": (
        counts.withdraw_count,
        "It is withdrawn and stays readable here.",
    ),
}


def line_counts(request: SignedIn, code: str) -> HttpResponse:
    line = get_object_or_404(Line.objects.select_related("area"), code=code)
    if request.method == "POST":
        return _entered(request, line)
    if request.GET.get("csv"):
        rows = _rows(CountFilter(request.GET).counts(line))
        return csv_response(f"counts-{line.code}", COLUMNS, rows)
    may = may_count(request.user, line, clock.now())
    return _list(request, line, _form(line) if may else None)


def count_between(request: SignedIn, pk: int) -> HttpResponse:
    """One count outside shifts: correct it, withdraw it, its trail."""
    outside = Count.objects.filter(shift=None)
    related = ("cell__line__area", "line__area", "variant", "entered_by")
    count = get_object_or_404(outside.select_related(*related), pk=pk)
    if request.method != "POST":
        return _page(request, count)
    do = request.POST.get("do", "")
    if do not in DO:
        raise BadRequest(f"A count's page has no button {do!r}.")
    need_to_count(request.user, _line_of(count), _until(count))
    verb, said = DO[do]
    form = _forms(count, request.POST)[do]
    if done(form, lambda **facts: verb(count=count, by=request.user, **facts)):
        messages.success(request, said)
        return redirect("count_between", pk)
    return _page(request, count, {do: form})


def _entered(request: SignedIn, line: Line) -> HttpResponse:
    need_to_count(request.user, line, clock.now())
    form = _form(line, request.POST)
    entered = done(form, lambda **facts: counts.enter_count(**facts, by=request.user))
    if not entered:
        return _list(request, line, form)
    messages.success(
        request,
        "Count entered. No shift was planned then, so it is unplanned output: no OEE "
        "rests on it, and the registry’s health lists it.",
    )
    return redirect("count_between", entered[0].pk)


def _form(line: Line, data: Any = None) -> CountBetweenForm:
    cells = list(line.cells.select_related("line__area"))
    return CountBetweenForm(
        data,
        places=[*places_of(line, cells), *(Place(at=cell) for cell in cells)],
        variants=Variant.objects.all(),
        asks_why=True,
    )


def _list(request: SignedIn, line: Line, form: CountBetweenForm | None) -> HttpResponse:
    wanted = CountFilter(request.GET)
    page = Paginator(wanted.counts(line), PAGE).get_page(request.GET.get("page"))
    context = {
        "line": line,
        "filter": wanted,
        "page": page,
        **links(request),
        "form": form,
    }
    return render(request, "oee/line_counts.html", context, status=status_of(form))


def _forms(count: Count, data: Any = None) -> dict[str, PlantForm]:
    return {
        "correct_count": CorrectCountForm(data, count=count, auto_id="correct_%s"),
        "withdraw_count": WhyForm(data, auto_id="withdraw_%s"),
    }


def _page(
    request: SignedIn, count: Count, refused: dict[str, PlantForm] | None = None
) -> HttpResponse:
    line = _line_of(count)
    may = may_count(request.user, line, _until(count))
    sent = next(iter(refused.values())) if refused else None
    context = {
        "count": count,
        "line": line,
        "may_change": may and not count.withdrawn,
        **_forms(count),
        **(refused or {}),
        "refused": sent,
        "back": reverse("line_counts", args=[line.code]),
        "changes": trail.changes_of(count),
    }
    return render(request, "oee/count_between.html", context, status=status_of(sent))


def _line_of(count: Count) -> Line:
    line = count.cell.line if count.cell else count.line
    assert line is not None  # the constraint on the table
    return line


def _until(count: Count) -> datetime:
    assert count.ends_at is not None  # the constraint on the table, outside shifts
    return count.ends_at


def _rows(listed: Iterable[Count]) -> Iterator[tuple[object, ...]]:
    for count in listed:
        yield (
            count.at,
            count.shift.production_date if count.shift else None,
            count.shift.name if count.shift else "",
            plant_time(count.starts_at),
            plant_time(count.ends_at),
            count.variant.code,
            count.total,
            count.good,
            count.rework,
            count.scrap,
            plant_time(count.entered_at),
            count.entered_by.get_username() if count.entered_by else "",
            count.withdrawn,
        )
