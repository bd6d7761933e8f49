"""Forms of planned stops: declare and correct."""

from typing import Any

from django import forms
from django.db.models import Q

from cells.models import Area, Cell, Line
from cells.moment_forms import PlantMomentFormField
from cells.plant_forms import CorrectsRecord, WhyField
from cells.rights import Person
from maintenance.forms.fields import AsksIfLong, offer
from maintenance.models import LossClass, PlannedStop, Reason
from maintenance.planned_stops import FACTS, Place
from maintenance.rights import may_declare_planned_stop


class PlaceField(forms.ChoiceField):
    """An area, a line or a cell by its code; codes are unique together."""

    def offer(self, user: Person) -> None:
        """Those for which this person may declare."""
        places: list[Place] = [
            *Area.objects.all(),
            *Line.objects.select_related("area"),
            *Cell.objects.filter(retired_on=None).select_related("line__area"),
        ]
        self.places = {
            place.code: place
            for place in places
            if may_declare_planned_stop(user, place)
        }
        self.choices = [("", "choose"), *self._groups()]

    def _groups(self) -> list[tuple[str, list[tuple[str, str]]]]:
        groups: dict[str, list[tuple[str, str]]] = {}
        for code, place in self.places.items():
            group = f"{place._meta.verbose_name_plural}".capitalize()
            groups.setdefault(group, []).append((code, f"{code} {place.name}"))
        return list(groups.items())

    def prepare_value(self, value: Any) -> Any:
        return value.code if isinstance(value, Area | Line | Cell) else value

    def has_changed(self, initial: Any, data: Any) -> bool:
        return self.prepare_value(initial) != data

    def clean(self, value: Any) -> Any:
        code = super().clean(value)
        return self.places.get(code)


class DeclareForm(AsksIfLong):
    place = PlaceField(label="Where", help_text="An area, a line or a cell.")
    reason = forms.ModelChoiceField(queryset=Reason.objects.none())
    starts_at = PlantMomentFormField(label="From")
    ends_at = PlantMomentFormField(label="Until")
    span = ("starts_at", "ends_at")
    reason_kept: int | None = None

    def __init__(self, *args: Any, user: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        place = self.fields["place"]
        assert isinstance(place, PlaceField)
        place.offer(user)
        planned = Reason.objects.filter(loss_class=LossClass.PLANNED)
        offer(
            self, "reason", planned.filter(Q(retired_on=None) | Q(pk=self.reason_kept))
        )


class CorrectPlannedForm(DeclareForm, CorrectsRecord):
    why = WhyField()

    def __init__(self, *args: Any, planned: PlannedStop, **kwargs: Any) -> None:
        self.reason_kept = planned.reason_id  # stays, even when it was retired since
        initial = {name: getattr(planned, name) for name in FACTS}
        super().__init__(*args, **kwargs, initial=initial, record=planned)

    def facts(self) -> dict[str, Any]:
        """For ``correct_planned_stop``: what was changed, and why."""
        facts = super().facts()
        return {
            "changes": {
                name: facts[name] for name in FACTS if name in self.changed_data
            },
            "why": facts["why"],
            "long_ok": facts["long_ok"],
            "seen": facts["seen"],
        }
