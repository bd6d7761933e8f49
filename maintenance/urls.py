from django.urls import path

from maintenance.views import planned_stops, reasons, stopped, stops

urlpatterns = [
    path("stopped/", stopped.stopped, name="stopped"),
    path("stopped/start/", stopped.stop_start, name="stop_start"),
    path("stops/", stops.stop_list, name="stops"),
    path("stops/<int:pk>/", stops.stop, name="stop"),
    path("stops/<int:pk>/withdraw/", stops.stop_withdraw, name="stop_withdraw"),
    path("stops/<int:pk>/reinstate/", stops.stop_reinstate, name="stop_reinstate"),
    path("stops/<int:pk>/tap/<slug:which>/", stopped.stop_tap, name="stop_tap"),
    path("planned-stops/", planned_stops.planned_stops, name="planned_stops"),
    path("planned-stops/<int:pk>/", planned_stops.planned_stop, name="planned_stop"),
    path(
        "planned-stops/<int:pk>/withdraw/",
        planned_stops.planned_stop_withdraw,
        name="planned_stop_withdraw",
    ),
    path("reasons/", reasons.reasons, name="reasons"),
    path("reasons/<str:code>/", reasons.reason, name="reason"),
    path("reasons/<str:code>/retire/", reasons.reason_retire, name="reason_retire"),
]
