"""Ideal cycles, variants, and the bodies planned per shift."""

from collections.abc import Iterable
from typing import Any

from django import forms

from cells.models import Shift
from cells.plant_forms import DateField, PlantForm, WhyField
from oee.models import Variant


class VariantChoice(forms.ModelChoiceField):
    def label_from_instance(self, variant: Any) -> str:
        return f"{variant.code} {variant.name}"


class CycleForm(PlantForm):
    """``facts()`` are for ``set_ideal_cycle``."""

    variant = VariantChoice(Variant.objects.all(), to_field_name="code")
    seconds = forms.DecimalField(
        label="Seconds per body at best",
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        help_text="Like 58.5. At most 6 decimals.",
    )
    valid_from = DateField(
        label="Valid from",
        help_text="A production date. The date of a cycle above corrects that one.",
    )
    why = WhyField()


class AddVariantForm(PlantForm):
    code = forms.CharField(
        max_length=20, help_text="As in the files. It stays for good."
    )
    name = forms.CharField(max_length=80)


class RenameVariantForm(PlantForm):
    name = forms.CharField(max_length=80)
    why = WhyField()


class PlanForm(PlantForm):
    """Bodies of many shifts, and one reason for all that change.

    What each field showed comes back with it, so that a page left open overwrites
    only what was typed there.
    """

    why = WhyField(
        required=False,
        help_text="Needed where a plan that stands is changed. Kept in the trail.",
    )

    def __init__(self, *args: Any, shifts: Iterable[Shift], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shifts = {f"shift_{shift.pk}": shift for shift in shifts}
        for name, shift in self.shifts.items():
            self.fields[name] = forms.IntegerField(
                label=f"Bodies planned for {shift}",
                required=False,
                show_hidden_initial=True,
                initial=bodies_of(shift),
                widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
            )

    def clean(self) -> None:
        for name in self.changed():
            if self.cleaned_data.get(name, 0) is None:
                shift = self.shifts[name]
                self.add_error(
                    name,
                    f"The plan of {shift} cannot be emptied: enter 0 where nothing is "
                    "to be built.",
                )

    def changed(self) -> list[str]:
        return [name for name in self.changed_data if name in self.shifts]


def bodies_of(shift: Shift) -> int | None:
    return shift.plan.bodies if hasattr(shift, "plan") else None
