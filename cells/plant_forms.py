"""What every form of the product shares: whole sentences, plant time, facts for a verb.

Django's own words ("Enter a whole number.") name neither field nor value, so they get
both in front. What a verb refuses is put beside the field that it names.
"""

from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model

from cells.edits import CHANGED_MEANWHILE, newest_change
from cells.moment_forms import AsksWhich
from cells.working_time.plant_time import FIRST_YEAR, LAST_YEAR

# Codes of errors that a form field raises by itself, in Django's words.
_DJANGOS_OWN = {
    "invalid",
    "invalid_choice",
    "invalid_list",
    "invalid_pk_value",
    "max_decimal_places",
    "max_digits",
    "max_length",
    "max_value",
    "max_whole_digits",
    "min_length",
    "min_value",
    "null_characters_not_allowed",
    "step_size",
}


class PlantForm(AsksWhich, forms.Form):
    """``facts()`` are the keyword arguments of the verb behind the form."""

    def facts(self) -> dict[str, Any]:
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if not name.endswith("_which")
        }

    def add_error(self, field: str | None, error: Any) -> None:
        if field is not None and isinstance(error, ValidationError):
            error = ValidationError(
                [self._said(field, one) for one in error.error_list]
            )
        super().add_error(field, error)

    def _said(self, field: str, error: ValidationError) -> ValidationError:
        label = self[field].label
        words = error.messages[0]
        if error.code == "required":
            words = f"{label} is empty: fill it in."
        elif error.code in _DJANGOS_OWN:
            words = f"{label} “{self[field].data}”: {words}"
        return ValidationError(words, code=error.code)


def add_errors(form: forms.BaseForm, error: ValidationError) -> None:
    """Put what a verb refused beside the field it names, else above the form."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for field, errors in error.error_dict.items():
        known = field if field in form.fields else None
        form.add_error(known, ValidationError(errors))


class DateField(forms.DateField):
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")

    def to_python(self, value: Any) -> date | None:
        day = super().to_python(value)
        if day is not None and not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise ValidationError(
                f"{day} lies outside the years {FIRST_YEAR} to {LAST_YEAR}: check the "
                "year.",
                code="year",
            )
        return day


class TimeField(forms.TimeField):
    widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")


class WhyField(forms.CharField):
    """Stands in the trail beside what was changed."""

    def __init__(self, **kwargs: Any) -> None:
        given = {"label": "Why", "max_length": 200, "help_text": "Kept in the trail."}
        super().__init__(**{**given, **kwargs})


class WhyForm(PlantForm):
    """Nothing to enter but the reason."""

    why = WhyField()


class CorrectsRecord(PlantForm):
    """Carries what its page showed of a record, so that nobody overwrites it unseen.

    ``facts()`` then hold ``seen``, for the verb; see ``cells.edits``.
    """

    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, record: Model | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if record is not None and not self.is_bound:
            self.initial["seen"] = newest_change(record)

    def add_error(self, field: str | None, error: Any) -> None:
        for one in getattr(error, "error_list", []):
            if one.code == CHANGED_MEANWHILE:
                # Refused with both versions: what is sent next is meant.
                seen = {self.add_prefix("seen"): str(one.params["seen"])}
                self.data = {**dict(self.data.items()), **seen}
        super().add_error(field, error)
