"""Forms of reasons: add and change."""

from typing import Any

from django import forms

from cells.plant_forms import PlantForm, WhyField
from maintenance.models import LossClass, Reason
from maintenance.reasons import FACTS


class AddReasonForm(PlantForm):
    code = forms.SlugField(
        max_length=40, help_text="What files call it. It stays for good."
    )
    name = forms.CharField(max_length=80, help_text="What a leader says.")
    loss_class = forms.ChoiceField(choices=LossClass.choices, label="Class")
    group = forms.CharField(max_length=60, required=False)
    subgroup = forms.CharField(max_length=60, required=False)


class ChangeReasonForm(PlantForm):
    name = forms.CharField(max_length=80)
    loss_class = forms.ChoiceField(choices=LossClass.choices, label="Class")
    group = forms.CharField(max_length=60, required=False)
    subgroup = forms.CharField(max_length=60, required=False)
    why = WhyField()

    def __init__(self, *args: Any, reason: Reason, **kwargs: Any) -> None:
        initial = {name: getattr(reason, name) for name in FACTS}
        super().__init__(*args, **kwargs, initial=initial)

    def facts(self) -> dict[str, Any]:
        """For ``change_reason``."""
        facts = super().facts()
        return {"why": facts.pop("why"), "changes": facts}
