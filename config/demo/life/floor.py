"""The plant's records by the names that the engine knows them by, read once."""

from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from django.contrib.auth.models import User

from cells.models import Cell, Line, Plant, Shift
from config.demo.people import leader_name, technician_name
from maintenance.models import Reason
from oee.models import Variant


class Floor:
    @cached_property
    def zone(self) -> ZoneInfo:
        return Plant.current().zone

    @cached_property
    def lines(self) -> dict[str, Line]:
        return {line.code: line for line in Line.objects.select_related("area")}

    @cached_property
    def cells(self) -> dict[str, Cell]:
        rows = Cell.objects.select_related("line__area")
        return {cell.code: cell for cell in rows}

    @cached_property
    def reasons(self) -> dict[str, Reason]:
        return {reason.code: reason for reason in Reason.objects.all()}

    @cached_property
    def variants(self) -> dict[str, Variant]:
        return {variant.code: variant for variant in Variant.objects.all()}

    def shift_at(self, line: Line, moment: datetime) -> str:
        """The name of the shift that runs, or of the last one that did."""
        begun = Shift.objects.worked().filter(line=line, starts_at__lte=moment)
        return begun.order_by("-starts_at").values_list("name", flat=True)[0]

    def leader(self, line: Line, shift: str) -> User:
        return self._people[leader_name(line.code, shift)]

    def technician(self, area: str) -> User:
        return self._people[technician_name(area)]

    @cached_property
    def _people(self) -> dict[str, User]:
        return {user.username: user for user in User.objects.all()}
