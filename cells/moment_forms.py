"""The form side of a moment: plant time in, UTC out, and the question which.

Local wall time exists only here and in files. On the night the clocks go back an
hour happens twice; the form then says which two moments it could be and the same
text with an offset answers it.
"""

from datetime import UTC, datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from cells.working_time.plant_time import parse_moment


class PlantMomentFormField(forms.Field):
    """``2026-03-02T06:05`` in plant time, or with an offset."""

    widget = forms.DateTimeInput(
        attrs={"type": "datetime-local", "step": "1"}, format="%Y-%m-%dT%H:%M:%S"
    )

    def __init__(self, **kwargs: Any) -> None:
        # What the model field passes and only a number field would know.
        kwargs.pop("min_value", None)
        kwargs.pop("max_value", None)
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        from cells.models import Plant

        if isinstance(value, datetime):
            return value.astimezone(Plant.current().zone).replace(tzinfo=None)
        return value

    def to_python(self, value: Any) -> datetime | None:
        from cells.models import Plant

        if value in self.empty_values:
            return None
        if isinstance(value, datetime):
            return value.astimezone(UTC)
        try:
            return parse_moment(str(value).strip(), Plant.current().zone)
        except ValueError as error:
            raise ValidationError(str(error), code="moment") from error
