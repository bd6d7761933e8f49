"""The leader's shift page: what stopped, what was built, what is left unexplained."""

from collections.abc import Mapping
from datetime import date, timedelta

from django.core.exceptions import BadRequest
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_http_methods

from cells import clock
from cells.models import Line, Shift
from cells.rights import SignedIn, leads
from maintenance.models import Reason
from oee.models import Variant
from oee.running import with_marks
from oee.shift_choice import best_shift
from oee.shift_page import ShiftPage, shift_url
from oee.views.shift_actions import ACTIONS
from oee.views.shift_forms import ShiftForms

UNPROCESSABLE = 422

NEAR = timedelta(days=5)


@require_GET
def my_shift(request: SignedIn) -> HttpResponse:
    """To the shift of the line that one leads, or of ``?line=``; else a choice."""
    lines = list(Line.objects.select_related("area"))
    own = [line for line in lines if leads(request.user, line)]
    asked = request.GET.get("line")
    if "choose" in request.GET:
        return _choice(request, lines, own)
    if asked is not None:
        line = get_object_or_404(Line, code=asked)
        shift = best_shift(line, now=clock.now(), at_the_log="cell" not in request.GET)
    elif len(own) == 1:
        line = own[0]
        shift = best_shift(line, now=clock.now(), at_the_log=True)
    else:
        return _choice(request, lines, own)
    if shift is None:
        return _choice(request, lines, own, without_shift=line)
    query = urlencode({"cell": request.GET["cell"]}) if "cell" in request.GET else ""
    return redirect(f"{shift_url(shift)}{'?' if query else ''}{query}")


def _choice(
    request: SignedIn,
    lines: list[Line],
    own: list[Line],
    without_shift: Line | None = None,
) -> HttpResponse:
    context = {
        "own": own,
        "others": [line for line in lines if line not in own],
        "without_shift": without_shift,
    }
    return render(request, "oee/shift_choice.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def shift(request: SignedIn, line: str, day: date, name: str) -> HttpResponse:
    page = page_of(request, day, name, line__code=line, asked=request.GET)
    if page.cell is None and "cell" in request.GET:
        raise Http404(f"Line {line} has no cell {request.GET['cell']} in this shift.")
    forms = ShiftForms(page)
    refused = None
    if request.method == "POST":
        do = request.POST.get("do", "")
        if do not in ACTIONS:
            raise BadRequest(f"The shift page has no button {do!r}.")
        refused = ACTIONS[do](request, page)
        if refused is None:
            return redirect(page.here)
        forms[do] = refused
    template = "oee/shift_cell.html" if page.cell else "oee/shift.html"
    context = {"page": page, "forms": forms, "refused": refused}
    return render(request, template, context, status=UNPROCESSABLE if refused else 200)


@require_GET
def sheet(request: SignedIn, line: str, day: date, name: str) -> HttpResponse:
    """Blank, to print and write on while the system is off."""
    page = page_of(request, day, name, line__code=line)
    context = {
        "page": page,
        "reasons": Reason.objects.for_stops(),
        "variants": Variant.objects.all(),
        "stop_rows": range(16),
        "tally_rows": range(6),
    }
    return render(request, "oee/shift_sheet.html", context)


def page_of(
    request: SignedIn,
    day: date,
    name: str,
    *,
    asked: Mapping[str, str] | None = None,
    **of_line: str,
) -> ShiftPage:
    """The shift with its neighbours in time, most often in one query."""
    related = (
        "line__area",
        "line__counting_cell",
        "confirmation__confirmed_by",
        "plan",
    )
    shifts = with_marks(Shift.objects.filter(**of_line).select_related(*related))
    days = (day - NEAR, day + NEAR)
    near = list(shifts.filter(production_date__range=days).order_by("starts_at", "pk"))
    keys = [(shift.production_date, shift.name) for shift in near]
    if (day, name) not in keys:
        raise Http404(f"There is no shift {name} on {day} there.")
    place = keys.index((day, name))
    shift = near[place]
    earlier, later = near[:place], near[place + 1 :]
    if not earlier:
        before = shifts.filter(starts_at__lt=shift.starts_at)
        earlier = list(before.order_by("-starts_at")[:1])
    if not later:
        after = shifts.filter(starts_at__gt=shift.starts_at)
        later = list(after.order_by("starts_at")[:1])
    return ShiftPage(
        shift=shift,
        before=earlier[-1] if earlier else None,
        after=later[0] if later else None,
        user=request.user,
        asked=asked,
    )
