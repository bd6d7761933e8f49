"""Where the floor's words become moments and seconds."""

import re
from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from cells import clock
from cells.models import Shift
from cells.moment_forms import PlantMomentFormField
from cells.plant_forms import PlantForm
from cells.templatetags.figures import clock as shown
from cells.working_time.plant_time import (
    ClockChangeError,
    parse_clock_time,
    to_moment,
    to_wall,
)
from maintenance.stop_rules import LONGEST

_MINUTES = re.compile(r"(\d{1,7})(?:[.,](\d{1,3})|:([0-5]\d))?")


class ShiftClockFormField(PlantMomentFormField):
    """``22:15`` inside one shift, so that nobody types a date.

    A start lies in [start, end) of the shift, an end (``closes``) in (start, end].
    """

    widget: Any = forms.TimeInput(attrs={"type": "time", "step": "60"}, format="%H:%M")

    def __init__(self, *, shift: Shift, closes: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.shift = shift
        self.closes = closes

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, datetime):
            return to_wall(value, self.plant_zone()).strftime("%H:%M")
        return value

    def read(self, text: str) -> datetime:
        inside = [moment for moment in self._moments(text) if self._lies_in(moment)]
        if not inside:
            span = f"{shown(self.shift.starts_at)} to {shown(self.shift.ends_at)}"
            raise ValueError(
                f"{text} lies outside the shift, {span}: give a time in it. What "
                "began before or goes on after belongs to another shift’s page."
            )
        if len(inside) > 1:
            raise ClockChangeError(
                f"{text} comes twice in this shift: choose which of the two it was.",
                (inside[0], inside[-1]),
            )
        return inside[0]

    def _moments(self, text: str) -> list[datetime]:
        wanted = parse_clock_time(text)
        zone = self.plant_zone()
        first = to_wall(self.shift.starts_at, zone).date()
        last = to_wall(self.shift.ends_at, zone).date()
        found = []
        for days in range((last - first).days + 1):
            wall = datetime.combine(first + timedelta(days=days), wanted)
            try:
                found.append(to_moment(wall, zone))
            except ClockChangeError as error:
                if any(self._lies_in(moment) for moment in error.moments):
                    if to_wall(error.moments[0], zone) != wall:
                        raise  # a time that the clocks skipped that night
                    found.extend(error.moments)
        return found

    def _lies_in(self, moment: datetime) -> bool:
        if self.closes:
            return self.shift.starts_at < moment <= self.shift.ends_at
        return self.shift.starts_at <= moment < self.shift.ends_at


class MinutesFormField(forms.Field):
    """Seconds, entered as minutes: ``9``, ``9.5`` or ``9:30``."""

    widget = forms.TextInput(attrs={"inputmode": "decimal"})

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int):
            minutes, seconds = divmod(value, 60)
            return f"{minutes}:{seconds:02}" if seconds else str(minutes)
        return value

    def to_python(self, value: Any) -> int | None:
        if value in self.empty_values:
            return None
        if isinstance(value, int):
            return value
        match = _MINUTES.fullmatch(str(value).strip())
        if match is None:
            raise ValidationError(
                f"“{value}” is not a number of minutes: write it like 9, 9.5 or 9:30.",
                code="minutes",
            )
        whole, decimals, seconds = match.groups()
        if seconds is not None:
            return int(whole) * 60 + int(seconds)
        exact, rest = divmod(
            60 * int(decimals or 0), 10 ** len(decimals) if decimals else 1
        )
        if rest:
            raise ValidationError(
                f"“{value}” minutes is no whole number of seconds: write it like 9:20.",
                code="seconds",
            )
        return int(whole) * 60 + exact


class AsksIfLong(PlantForm):
    """Grows the tick “it really was that long” once a span makes one wonder."""

    long_ok = forms.BooleanField(
        label=f"It really was longer than {LONGEST.days} days", required=False
    )
    span = ("started_at", "ended_at")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        last = [name for name in ("long_ok", "why") if name in self.fields]
        self.order_fields([*(name for name in self.fields if name not in last), *last])
        if not self.is_bound:
            del self.fields["long_ok"]

    def clean(self) -> dict[str, Any] | None:
        given = super().clean()
        start, end = (self.cleaned_data.get(name) for name in self.span)
        if not start or (end or clock.now()) - start <= LONGEST:
            del self.fields["long_ok"]
        return given


def offer(form: forms.BaseForm, name: str, queryset: QuerySet[Any]) -> None:
    """What a field of a form lets people choose from."""
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = queryset


class CellChoiceField(forms.ModelChoiceField):
    """Cells by code, with their names beside it."""

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.code} {obj.name}"
