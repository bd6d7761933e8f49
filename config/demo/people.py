"""The demo's sign-ins, named after roles and after nobody.

One per role is printed. In a live demo the others do the day's work: a leader for each
line and shift, a technician for each area.
"""

import secrets
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group, User
from django.db import transaction

from cells.models import Area, Duty, Line, Shift
from cells.rights import Role
from config.demo.home import insist_on_own_database


@dataclass(frozen=True, kw_only=True)
class Person:
    username: str
    role: Role | None  # None: the administrator
    area: str = ""
    line: str = ""

    @property
    def does(self) -> str:
        place = f" of {self.line or self.area}" if self.line or self.area else ""
        return (self.role or "administrator") + place


PEOPLE = (
    Person(username="leader", role=Role.TEAM_LEADER, line="FR1"),
    Person(username="technician", role=Role.TECHNICIAN, area="FR"),
    Person(username="planner", role=Role.PLANNER),
    Person(username="area-manager", role=Role.AREA_MANAGER, area="FR"),
    Person(username="plant-manager", role=Role.PLANT_MANAGER),
    Person(username="safety", role=Role.SAFETY_OFFICER),
    Person(username="admin", role=None),
)


def leader_name(line: str, shift: str) -> str:
    return f"leader.{line}.{shift}".lower()


def technician_name(area: str) -> str:
    return f"technician.{area}".lower()


def crew() -> Iterator[Person]:
    """Who does the day's work on every line and in every area of this plant."""
    shifts = Shift.objects.order_by("line__code", "name")
    for line, name in shifts.values_list("line__code", "name").distinct():
        yield Person(username=leader_name(line, name), role=Role.TEAM_LEADER, line=line)
    for area in Area.objects.values_list("code", flat=True):
        yield Person(username=technician_name(area), role=Role.TECHNICIAN, area=area)


@transaction.atomic
def create_people() -> str:
    """All of them. Returns their password, which is another one each time."""
    insist_on_own_database()
    password = "-".join(secrets.token_hex(2) for _ in range(2))
    _create([*PEOPLE, *crew()], make_password(password))
    return password


def _create(people: Iterable[Person], hashed: str) -> None:
    groups = {group.name: group for group in Group.objects.all()}
    areas = {area.code: area for area in Area.objects.all()}
    lines = {line.code: line for line in Line.objects.all()}
    for person in people:
        user = User.objects.create(
            username=person.username,
            password=hashed,
            is_staff=person.role is None,
            is_superuser=person.role is None,
        )
        if person.role:
            user.groups.add(groups[person.role.value])
        if person.area:
            Duty.objects.create(user=user, area=areas[person.area])
        if person.line:
            Duty.objects.create(user=user, line=lines[person.line])
