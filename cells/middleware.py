"""Everything a page shows is in the plant's time."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from cells.models import Plant


class PlantTime:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        plant = Plant.current()
        request.plant = plant  # type: ignore[attr-defined]
        with timezone.override(plant.zone), plant.kept():
            return self.get_response(request)
