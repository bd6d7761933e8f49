"""The rules behind every figure, in words, and what this plant has set."""

from collections.abc import Iterator
from typing import NamedTuple

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cells.models import Area, AreaTarget, Line
from cells.templatetags.figures import minutes, percent
from maintenance.confirmations import EARLY
from maintenance.models import LossClass, Reason
from maintenance.rights import LEADER_WINDOW, MANAGER_WINDOW, TECHNICIAN_WINDOW
from oee.account_words import FLAG_WORDS, MUCH
from oee.periods import FINAL_AT
from oee.ranking_page import LEAST_EXPOSURE_S
from oee.reports import USUAL_DATES


class Setting(NamedTuple):
    name: str
    value: str


@require_safe
def definitions(request: HttpRequest) -> HttpResponse:
    context = {
        "classes": _classes(),
        "flags": FLAG_WORDS.items(),
        "settings": list(_settings(request)),
        "targets": AreaTarget.objects.select_related("area"),
        "areas_without_target": Area.objects.filter(targets=None),
        "lines": Line.objects.select_related("area", "counting_cell"),
    }
    return render(request, "oee/definitions.html", context)


def _classes() -> list[tuple[str, str, list[str]]]:
    """In order of precedence: key, word, the reasons that belong to it."""
    reasons: dict[str, list[str]] = {name: [] for name in LossClass.values}
    for reason in Reason.objects.in_use().order_by("name"):
        reasons[reason.loss_class].append(reason.name)
    return [(name, word, reasons[name]) for name, word in LossClass.choices]


def _settings(request: HttpRequest) -> Iterator[Setting]:
    plant = request.plant  # type: ignore[attr-defined]
    yield Setting("Time zone", f"{plant.time_zone}; all arithmetic is in UTC")
    yield Setting(
        "Day boundary",
        "A shift belongs to the production date on which it starts; a shift pattern "
        "may move that by a day (Sunday 22:00 as Monday).",
    )
    yield Setting(
        "Planned-stop cut-off",
        "The start of the shift: what is declared later counts as planned too, and is "
        "shown as declared late beside every OEE that it raised.",
    )
    yield Setting(
        "Minor stops",
        "A stop is minor by its reason’s class, not by its length; under 5 min is "
        "common practice. Minor stops lower performance, not availability.",
    )
    yield Setting(
        "Calendar tolerance of routines",
        "10 % of the interval, at least 1 day, at most 14; of meters 10 % of the "
        "units. A safety test may be early, never late.",
    )
    yield Setting(
        "Corrections",
        f"The line’s leader until {_hours(LEADER_WINDOW.total_seconds())} after the "
        f"shift’s end, an area’s manager for {MANAGER_WINDOW.days} days, a technician "
        f"the times of a breakdown until {_hours(TECHNICIAN_WINDOW.total_seconds())} "
        "after its end. Each says who, when, old, new and why.",
    )
    yield Setting(
        "Confirming a shift",
        f"From {minutes(EARLY.total_seconds())} before its end.",
    )
    yield Setting(
        "Provisional", f"A day is final from {FINAL_AT:%H:%M} of the next working day."
    )
    yield Setting(
        "Unexplained minutes",
        f"Above {percent(MUCH)} of planned time they ask a question (common practice).",
    )
    yield Setting(
        "Least exposure in a ranking",
        f"{_hours(LEAST_EXPOSURE_S)} of planned time; a cell below it is grey.",
    )
    yield Setting("A usual period", f"The last {USUAL_DATES} production dates.")


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:.0f} h"
