"""The form of a tally, inside a shift."""

from typing import Any

from django import forms

from cells.models import Cell, Shift
from cells.plant_forms import CorrectsRecord, PlantForm, WhyField
from maintenance.forms.fields import CellChoiceField, MinutesFormField, offer
from maintenance.models import Reason, Tally


class TallyForm(PlantForm):
    """“Tip stick, 7 times, about 9 min.” ``facts()`` are for ``log_tally``."""

    cell = CellChoiceField(queryset=Cell.objects.none())
    reason = forms.ModelChoiceField(queryset=Reason.objects.none())
    times = forms.IntegerField(
        min_value=1, widget=forms.NumberInput(attrs={"inputmode": "numeric"})
    )
    seconds = MinutesFormField(label="Minutes in all")

    def __init__(
        self, *args: Any, shift: Shift, cell: Cell | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.shift = shift
        self.of_cell = cell
        offer(self, "reason", Reason.objects.for_stops())
        if cell is None:
            offer(self, "cell", shift.line.cells.all())
        else:
            del self.fields["cell"]

    def facts(self) -> dict[str, Any]:
        return {"cell": self.of_cell, "shift": self.shift, **super().facts()}


class CorrectTallyForm(CorrectsRecord):
    """The numbers or the reason of a tally, and why they change."""

    reason = forms.ModelChoiceField(queryset=Reason.objects.none())
    times = forms.IntegerField(
        min_value=1, widget=forms.NumberInput(attrs={"inputmode": "numeric"})
    )
    seconds = MinutesFormField(label="Minutes in all")
    why = WhyField()

    def __init__(self, *args: Any, tally: Tally, **kwargs: Any) -> None:
        names = ("reason", "times", "seconds")
        initial = {name: getattr(tally, name) for name in names}
        super().__init__(*args, **kwargs, initial=initial, record=tally)
        own = Reason.objects.filter(pk=tally.reason_id)
        offer(self, "reason", Reason.objects.for_stops() | own)

    def changes(self) -> dict[str, Any]:
        names = ("reason", "times", "seconds")
        return {name: self.cleaned_data[name] for name in names}
