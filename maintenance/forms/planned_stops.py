"""Forms of planned stops: declare and correct."""

from typing import Any

from django import forms

from cells.models import Area, Cell, Line
from cells.moment_forms import AsksWhich, PlantMomentFormField
from cells.rights import Person
from maintenance.forms.stops import LONG_OK
from maintenance.models import LossClass, PlannedStop, Reason
from maintenance.planned_stops import FACTS
from maintenance.rights import may_declare_planned_stop


class PlaceField(forms.ChoiceField):
    """An area, a line or a cell by its code; codes are unique together."""

    def offer(self, user: Person) -> None:
        """Those for which this person may declare."""
        self.places = {
            place.code: place
            for place in (
                *Area.objects.all(),
                *Line.objects.select_related("area"),
                *Cell.objects.filter(retired_on=None).select_related("line__area"),
            )
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


class DeclareForm(AsksWhich, forms.Form):
    place = PlaceField(label="Where", help_text="An area, a line or a cell.")
    reason = forms.ModelChoiceField(queryset=Reason.objects.none())
    starts_at = PlantMomentFormField(label="From")
    ends_at = PlantMomentFormField(label="Until")
    long_ok = forms.BooleanField(label=LONG_OK, required=False)

    def __init__(self, *args: Any, user: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["place"].offer(user)
        planned = Reason.objects.in_use().filter(loss_class=LossClass.PLANNED)
        self.fields["reason"].queryset = planned

    def facts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in (*FACTS, "long_ok")}


class CorrectPlannedForm(DeclareForm):
    why = forms.CharField(max_length=200, label="Why")

    def __init__(self, *args: Any, planned: PlannedStop, **kwargs: Any) -> None:
        initial = {name: getattr(planned, name) for name in FACTS}
        super().__init__(*args, initial=initial, **kwargs)
        own = Reason.objects.filter(pk=planned.reason_id)
        self.fields["reason"].queryset |= own

    def changes(self) -> dict[str, Any]:
        return {
            name: self.cleaned_data[name] for name in FACTS if name in self.changed_data
        }
