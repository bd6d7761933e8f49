"""When the plant means to run: the calendar's page and its doors."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from cells import calendar, clock, rights, shifts
from cells.downloads import csv_response
from cells.forms import (
    ChangePatternForm,
    DayOffForm,
    EndPatternForm,
    OneOffForm,
    PatternForm,
)
from cells.models import Area, DayOff, Line, OneOffShift, Shift, ShiftPattern
from cells.plant_forms import WhyForm
from cells.rights import SignedIn, may_edit_registry
from cells.views.doors import csv_url, door, sent

BACK_DAYS = 28  # how long what is over stays in the lists


@dataclass(frozen=True, kw_only=True)
class Worked:
    """A shift of one date as the weeks' table says it: which lines work it."""

    shift: Shift
    lines: list[str]
    all_lines: bool


@require_safe
def calendar_page(request: SignedIn) -> HttpResponse:
    """Of an area, or of one of its lines: ?area= and ?line=."""
    area, line = _place(request)
    if area is None:
        return render(request, "cells/calendar.html", {"areas": []})
    today = clock.today()
    lines = [line] if line else list(area.lines.all())
    upcoming = _upcoming(lines, today)
    if "csv" in request.GET:
        return _csv(area, upcoming)
    here = Q(area=area, line=None) | Q(line__in=lines)
    recent = today - timedelta(days=BACK_DAYS)
    context = {
        "areas": Area.objects.all(),
        "area": area,
        "line": line,
        "lines": area.lines.all(),
        "patterns": ShiftPattern.objects.filter(here)
        .filter(Q(valid_to=None) | Q(valid_to__gte=recent))
        .select_related("area", "line"),
        "days_off": DayOff.objects.filter(here | Q(area=None, line=None))
        .filter(date__gte=recent)
        .select_related("area", "line"),
        "one_offs": OneOffShift.objects.filter(here)
        .filter(starts_on__gte=recent)
        .select_related("area", "line"),
        "weeks": _weeks(upcoming, len(lines), today),
        "may_edit": may_edit_registry(request.user),
        "csv_url": csv_url(request),
    }
    return render(request, "cells/calendar.html", context)


def pattern_add(request: SignedIn) -> HttpResponse:
    _need_planner(request)
    initial = {
        "area": request.GET.get("area"),
        "line": request.GET.get("line"),
        "valid_from": clock.today() + timedelta(days=1),
    }
    return door(
        request,
        PatternForm(sent(request), initial=initial),
        lambda **facts: calendar.add_pattern(**facts, by=request.user),
        lead="Add a shift pattern.",
        back=_back(request.POST.get("area"), request.POST.get("line")),
        said="The pattern holds, and its shifts are stored.",
        warning="From a date in the past on, it makes the shifts of the past too.",
    )


def pattern_change(request: SignedIn, pk: int) -> HttpResponse:
    _need_planner(request)
    pattern = _pattern(pk)
    names = ("name", "weekdays", "start", "end", "breaks", "date_offset")
    initial = {name: getattr(pattern, name) for name in names}
    initial["from_date"] = max(clock.today() + timedelta(days=1), pattern.valid_from)
    return door(
        request,
        ChangePatternForm(sent(request), initial=initial),
        lambda **facts: calendar.change_pattern(
            pattern=pattern, by=request.user, **facts
        ),
        lead=f"Change the pattern {pattern}.",
        back=_back_to(pattern),
        said=f"The pattern {pattern} is changed, and its shifts with it.",
    )


def pattern_end(request: SignedIn, pk: int) -> HttpResponse:
    _need_planner(request)
    pattern = _pattern(pk)
    return door(
        request,
        EndPatternForm(sent(request), initial={"last_day": pattern.valid_to}),
        lambda **facts: calendar.end_pattern(pattern=pattern, by=request.user, **facts),
        lead=f"Say how long the pattern {pattern} holds.",
        back=_back_to(pattern),
        said=f"The pattern {pattern} has its last day.",
    )


def pattern_remove(request: SignedIn, pk: int) -> HttpResponse:
    _need_planner(request)
    pattern = _pattern(pk)
    return door(
        request,
        WhyForm(sent(request)),
        lambda **facts: calendar.remove_pattern(
            pattern=pattern, by=request.user, **facts
        ),
        lead=f"Remove the pattern {pattern}, entered by mistake.",
        back=_back_to(pattern),
        said="The pattern is removed, and its shifts with it. The trail keeps it.",
        action="Remove it",
        warning="All of its shifts go, those of the past too. A pattern that held once "
        "is ended instead.",
    )


def day_off_add(request: SignedIn) -> HttpResponse:
    _need_planner(request)
    initial = {"area": request.GET.get("area"), "line": request.GET.get("line")}
    return door(
        request,
        DayOffForm(sent(request), initial=initial),
        lambda **facts: calendar.add_day_off(**facts, by=request.user),
        lead="Add a day off.",
        back=_back(request.POST.get("area"), request.POST.get("line")),
        said="The day is off: no pattern's shift starts on it.",
    )


