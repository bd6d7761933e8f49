"""What the address of a page asks for: a period, a basis, a file."""

from typing import Any

from django.http import HttpRequest, HttpResponse

from cells import clock
from oee.periods import Choice, chosen, production_today

BAD_REQUEST = 400


def period_of(request: HttpRequest, **kwargs: str) -> Choice:
    today = production_today(clock.now(), request.plant.zone)  # type: ignore[attr-defined]
    return chosen(request.GET, today=today, **kwargs)


def one_of(
    request: HttpRequest, name: str, known: dict[Any, str], faults: list[str]
) -> Any:
    """The value of a parameter; the first of ``known`` where none is given."""
    value = request.GET.get(name) or next(iter(known))
    if value in known:
        return value
    faults.append(
        f"{name.capitalize()} “{value}” is not known: choose one of {', '.join(known)}."
    )
    return next(iter(known))


def refused_file(faults: list[str]) -> HttpResponse:
    """A file of other rows than those asked for would be taken for the asked ones."""
    return HttpResponse(
        "\n".join(faults),
        status=BAD_REQUEST,
        content_type="text/plain; charset=utf-8",
    )


def status_of(faults: list[str]) -> int:
    return BAD_REQUEST if faults else 200


def kept(request: HttpRequest, *names: str) -> list[tuple[str, str]]:
    """Parameters that another choice of period leaves as they are."""
    return [(name, request.GET[name]) for name in names if request.GET.get(name)]
