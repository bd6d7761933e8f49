"""The form of a tally, inside a shift."""

from typing import Any

from django import forms

from cells.models import Cell, Shift
from maintenance.forms.fields import CellChoiceField, MinutesFormField
from maintenance.models import Reason, Tally


class TallyForm(forms.Form):
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
        self.cell = cell
        self.fields["reason"].queryset = Reason.objects.for_stops()
        if cell is None:
            self.fields["cell"].queryset = shift.line.cells.all()
        else:
            del self.fields["cell"]

    def facts(self) -> dict[str, Any]:
        return {"cell": self.cell, "shift": self.shift, **self.cleaned_data}


class CorrectTallyForm(forms.Form):
    """The numbers or the reason of a tally, and why they change."""

    reason = forms.ModelChoiceField(queryset=Reason.objects.none())
    times = forms.IntegerField(
        min_value=1, widget=forms.NumberInput(attrs={"inputmode": "numeric"})
    )
    seconds = MinutesFormField(label="Minutes in all")
    why = forms.CharField(max_length=200, label="Why")

    def __init__(self, *args: Any, tally: Tally, **kwargs: Any) -> None:
        names = ("reason", "times", "seconds")
        initial = {name: getattr(tally, name) for name in names}
        super().__init__(*args, initial=initial, **kwargs)
        own = Reason.objects.filter(pk=tally.reason_id)
        self.fields["reason"].queryset = Reason.objects.for_stops() | own

    def changes(self) -> dict[str, Any]:
        names = ("reason", "times", "seconds")
        return {name: self.cleaned_data[name] for name in names}