def day_off_remove(request: SignedIn, pk: int) -> HttpResponse:
    _need_planner(request)
    day_off = get_object_or_404(DayOff.objects.select_related("area", "line"), pk=pk)
    return door(
        request,
        WhyForm(sent(request)),
        lambda **facts: calendar.remove_day_off(
            day_off=day_off, by=request.user, **facts
        ),
        lead=f"Remove the day off {day_off}.",
        back=_back_to(day_off),
        said="The day's shifts hold again. The trail keeps what it was.",
        action="Remove it",
    )


def one_off_set(request: SignedIn) -> HttpResponse:
    _need_planner(request)
    initial = {"area": request.GET.get("area"), "line": request.GET.get("line")}
    return door(
        request,
        OneOffForm(sent(request), initial=initial),
        lambda **facts: calendar.set_one_off_shift(**facts, by=request.user),
        lead="Enter a one-off shift: overtime, other hours, or cancelled.",
        back=_back(request.POST.get("area"), request.POST.get("line")),
        said="The one-off shift holds.",
    )


def one_off_remove(request: SignedIn, pk: int) -> HttpResponse:
    _need_planner(request)
    one_offs = OneOffShift.objects.select_related("area", "line")
    one_off = get_object_or_404(one_offs, pk=pk)
    return door(
        request,
        WhyForm(sent(request)),
        lambda **facts: calendar.remove_one_off_shift(
            one_off=one_off, by=request.user, **facts
        ),
        lead=f"Remove the one-off shift {one_off}.",
        back=_back_to(one_off),
        said="The pattern's shift, if there is one, holds again.",
        action="Remove it",
    )


def _need_planner(request: SignedIn) -> None:
    rights.need(may_edit_registry(request.user), calendar.ONLY_PLANNERS)


def _pattern(pk: int) -> ShiftPattern:
    return get_object_or_404(ShiftPattern.objects.select_related("area", "line"), pk=pk)


def _back_to(row: ShiftPattern | DayOff | OneOffShift) -> str:
    area = row.area or (row.line.area if row.line else None)
    return _back(area.code if area else None, row.line.code if row.line else None)


def _back(area: str | None, line: str | None) -> str:
    query = f"?area={area}" if area else ""
    if area and line:
        query += f"&line={line}"
    return reverse("calendar") + query


def _place(request: SignedIn) -> tuple[Area | None, Line | None]:
    """As asked; else the first area that the person has a duty in, else the first."""
    code, line_code = request.GET.get("area"), request.GET.get("line")
    areas = Area.objects.all()
    area: Area | None
    if code:
        area = get_object_or_404(areas, code=code)
    else:
        own_areas, own_lines = rights.areas_and_lines_of(request.user)
        own = areas.filter(Q(pk__in=own_areas) | Q(lines__in=own_lines)).first()
        area = own or areas.first()
    if area is None or not line_code:
        return area, None
    return area, get_object_or_404(Line, code=line_code, area=area)


def _upcoming(lines: Iterable[Line], today: date) -> list[Shift]:
    monday = today - timedelta(days=today.weekday())
    span = (monday, shifts.horizon(today))
    rows = Shift.objects.worked().filter(line__in=lines, production_date__range=span)
    return list(rows.select_related("line").prefetch_related("breaks"))


def _weeks(
    upcoming: list[Shift], line_count: int, today: date
) -> list[list[tuple[date, list[Worked]]]]:
    """Week by week, each day with its shifts; lines that work alike stand together."""
    by_day: dict[date, dict[tuple, list[Shift]]] = defaultdict(dict)
    for shift in upcoming:
        alike = (shift.starts_at, shift.ends_at, shift.name)
        by_day[shift.production_date].setdefault(alike, []).append(shift)
    monday = today - timedelta(days=today.weekday())
    return [
        [
            (day, _worked(by_day[day], line_count))
            for day in (monday + timedelta(weeks=week, days=n) for n in range(7))
        ]
        for week in range(shifts.WEEKS_AHEAD)
    ]


def _worked(of_day: dict[tuple, list[Shift]], line_count: int) -> list[Worked]:
    return [
        Worked(
            shift=alike[0],
            lines=[shift.line.code for shift in alike],
            all_lines=len(alike) == line_count,
        )
        for _, alike in sorted(of_day.items())
    ]


def _csv(area: Area, upcoming: list[Shift]) -> HttpResponse:
    header = ["line", "production_date", "name", "starts_at", "ends_at", "break_starts"]
    rows = (
        (
            shift.line.code,
            shift.production_date,
            shift.name,
            shift.starts_at,
            shift.ends_at,
            ";".join(rest.starts_at.isoformat() for rest in shift.breaks.all()),
        )
        for shift in upcoming
    )
    return csv_response(f"shifts-{area.code}", header, rows)
