"""The administrator's pages: people, their roles and their duties.

Everything else has a page of its own, where verbs check it, leave a trail and mark
what has to be computed again. Here it can only be looked at. Nothing can be deleted:
a person who leaves is made inactive.
"""

from typing import Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.models import Group, User
from django.db.models import Model
from django.http import HttpRequest

from cells import clock
from cells.models import (
    Area,
    Cell,
    Change,
    DayOff,
    Duty,
    Line,
    Machine,
    Meter,
    OneOffShift,
    Placement,
    Reading,
    Shift,
    ShiftPattern,
)
from cells.trail import kind_of

admin.site.site_header = "People and records"
admin.site.unregister([User, Group])


class DutyInline(admin.TabularInline):
    model = Duty
    extra = 1
    verbose_name = "duty: a line that this person leads, or an area"


@admin.register(User)
class PersonAdmin(UserAdmin):
    inlines = [DutyInline]
    list_display = ("username", "first_name", "last_name", "is_active")
    fieldsets = (
        (None, {"fields": ("username", "password")}),
        ("Name", {"fields": ("first_name", "last_name")}),
        ("Role", {"fields": ("is_active", "groups", "is_staff", "is_superuser")}),
    )

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def log_addition(self, request: HttpRequest, obj: Model, message: Any) -> Any:
        entry = super().log_addition(request, obj, message)
        _leave_trail(request, obj, entry)
        return entry

    def log_change(self, request: HttpRequest, obj: Model, message: Any) -> Any:
        entry = super().log_change(request, obj, message)
        _leave_trail(request, obj, entry)
        return entry


class LookOnly(admin.ModelAdmin):
    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


admin.site.register(
    [
        Area,
        Cell,
        Change,
        DayOff,
        Line,
        Machine,
        Meter,
        OneOffShift,
        Placement,
        Reading,
        Shift,
        ShiftPattern,
    ],
    LookOnly,
)


def _leave_trail(request: HttpRequest, obj: Model, entry: Any) -> None:
    """What the admin's own log says, in the plant's trail too."""
    Change.objects.create(
        at=clock.now(),
        by=request.user,  # type: ignore[misc]  # the site lets in staff only
        door="admin",
        kind=kind_of(obj),
        record_id=obj.pk,
        record=str(obj)[:200],
        field="",
        new=entry.get_change_message(),
    )
