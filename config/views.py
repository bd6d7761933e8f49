"""Where a person's day begins, and the pages for what could not be."""

import sys
from http import HTTPStatus

from django.core.exceptions import (
    BadRequest,
    RequestDataTooBig,
    TooManyFieldsSent,
)
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.urls import reverse
from django.views import defaults
from django.views.decorators.http import require_safe

from cells.database import Trouble, trouble
from cells.models import Area
from cells.rights import Person, Role, areas_and_lines_of, roles_of
from config.uploads import FileSentError


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Send each role to its first page."""
    return redirect(first_page(request.user))


#: In this order where a person has several roles.
FIRST_PAGES = {
    Role.TEAM_LEADER: ("my_shift", ""),
    Role.TECHNICIAN: ("stopped", ""),
    Role.PLANNER: ("due", ""),
    Role.SAFETY_OFFICER: ("due", "?only=safety"),
}


def first_page(user: Person) -> str:
    """The page that answers the first question of this person's day."""
    if user.is_superuser:
        return reverse("registry")
    roles = roles_of(user)
    if Role.AREA_MANAGER in roles:
        return _own_area(user)
    for role, (page, query) in FIRST_PAGES.items():
        if role in roles:
            return reverse(page) + query
    return reverse("plant")


def _own_area(user: Person) -> str:
    """Of several areas none comes first, so the page that shows all of them does."""
    areas, _ = areas_and_lines_of(user)
    if len(areas) != 1:
        return reverse("plant")
    return Area.objects.get(pk__in=areas).get_absolute_url()


#: What exceeds a bound of the settings, and what to do instead.
TOO_LARGE: dict[type[Exception], str] = {
    RequestDataTooBig: "Too much was sent at once: choose fewer rows, shorten the "
    "texts, and send the rest afterwards.",
    TooManyFieldsSent: "Too many fields were sent at once: choose fewer rows, and send "
    "the rest afterwards.",
    FileSentError: "A file was sent, and no page here takes one: type what it says, or "
    "let the administrator load it.",
}


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Say what could not be read. Of what looks like an attack, say nothing.

    Without the request, as it may have been refused before anybody was signed in.
    """
    sentence, status = TOO_LARGE.get(type(exception), ""), HTTPStatus.BAD_REQUEST
    if sentence:
        status = HTTPStatus.REQUEST_ENTITY_TOO_LARGE
    elif type(exception) is BadRequest:
        sentence = str(exception)
    page = render_to_string("400.html", {"sentence": sentence})
    return HttpResponse(page, status=status)


def server_error(request: HttpRequest) -> HttpResponse:
    """Django calls it while the exception is being handled.

    Of a database that is away, full or too busy the page says so and what to do: that
    is no fault of the program's, and trying again helps.
    """
    found = trouble(sys.exc_info()[1])
    if found is None:
        return defaults.server_error(request)
    sent = request.method == "POST"
    page = render_to_string("database.html", {"trouble": found.value, "sent": sent})
    status = HTTPStatus.SERVICE_UNAVAILABLE
    if found is Trouble.FULL:
        status = HTTPStatus.INSUFFICIENT_STORAGE
    return HttpResponse(page, status=status, headers={"Retry-After": "60"})
