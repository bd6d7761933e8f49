"""The one door in. Whoever guesses a password is slowed down, then locked out a while.

Wrong guesses are counted by name and address together: on a shared tablet, or in a hall
behind one address, nobody locks out another name, and nobody locks a colleague out from
elsewhere. A try that comes too early is refused at once and not counted, so that no
server thread waits with it. The lock ends a quarter of an hour after the fifth guess,
whatever is tried meanwhile.
"""

import math
from datetime import datetime, timedelta
from typing import Any

from axes.helpers import get_client_ip_address, get_cool_off
from axes.models import AccessAttempt
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.core.exceptions import ValidationError
from django.db.models import Max, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

TOO_EARLY = "too_early"
TOO_MANY_REQUESTS = 429


class SignInForm(AuthenticationForm):
    def clean(self) -> dict[str, Any]:
        name = self.cleaned_data.get("username")
        assert self.request is not None  # the view gives it
        seconds = seconds_to_wait(self.request, name) if name else 0
        if seconds:
            raise ValidationError(
                f"“{name}” was tried with a wrong password just now: wait {seconds} s "
                "and try again.",
                code=TOO_EARLY,
            )
        return super().clean()


class SignIn(LoginView):
    authentication_form = SignInForm

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        early = form.has_error("__all__", TOO_EARLY)
        context = self.get_context_data(form=form)
        return self.render_to_response(
            context, status=TOO_MANY_REQUESTS if early else 200
        )


def seconds_to_wait(request: HttpRequest, name: str) -> int:
    """One second after a wrong guess, two after the next, four, eight."""
    now = timezone.now()
    cool_off = get_cool_off(request)
    assert cool_off is not None  # it is set
    guesses = AccessAttempt.objects.filter(
        username=name,
        ip_address=get_client_ip_address(request),
        attempt_time__gt=now - cool_off,
    ).aggregate(count=Sum("failures_since_start"), last=Max("attempt_time"))
    return _left(guesses["count"] or 0, guesses["last"], now)


def _left(count: int, last: datetime | None, now: datetime) -> int:
    if last is None:
        return 0
    until = last + timedelta(seconds=2 ** (count - 1))
    return max(0, math.ceil((until - now).total_seconds()))


def locked_out(
    request: HttpRequest, response: HttpResponse, credentials: dict[str, Any] | None
) -> HttpResponse:
    name = (credentials or {}).get("username", "")
    return render(
        request,
        "registration/locked_out.html",
        {"username": name},
        status=TOO_MANY_REQUESTS,
    )
