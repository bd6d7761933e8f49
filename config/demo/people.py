"""One sign-in per role, named after it and after nobody, and the administrator."""

import secrets
from dataclasses import dataclass

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group, User
from django.db import transaction

from cells.models import Area, Duty, Line
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


@transaction.atomic
def create_people() -> str:
    """All of PEOPLE. Returns their password, which is another one each time."""
    insist_on_own_database()
    password = "-".join(secrets.token_hex(2) for _ in range(2))
    hashed = make_password(password)
    for person in PEOPLE:
        _create(person, hashed)
    return password


def _create(person: Person, hashed: str) -> None:
    user = User.objects.create(
        username=person.username,
        password=hashed,
        is_staff=person.role is None,
        is_superuser=person.role is None,
    )
    if person.role:
        user.groups.add(Group.objects.get(name=person.role.value))
    if person.area:
        Duty.objects.create(user=user, area=Area.objects.get(code=person.area))
    if person.line:
        Duty.objects.create(user=user, line=Line.objects.get(code=person.line))
