"""The filters of the lists; all of them live in the URL."""

from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.db.models import Exists, OuterRef, Q, Value
from django.db.models.functions import Coalesce

from cells import clock
from cells.models import Area, Cell, Line, Plant, Shift
from cells.moments import MomentField
from cells.plant_forms import DateField, PlantForm
from cells.working_time.plant_time import day_start
from maintenance.models import LossClass, PlannedStop, Reason, Stop, Tally
from maintenance.models.stops import StopQuerySet

#: No shift reaches further beyond its production date.
NEAR = timedelta(days=2)
LONGEST = 400  # days; beyond a year a list is no answer

STANDING = ("", "standing")
WITHDRAWN = ("withdrawn", "withdrawn")


class PeriodFilter(PlantForm):
    """From a date to a date, both of them in; without any, the days around today."""

    first = DateField(label="From")
    last = DateField(label="To")
    days_back, days_ahead = 6, 0

    def __init__(self, data: Any) -> None:
        today = clock.today()
        period = {
            "first": today - timedelta(days=self.days_back),
            "last": today + timedelta(days=self.days_ahead),
        }
        super().__init__(
            {**period, **{name: data[name] for name in data if data[name]}}
        )
        for field in self.fields.values():
            field.required = False
            if isinstance(field, forms.ModelChoiceField):
                field.empty_label = "all"

    def clean(self) -> None:
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        if not (first and last):
            return
        if last < first:
            self.add_error("last", f"{last} lies before {first}: swap the two dates.")
        elif (last - first).days >= LONGEST:
            self.add_error(
                "first",
                f"{first} to {last} is longer than {LONGEST} days: choose less, and "
                "take the CSV of each part.",
            )

    def moments(self) -> tuple[datetime, datetime]:
        zone = Plant.current().zone
        after: date = self.cleaned_data["last"] + timedelta(days=1)
        return day_start(self.cleaned_data["first"], zone), day_start(after, zone)


class StopFilter(PeriodFilter):
    area = forms.ModelChoiceField(Area.objects.all(), to_field_name="code")
    line = forms.ModelChoiceField(Line.objects.all(), to_field_name="code")
    cell = forms.ModelChoiceField(Cell.objects.all(), to_field_name="code")
    loss_class = forms.ChoiceField(
        choices=[("", "all"), *LossClass.choices[1:]], label="Class"
    )
    reason = forms.ModelChoiceField(
        Reason.objects.exclude(loss_class=LossClass.PLANNED), to_field_name="code"
    )
    state = forms.ChoiceField(
        choices=[STANDING, ("running", "still running"), WITHDRAWN]
    )

    COLUMNS = {
        "area": "cell__line__area",
        "line": "cell__line",
        "cell": "cell",
        "loss_class": "reason__loss_class",
        "reason": "reason",
    }

    def stops(self) -> StopQuerySet:
        """The newest first; none while a filter cannot be read.

        Dates are production dates, as in the account: a stop of the night after belongs
        to them. One outside all shifts goes by the calendar.
        """
        if not self.is_valid():
            return Stop.objects.none()
        wanted = self.cleaned_data
        start, end = self.moments()
        until = Coalesce(
            OuterRef("ended_at"), Value(clock.now(), output_field=MomentField())
        )
        touched = Shift.objects.worked().filter(
            line=OuterRef("cell__line"),
            starts_at__lt=until,
            ends_at__gt=OuterRef("started_at"),
        )
        dates = (wanted["first"], wanted["last"])
        outside = Q(ended_at=None) | Q(ended_at__gt=start), Q(started_at__lt=end)
        stops = (
            Stop.objects.touching(start - NEAR, end + NEAR)
            .filter(**self._places(), withdrawn=wanted["state"] == "withdrawn")
            .filter(
                Exists(touched.filter(production_date__range=dates))
                | Q(*outside) & ~Exists(touched)
            )
        )
        if wanted["state"] == "running":
            stops = stops.filter(ended_at=None)
        related = stops.select_related("cell__line__area", "reason", "logged_by")
        return related.order_by("-started_at", "-ref")

    def tallies(self) -> Any:
        """What has no clock time: of these production dates, the newest first."""
        wanted = self.cleaned_data
        if not self.is_valid() or wanted["state"]:
            return Tally.objects.none()
        tallies = Tally.objects.filter(
            **self._places(),
            withdrawn=False,
            shift__production_date__range=(wanted["first"], wanted["last"]),
        )
        related = tallies.select_related("cell__line", "shift__line", "reason")
        return related.order_by("-shift__starts_at", "cell__code", "reason__code")

    def _places(self) -> dict[str, Any]:
        wanted = self.cleaned_data
        return {
            column: wanted[name]
            for name, column in self.COLUMNS.items()
            if wanted[name]
        }


class PlannedFilter(PeriodFilter):
    state = forms.ChoiceField(choices=[STANDING, WITHDRAWN])
    days_back, days_ahead = 6, 28

    def planned_stops(self) -> Any:
        """The earliest first; none while a filter cannot be read."""
        if not self.is_valid():
            return PlannedStop.objects.none()
        start, end = self.moments()
        planned = PlannedStop.objects.filter(
            starts_at__lt=end,
            ends_at__gt=start,
            withdrawn=self.cleaned_data["state"] == "withdrawn",
        )
        return planned.select_related(
            "area", "line__area", "cell__line__area", "reason", "declared_by"
        )
