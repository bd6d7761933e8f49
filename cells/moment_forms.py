"""The form side of a moment: plant time in, UTC out, and the question which.

Local wall time exists only here and in files. On the night the clocks go back an
hour happens twice. A form that is an ``AsksWhich`` then grows a second field with
the two moments that it could be; any other says them in its refusal, and the same
text with an offset answers it.
"""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from cells.working_time.plant_time import ClockChangeError, parse_moment


class PlantMomentFormField(forms.Field):
    """``2026-03-02T06:05`` in plant time, or with an offset."""

    widget = forms.DateTimeInput(
        attrs={"type": "datetime-local", "step": "1"}, format="%Y-%m-%dT%H:%M:%S"
    )
    #: Put here by a form that AsksWhich: its answer, and the plant's zone, read once.
    chosen: datetime | None = None
    zone: ZoneInfo | None = None

    def __init__(self, **kwargs: Any) -> None:
        # What the model field passes and only a number field would know.
        kwargs.pop("min_value", None)
        kwargs.pop("max_value", None)
        super().__init__(**kwargs)

    def read(self, text: str) -> datetime:
        """The moment a text means. ClockChangeError if it could be two."""
        return parse_moment(text, self.plant_zone())

    def plant_zone(self) -> ZoneInfo:
        return self.zone or _plant_zone()

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, datetime):
            return value.astimezone(self.plant_zone()).replace(tzinfo=None)
        return value

    def to_python(self, value: Any) -> datetime | None:
        if value in self.empty_values:
            return None
        if isinstance(value, datetime):
            return value.astimezone(UTC)
        try:
            return self.read(str(value).strip())
        except ClockChangeError as error:
            if self.chosen in error.moments:
                return self.chosen
            raise ValidationError(str(error), code="moment") from error
        except ValueError as error:
            raise ValidationError(str(error), code="moment") from error

    def either(self, shown: Any) -> tuple[datetime, ...]:
        """The two moments that a value as shown or sent could be; else none."""
        text = shown.isoformat() if isinstance(shown, datetime) else str(shown or "")
        try:
            self.read(text.strip())
        except ClockChangeError as error:
            return error.moments
        except ValueError:
            pass
        return ()


class AsksWhich(forms.BaseForm):
    """Mixed into a form: an ambiguous moment brings a field that asks which."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zone = _plant_zone()
        for name, field in list(self.fields.items()):
            if isinstance(field, PlantMomentFormField):
                field.zone = zone
                self._ask_which(name, field)

    def _ask_which(self, name: str, field: PlantMomentFormField) -> None:
        moments = field.either(self[name].value())
        if not moments:
            return
        which = f"{name}_which"
        by_text = {moment.isoformat(): moment for moment in moments}
        initial = self.get_initial_for_field(field, name)
        order = list(self.fields)
        self.fields[which] = forms.ChoiceField(
            label=f"{field.label or name}: which of the two?",
            choices=[
                (text, _with_zone(moment, field.plant_zone()))
                for text, moment in by_text.items()
            ],
            widget=forms.RadioSelect,
            required=False,
            initial=initial.isoformat() if initial in moments else None,
        )
        order.insert(order.index(name) + 1, which)
        self.order_fields(order)
        if self.is_bound:
            field.chosen = by_text.get(self.data.get(self.add_prefix(which), ""))


def _plant_zone() -> ZoneInfo:
    from cells.models import Plant

    return Plant.current().zone


def _with_zone(moment: datetime, zone: ZoneInfo) -> str:
    local = timezone.localtime(moment, zone)
    return f"{local:%H:%M %Z} ({local.isoformat(timespec='minutes')})"
