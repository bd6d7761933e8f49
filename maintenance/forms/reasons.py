"""Forms of reasons: add and change."""

from typing import Any

from django import forms

from maintenance.models import LossClass, Reason
from maintenance.reasons import FACTS


class AddReasonForm(forms.Form):
    code = forms.SlugField(
        max_length=40, help_text="What files call it. It stays for good."
    )
    name = forms.CharField(max_length=80, help_text="What a leader says.")
    loss_class = forms.ChoiceField(choices=LossClass.choices, label="Class")
    group = forms.CharField(max_length=60, required=False)
    subgroup = forms.CharField(max_length=60, required=False)


class ChangeReasonForm(forms.Form):
    name = forms.CharField(max_length=80)
    loss_class = forms.ChoiceField(choices=LossClass.choices, label="Class")
    group = forms.CharField(max_length=60, required=False)
    subgroup = forms.CharField(max_length=60, required=False)
    why = forms.CharField(max_length=200, label="Why")

    def __init__(self, *args: Any, reason: Reason, **kwargs: Any) -> None:
        initial = {name: getattr(reason, name) for name in FACTS}
        super().__init__(*args, initial=initial, **kwargs)

    def changes(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in FACTS}
