"""What a leader enters on the shift page beside the stops' and tallies' own forms."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django import forms

from cells.models import Cell, Shift
from cells.moment_forms import AsksWhich
from maintenance.forms.fields import MinutesFormField, ShiftClockFormField
from maintenance.forms.stops import StopInShiftForm
from maintenance.models import Stop


class LogStopForm(StopInShiftForm):
    """Start and minutes, start and end, or start and "it still stands"."""

    minutes = MinutesFormField(required=False)
    running = forms.BooleanField(label="It still stands", required=False)

    field_order = (
        "reason",
        "started_at",
        "minutes",
        "ended_at",
        "running",
        "position",
        "note",
    )

    def __init__(self, *args: Any, shift: Shift, cell: Cell, **kwargs: Any) -> None:
        super().__init__(*args, shift=shift, cell=cell, **kwargs)
        # Bound already, while it was asked whether the clocks make it ambiguous.
        self["ended_at"].label, self["ended_at"].help_text = "or until", ""

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        start, end = given.get("started_at"), given.get("ended_at")
        minutes, running = given.get("minutes"), given.get("running")
        if start is None or self.errors:
            return given
        if running and (minutes or end):
            self.add_error("running", "It still stands, or it ended: clear one.")
        elif minutes is not None:
            given["ended_at"] = self._end(start, minutes, end)
        elif end is None and not running:
            self.add_error(
                "minutes",
                "Give the minutes or the time of the end, or tick that it still "
                "stands.",
            )
        return given

    def _end(self, start: datetime, seconds: int, end: datetime | None) -> datetime:
        by_minutes = start + timedelta(seconds=seconds)
        if end is not None and end != by_minutes:
            self.add_error(
                "minutes", "The minutes and the end do not agree: clear one of them."
            )
        return by_minutes


class ConfirmForm(AsksWhich, forms.Form):
    """Of every stop without an end: is it still running, or when did it end?"""

    RUNNING, ENDED = "running", "ended"

    def __init__(
        self, *args: Any, shift: Shift, stops: Iterable[Stop], **kwargs: Any
    ) -> None:
        self.stops = list(stops)
        asked: dict[str, forms.Field] = {}
        for stop in self.stops:
            asked[f"stop_{stop.pk}"] = forms.ChoiceField(
                label=f"{stop.cell}: {stop.reason}. Still running?",
                choices=[
                    (self.RUNNING, "Yes, it still stands"),
                    (self.ENDED, "No, it ended at"),
                ],
                widget=forms.RadioSelect,
                error_messages={"required": "Say whether it is still running."},
            )
            asked[f"end_{stop.pk}"] = ShiftClockFormField(
                shift=shift, closes=True, label="End", required=False
            )
        # Before the form is made, so that it can ask which of two equal clock times.
        self.base_fields = asked  # type: ignore[misc]
        super().__init__(*args, **kwargs)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        for stop in self.stops:
            end_field = f"end_{stop.pk}"
            answer, end = given.get(f"stop_{stop.pk}"), given.get(end_field)
            if answer == self.ENDED and end is None and end_field not in self.errors:
                self.add_error(end_field, "Give the time at which it ended.")
            elif answer == self.RUNNING and end is not None:
                self.add_error(
                    end_field, "It still stands, or it ended: clear one of them."
                )
        return given

    def ended(self) -> list[tuple[Stop, datetime]]:
        given = self.cleaned_data
        return [
            (stop, given[f"end_{stop.pk}"])
            for stop in self.stops
            if given[f"stop_{stop.pk}"] == self.ENDED
        ]

    def still_running(self) -> list[Stop]:
        given = self.cleaned_data
        return [stop for stop in self.stops if given[f"stop_{stop.pk}"] == self.RUNNING]
