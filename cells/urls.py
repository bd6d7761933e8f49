from django.urls import path

from cells.views import calendar, cells, health, labels, machines, readings, registry
from cells.views.trail import trail

urlpatterns = [
    path("registry/", registry.registry_page, name="registry"),
    path("registry/health/", health.registry_health, name="registry_health"),
    path("registry/areas/add/", registry.area_add, name="area_add"),
    path("registry/areas/<str:code>/", registry.area_edit, name="area_edit"),
    path("registry/areas/<str:code>/target/", registry.target_set, name="target_set"),
    path("registry/lines/add/", registry.line_add, name="line_add"),
    path("registry/lines/<str:code>/", registry.line_edit, name="line_edit"),
    path(
        "registry/lines/<str:code>/counting-cell/",
        registry.counting_cell,
        name="counting_cell",
    ),
    path("registry/lines/<str:code>/labels/", labels.line_page, name="labels"),
    path("registry/cells/add/", cells.cell_add, name="cell_add"),
    path("registry/machines/add/", machines.machine_add, name="machine_add"),
    path("c/<str:code>", cells.cell_short, name="cell_short"),
    path("cells/<str:code>/", cells.cell, name="cell"),
    path("cells/<str:code>/edit/", cells.cell_edit, name="cell_edit"),
    path("cells/<str:code>/lockout/", cells.cell_lockout, name="cell_lockout"),
    path("cells/<str:code>/retire/", cells.cell_retire, name="cell_retire"),
    path("cells/<str:code>/bank/", cells.bank_set, name="bank_set"),
    path("cells/<str:code>/label/", labels.cell_page, name="cell_label"),
    path("m/<str:serial>", machines.machine_short, name="machine_short"),
    path("machines/<str:serial>/", machines.machine, name="machine"),
    path("machines/<str:serial>/edit/", machines.machine_edit, name="machine_edit"),
    path("machines/<str:serial>/place/", machines.machine_place, name="machine_place"),
    path(
        "machines/<str:serial>/remove/", machines.machine_remove, name="machine_remove"
    ),
    path("machines/<str:serial>/swap/", machines.machine_swap, name="machine_swap"),
    path("machines/<str:serial>/label/", labels.machine_page, name="machine_label"),
    path("machines/<str:serial>/meters/add/", machines.meter_add, name="meter_add"),
    path("meters/<int:pk>/", machines.meter_edit, name="meter_edit"),
    path("readings/", readings.readings, name="readings"),
    path("readings/<int:pk>/", readings.reading, name="reading"),
    path("calendar/", calendar.calendar_page, name="calendar"),
    path("calendar/patterns/add/", calendar.pattern_add, name="pattern_add"),
    path("calendar/patterns/<int:pk>/", calendar.pattern_change, name="pattern_change"),
    path("calendar/patterns/<int:pk>/end/", calendar.pattern_end, name="pattern_end"),
    path(
        "calendar/patterns/<int:pk>/remove/",
        calendar.pattern_remove,
        name="pattern_remove",
    ),
    path("calendar/days-off/add/", calendar.day_off_add, name="day_off_add"),
    path(
        "calendar/days-off/<int:pk>/remove/",
        calendar.day_off_remove,
        name="day_off_remove",
    ),
    path("calendar/one-off/", calendar.one_off_set, name="one_off_set"),
    path(
        "calendar/one-off/<int:pk>/remove/",
        calendar.one_off_remove,
        name="one_off_remove",
    ),
    path("trail/", trail, name="trail"),
]
