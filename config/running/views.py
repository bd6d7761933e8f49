"""Two doors: a page for those who look after the plant's figures, a word for monitors.

The page is for planners, area and plant managers and administrators: they decide on
figures, so they have to know when these are old, and whom to call. Nobody else could
act on it, and names of machines and versions of programs help whoever means harm.
"""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.cache import add_never_cache_headers
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from cells import attempts
from cells.rights import Person, Role, SignedIn, has_role, need
from config.running import processes, stores, work

LOOKS_AFTER_IT = (Role.PLANNER, Role.AREA_MANAGER, Role.PLANT_MANAGER)

RUNS = "Running.\n"
RUNS_NOT = "Not everything runs. The page “Running state” says what.\n"


def may_see(user: Person) -> bool:
    return has_role(user, *LOOKS_AFTER_IT)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def running(request: SignedIn) -> HttpResponse:
    need(
        may_see(request.user),
        "Only planners, managers and administrators see the running state.",
    )
    if request.method == "POST":
        return _try_again(request)
    parts = [
        stores.database(),
        stores.queue(),
        *processes.processes(),
        work.account(),
        work.backup(),
    ]
    aside = list(attempts.set_aside())
    troubles = [one for part in parts for one in part.troubles]
    context = {
        "parts": parts,
        "aside": aside,
        "troubles": troubles,
        "may_try_again": request.user.is_superuser,
    }
    return render(request, "running.html", context)


def _try_again(request: SignedIn) -> HttpResponse:
    number = request.POST.get("attempt", "")
    attempt = get_object_or_404(
        attempts.set_aside(), pk=int(number) if number.isdecimal() else None
    )
    try:
        attempts.try_again(attempt, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"{attempt.words} will be tried again.")
    return redirect("running")


def alive(request: HttpRequest) -> HttpResponse:
    """For monitors, which nobody signs in: whether everything runs, and no more."""
    try:
        runs = processes.alive() == set(processes.KINDS) and stores.queue_answers()
    except DatabaseError:
        runs = False
    response = HttpResponse(
        RUNS if runs else RUNS_NOT,
        status=200 if runs else 503,
        content_type="text/plain; charset=utf-8",
    )
    add_never_cache_headers(response)
    return response
