"""From an area down to its lines, their cells, and the shifts of a cell."""

from collections.abc import Callable, Iterable, Iterator, Mapping

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from cells import clock
from cells.downloads import csv_response
from cells.models import Area, Cell, Line
from oee.account_pages import AccountPage, AreaPage, CellPage, LinePage, ReasonRow
from oee.account_rows import AccountRow
from oee.ledger.flags import names
from oee.ranking_page import HEADER as RANKING_HEADER
from oee.result_files import SUMS_HEADER, sums_row
from oee.rollups import BASES
from oee.views.asked import kept, one_of, period_of, refused_file, status_of

HEADER = (
    "name",
    "words",
    *SUMS_HEADER,
    "stand_alone_oee",
    "reported",
    "expected",
    "expected_busy_s",
    "flags",
)
REASONS_HEADER = ("reason", "name", "loss_class", "owned_s", "times")

#: Each table of a page by its name in the address: its header and its rows.
Tables = Mapping[str, tuple[tuple[str, ...], Callable[[], Iterable[tuple]]]]


@require_safe
def area(request: HttpRequest, code: str) -> HttpResponse:
    one = get_object_or_404(Area.objects.prefetch_related("targets"), code=code)
    choice = period_of(request)
    basis = one_of(request, "basis", BASES, choice.faults)
    page = AreaPage(one, choice, now=clock.now(), basis=basis)
    tables = {
        "lines": (HEADER, lambda: _accounts(page.lines)),
        "cells": (RANKING_HEADER, lambda: page.ranking.file_rows()),
        "days": (HEADER, lambda: _accounts(page.days)),
    }
    return _answer(request, page, "area", code, tables)


@require_safe
def line(request: HttpRequest, code: str) -> HttpResponse:
    lines = Line.objects.select_related("area", "counting_cell")
    one = get_object_or_404(lines, code=code)
    choice = period_of(request)
    basis = one_of(request, "basis", BASES, choice.faults)
    page = LinePage(one, choice, now=clock.now(), basis=basis)
    tables = {
        "cells": (HEADER, lambda: _accounts(page.flow)),
        "shifts": (HEADER, lambda: _accounts(page.shifts)),
    }
    return _answer(request, page, "line", code, tables)


@require_safe
def cell_account(request: HttpRequest, code: str) -> HttpResponse:
    cells = Cell.objects.select_related("line__area", "line__counting_cell")
    one = get_object_or_404(cells, code=code)
    page = CellPage(one, period_of(request), now=clock.now())
    tables = {"shifts": (HEADER, lambda: _accounts(page.shifts))}
    return _answer(request, page, "cell_account", code, tables)


def _answer(
    request: HttpRequest, page: AccountPage, name: str, code: str, tables: Tables
) -> HttpResponse:
    faults = page.choice.faults
    tables = {**tables, "reasons": (REASONS_HEADER, lambda: _reasons(page.reasons))}
    if "csv" in request.GET:
        if faults:
            return refused_file(faults)
        asked = request.GET["csv"]
        wanted = asked if asked in tables else next(iter(tables))
        header, rows = tables[wanted]
        return csv_response(f"{code}-{wanted}", header, rows())
    context = {"page": page, "faults": faults, "kept": kept(request, "basis")}
    return render(request, f"oee/{name}.html", context, status=status_of(faults))


def _accounts(rows: Iterable[AccountRow]) -> Iterator[tuple[object, ...]]:
    for row in rows:
        sums = row.sums
        yield (
            row.name,
            row.words,
            *sums_row(sums),
            sums.stand_alone_oee,
            sums.reported,
            sums.expected,
            sums.expected_busy_s,
            names(row.flags),
        )


def _reasons(rows: Iterable[ReasonRow]) -> Iterator[tuple[object, ...]]:
    for row in rows:
        reason = row.reason
        yield reason.code, reason.name, reason.loss_class, row.seconds, row.times
