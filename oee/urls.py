from datetime import date

from django.urls import path, register_converter

from cells.working_time.plant_time import FIRST_YEAR, LAST_YEAR
from oee.views import (
    areas,
    cell_shift,
    counts,
    cycles,
    definitions,
    plans,
    plant,
    ranking,
    shift,
)


class DateConverter:
    regex = "[0-9]{4}-[0-9]{2}-[0-9]{2}"

    def to_python(self, value: str) -> date:
        day = date.fromisoformat(value)
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise ValueError(f"No shift is of {day}.")
        return day

    def to_url(self, value: date | str) -> str:
        return str(value)


register_converter(DateConverter, "day")

_SHIFT = "shift/<str:line>/<day:day>/<str:name>/"

urlpatterns = [
    path("plant/", plant.plant, name="plant"),
    path("areas/<str:code>/", areas.area, name="area"),
    path("lines/<str:code>/", areas.line, name="line"),
    path("lines/<str:code>/counts/", counts.line_counts, name="line_counts"),
    path("lines/<str:code>/plan/", plans.line_plan, name="line_plan"),
    path("counts/<int:pk>/", counts.count_between, name="count_between"),
    path("cells/<str:code>/cycles/", cycles.cell_cycles, name="cell_cycles"),
    path("variants/", cycles.variants, name="variants"),
    path("variants/<str:code>/", cycles.variant, name="variant"),
    path("cells/<str:code>/account/", areas.cell_account, name="cell_account"),
    path("ranking/", ranking.ranking, name="ranking"),
    path("definitions/", definitions.definitions, name="definitions"),
    path("shift/", shift.my_shift, name="my_shift"),
    path(_SHIFT, shift.shift, name="shift"),
    path(f"{_SHIFT}sheet/", shift.sheet, name="shift_sheet"),
    path(
        "cells/<str:code>/shifts/<day:day>/<str:name>/",
        cell_shift.cell_shift,
        name="cell_shift",
    ),
]
