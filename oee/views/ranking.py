"""Which cells lost most."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cells.downloads import csv_response
from cells.models import Area
from cells.views.doors import csv_url
from oee.ranking_page import BY, HEADER, PER, SHOWN, RankingPage
from oee.views.asked import kept, one_of, period_of, refused_file, status_of


@require_safe
def ranking(request: HttpRequest) -> HttpResponse:
    choice = period_of(request)
    areas = {area.code: area for area in Area.objects.all()}
    faults = choice.faults
    known_areas = {"": "all areas", **{code: code for code in areas}}
    asked_area = one_of(request, "area", known_areas, faults)
    page = RankingPage(
        first=choice.period.first,
        last=choice.period.last,
        by=one_of(request, "by", BY, faults),
        per=one_of(request, "per", PER, faults),
        area=areas.get(asked_area),
        shown=SHOWN,
        page=request.GET.get("page"),
    )
    if "csv" in request.GET:
        if faults:
            return refused_file(faults)
        return csv_response("ranking", HEADER, page.file_rows())
    context = {
        "page": page,
        "choice": choice,
        "period": choice.period,
        "faults": faults,
        "kept": kept(request, "by", "per", "area"),
        "switches": [
            ("Measure", _links(request, "by", page.by, BY)),
            ("Sorted", _links(request, "per", page.per, PER)),
            ("Area", _links(request, "area", asked_area, known_areas)),
        ],
        "csv_url": csv_url(request),
    }
    return render(request, "oee/ranking.html", context, status=status_of(faults))


def _links(
    request: HttpRequest, name: str, chosen: str, known: Mapping[Any, str]
) -> list[dict[str, Any]]:
    links = []
    for value, words in known.items():
        query = request.GET.copy()
        query.pop("page", None)
        query[name] = value
        href = f"?{query.urlencode()}"
        links.append({"href": href, "words": words, "chosen": value == chosen})
    return links
