"""Who may do what. Everyone signed in may read; writing goes by role.

Roles are Django groups, made after every migration. An administrator is Django's
superuser and may do everything. Which lines or areas a person writes for is their
``Duty``; a person without any writes for the whole plant only where the role says so.
"""

from enum import StrEnum
from typing import Any

from django.contrib.auth.models import AnonymousUser, User
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from cells.models import Area, Cell, Line

Person = User | AnonymousUser


class SignedIn(HttpRequest):
    """A request of somebody signed in: the middleware lets nobody else to a page."""

    user: User
    htmx: HtmxDetails


class Role(StrEnum):
    TECHNICIAN = "technician"
    TEAM_LEADER = "team leader"
    PLANNER = "planner"
    AREA_MANAGER = "area manager"
    PLANT_MANAGER = "plant manager"
    SAFETY_OFFICER = "safety officer"


def create_roles(**kwargs: Any) -> None:
    """The six groups. Runs after migrate; safe to run again."""
    from django.contrib.auth.models import Group

    for role in Role:
        Group.objects.get_or_create(name=role.value)


def roles_of(user: Person) -> frozenset[Role]:
    """Read once per request: the answer is kept on the user object."""
    if not user.is_authenticated:
        return frozenset()
    kept: frozenset[Role] | None = getattr(user, "_roles", None)
    if kept is None:
        names = set(user.groups.values_list("name", flat=True))
        kept = frozenset(role for role in Role if role.value in names)
        user._roles = kept  # type: ignore[attr-defined]
    return kept


def has_role(user: Person, *roles: Role) -> bool:
    return user.is_superuser or not roles_of(user).isdisjoint(roles)


def areas_and_lines_of(user: Person) -> tuple[set[int], set[int]]:
    """Ids of the areas and lines in the person's duties, read once per request."""
    if not user.is_authenticated:
        return set(), set()
    kept: tuple[set[int], set[int]] | None = getattr(user, "_duties", None)
    if kept is None:
        duties = user.duties.order_by()
        rows = list(duties.values_list("area_id", "line_id", "line__area_id"))
        kept = (
            {area for area, _, _ in rows if area is not None},
            {line for _, line, _ in rows if line is not None},
        )
        user._duties = kept  # type: ignore[attr-defined]
        user._areas_worked_in = {  # type: ignore[attr-defined]
            area or of_line for area, _, of_line in rows
        }
    return kept


def leads(user: Person, line: Line) -> bool:
    """The line, or its whole area, is among the person's duties."""
    areas, lines = areas_and_lines_of(user)
    return line.pk in lines or line.area_id in areas


def works_in_area_of(user: Person, place: Area | Line | Cell) -> bool:
    """The place lies in an area where the person leads a line or has the area.

    So a leader on lunch cover can log the stop of a neighbour's cell.
    """
    return _area_id(place) in areas_worked_in(user)


def areas_worked_in(user: Person) -> set[int]:
    """Ids of the areas where the person has a duty, read once per request."""
    areas_and_lines_of(user)
    areas: set[int] = getattr(user, "_areas_worked_in", set())
    return areas


def may_edit_registry(user: Person) -> bool:
    """Registry, calendar, counting cells: the planner, who owns the data."""
    return has_role(user, Role.PLANNER)


def need(allowed: bool, sentence: str) -> None:
    """Raise PermissionDenied with a sentence that says who may."""
    if not allowed:
        raise PermissionDenied(sentence)


def _area_id(place: Area | Line | Cell) -> int:
    if isinstance(place, Area):
        return place.pk
    if isinstance(place, Line):
        return place.area_id
    return place.line.area_id
