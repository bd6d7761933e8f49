"""What the shell around every page shows: the rooms, the role, the demo's notice."""

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest

from cells.rights import Person, roles_of
from config.running.views import may_see


@dataclass(frozen=True, kw_only=True)
class Room:
    name: str
    paths: tuple[str, ...]  # where its pages begin; its own page first
    pages: frozenset[str] = frozenset()  # by name: those that begin elsewhere

    @property
    def href(self) -> str:
        return self.paths[0]


ROOMS = (
    Room(
        name="Plant",
        paths=("/plant/", "/areas/", "/lines/", "/counts/", "/definitions/"),
        pages=frozenset({"cell_account", "cell_shift"}),
    ),
    Room(name="Ranking", paths=("/ranking/",)),
    Room(name="Shift", paths=("/shift/",)),
    Room(
        name="Stopped", paths=("/stopped/", "/stops/", "/planned-stops/", "/reasons/")
    ),
    Room(
        name="Due", paths=("/due/", "/tasks/", "/routines/", "/compliance/", "/alerts/")
    ),
    Room(
        name="Registry",
        paths=(
            "/registry/",
            "/running/",
            "/cells/",
            "/machines/",
            "/readings/",
            "/calendar/",
            "/trail/",
            "/variants/",
        ),
    ),
)


def shell(request: HttpRequest) -> dict[str, Any]:
    """A stranger sees the sign-in page only, so no rooms."""
    if not request.user.is_authenticated:
        return {"demo_clock": settings.DEMO}
    here = _room_of(request)
    return {
        "rooms": [
            {"name": room.name, "href": room.href, "current": room is here}
            for room in ROOMS
        ],
        "role": role_in_words(request.user),
        "sees_running_state": may_see(request.user),
        "demo_clock": settings.DEMO,
    }


def role_in_words(user: Person) -> str:
    if user.is_superuser:
        return "administrator"
    return ", ".join(sorted(role.value for role in roles_of(user)))


def _room_of(request: HttpRequest) -> Room | None:
    page = request.resolver_match.url_name if request.resolver_match else None
    by_name = (room for room in ROOMS if page in room.pages)
    by_path = (room for room in ROOMS if request.path.startswith(room.paths))
    return next(by_name, None) or next(by_path, None)
