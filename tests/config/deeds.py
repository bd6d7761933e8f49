"""A form that is sent, and the circles of those who may send one."""

from typing import Any, NamedTuple

from django.urls import reverse
from django.utils.http import urlencode

ADMINISTRATOR: set[str] = set()  # who may do everything, and nobody else
PLANNER = {"planner"}
LOGGERS = {"leader", "neighbour", "area_manager"}
CORRECTORS = {"leader", "area_manager"}
DECLARERS = {"planner", "plant_manager", "area_manager"}
COUNTERS = {"leader", "area_manager", "planner"}
WORKERS = {"technician", "planner"}
SAFETY = {"safety_officer"}

WHY = {"why": "entered by mistake"}


class Write(NamedTuple):
    name: str  # of the address
    arguments: tuple[Any, ...]
    data: dict[str, Any]
    may: set[str]
    query: dict[str, Any] = {}
    #: Who may do it elsewhere: the form offers them no such place.
    not_offered: frozenset[str] = frozenset()

    def allows(self, role: str) -> bool:
        return role == "admin" or role in self.may

    @property
    def url(self) -> str:
        address = reverse(self.name, args=self.arguments)
        return f"{address}?{urlencode(self.query)}" if self.query else address
