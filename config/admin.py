"""Wrong guesses at a sign-in: an administrator may forget those that lock somebody out.

It is the only deleting that the administrator's pages do, and it stands in the trail.
"""

from axes.models import AccessAttempt
from django.contrib import admin
from django.contrib.admin.models import LogEntry
from django.contrib.auth.models import User
from django.db.models import QuerySet
from django.http import HttpRequest

from cells import clock
from cells.admin import LookOnly
from cells.models import Change


@admin.register(AccessAttempt)
class GuessesAdmin(LookOnly):
    list_display = ("username", "ip_address", "failures_since_start", "attempt_time")
    fields = list_display

    def has_delete_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return bool(request.user.is_superuser)

    def log_deletions(
        self, request: HttpRequest, queryset: QuerySet[AccessAttempt]
    ) -> list[LogEntry]:
        names = {guesses.username or "" for guesses in queryset}
        known = User.objects.filter(username__in=names)
        ids = dict(known.values_list("username", "pk"))
        Change.objects.bulk_create(
            Change(
                at=clock.now(),
                by=request.user,  # type: ignore[misc]  # the site lets in staff only
                door="admin",
                kind="user",
                record_id=ids.get(name, 0),
                record=name[:200],
                field="",
                new="wrong guesses at the sign-in forgotten",
            )
            for name in sorted(names)
        )
        return super().log_deletions(request, queryset)
