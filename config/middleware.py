"""What no page has to think of."""

from collections.abc import Callable
from ipaddress import ip_address

from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse

from config.running.views import alive


class NoNullCharacters:
    """In no address: PostgreSQL cannot look for one, and forms refuse it too."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "\0" in request.path_info or "%00" in request.META.get("QUERY_STRING", ""):
            raise BadRequest(
                "The address holds a null character (%00), which no code and no text "
                "of this plant does: open the page by its link."
            )
        return self.get_response(request)


class Alive:
    """Answers monitors before anything that needs the database or a name it knows.

    Else a database that is gone would be a page about an error, not an answer.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path_info == "/alive":
            return alive(request)
        return self.get_response(request)


def address_behind_proxy(request: HttpRequest) -> str | None:
    """Whose browser asked, as the proxy in front says; it overwrites what others say.

    Straight from this machine, without the proxy, it is whoever called.
    """
    try:
        return str(ip_address(request.headers.get("X-Real-IP", "")))
    except ValueError:
        return request.META.get("REMOTE_ADDR")
