"""The plant manager's first page."""

from collections.abc import Iterator

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cells import clock
from cells.downloads import csv_response
from cells.views.doors import csv_url
from oee.periods import TODAY, USUAL, WEEK, YESTERDAY, finality, of_preset
from oee.plant_page import PlantPage
from oee.plant_sentence import sentence
from oee.ranking_page import RankingPage
from oee.result_files import SUMS_HEADER, sums_row
from oee.views.asked import period_of, refused_file, status_of

HEADER = (
    "area",
    "name",
    "target",
    *SUMS_HEADER,
    "stand_alone_oee",
    "reported",
    "expected",
    "expected_busy_s",
    "oee_four_weeks_before",
    "line_furthest_behind",
    "planned_bodies",
    "good_bodies",
    "worst_cell",
    "worst_own_lost_s",
    "worst_cause",
)
FIRST_CELLS = 5


@require_safe
def plant(request: HttpRequest) -> HttpResponse:
    choice = period_of(request, usual=YESTERDAY)
    now = clock.now()
    page = PlantPage(choice.period, now=now)
    if "csv" in request.GET:
        if choice.faults:
            return refused_file(choice.faults)
        return csv_response("areas", HEADER, _rows(page))
    last = of_preset(USUAL, choice.period.today)
    ranking = RankingPage(
        first=last.first,
        last=last.last,
        cells=page.cells,
        reasons=page.reasons,
        shown=FIRST_CELLS,
    )
    context = {
        "page": page,
        "lead": sentence(page.rows, page.period),
        "faults": choice.faults,
        "periods": (YESTERDAY, TODAY, WEEK),
        "finality": finality(page.period, now=now, zone=request.plant.zone),  # type: ignore[attr-defined]
        "ranking": ranking,
        "ranked_period": last,
        "csv_url": csv_url(request),
    }
    return render(request, "oee/plant.html", context, status=status_of(choice.faults))


def _rows(page: PlantPage) -> Iterator[tuple[object, ...]]:
    for row in page.rows:
        worst, bodies = row.worst, row.bodies
        yield (
            row.area.code,
            row.area.name,
            row.target and row.target.oee,
            *sums_row(row.sums),
            row.sums.stand_alone_oee,
            row.sums.reported,
            row.sums.expected,
            row.sums.expected_busy_s,
            row.before.oee,
            bodies and bodies.line,
            bodies and bodies.planned,
            bodies and bodies.good,
            worst and worst.cell.code,
            worst and worst.lost_s,
            worst and worst.cause,
        )
