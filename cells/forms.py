"""Where text becomes facts of the registry and the calendar."""

from decimal import Decimal
from typing import Any

from django import forms

from cells.calendar import PatternFacts
from cells.models import Area, Cell, Line, Machine, MachineKind, Meter, Placement
from cells.moment_forms import PlantMomentFormField
from cells.plant_forms import DateField, PlantForm, TimeField, WhyField

CODE_HELP = "Letters, digits, dots, dashes. It stays for good: labels carry it."
BREAKS_HELP = "Like 09:00-09:10;11:30-12:00, in plant time. Empty: none."


class PlaceField(forms.ModelChoiceField):
    """An area, a line or a cell by its code."""

    def __init__(self, queryset: Any, **kwargs: Any) -> None:
        super().__init__(queryset, to_field_name="code", **kwargs)

    def label_from_instance(self, place: Any) -> str:
        return f"{place.code} {place.name}"


class AreaForm(PlantForm):
    code = forms.CharField(max_length=20, help_text=CODE_HELP)
    name = forms.CharField(max_length=80)


class ChangeAreaForm(PlantForm):
    name = forms.CharField(max_length=80)
    why = WhyField()


class TargetForm(PlantForm):
    percent = forms.DecimalField(
        label="OEE target, %",
        min_value=1,
        max_value=100,
        max_digits=5,
        decimal_places=2,
    )
    valid_from = DateField(label="Valid from")
    why = WhyField()

    def facts(self) -> dict[str, Any]:
        facts = super().facts()
        return {"oee": facts.pop("percent") / Decimal(100), **facts}


class LineForm(PlantForm):
    code = forms.CharField(max_length=20, help_text=CODE_HELP)
    area = PlaceField(Area.objects.all())
    name = forms.CharField(max_length=80)
    order = forms.IntegerField(
        min_value=0, max_value=9999, help_text="Place in the area's flow."
    )


class ChangeLineForm(PlantForm):
    name = forms.CharField(max_length=80)
    order = forms.IntegerField(
        min_value=0, max_value=9999, help_text="Place in the area's flow."
    )
    why = WhyField()


class CountingCellForm(PlantForm):
    counting_cell = PlaceField(
        Cell.objects.none(),
        required=False,
        label="Counting cell",
        help_text="Its account stands for the line. Empty: the line has no OEE.",
    )
    why = WhyField()

    def __init__(self, *args: Any, line: Line, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["counting_cell"]
        field.queryset = line.cells.filter(retired_on=None)

    def facts(self) -> dict[str, Any]:
        facts = super().facts()
        return {"cell": facts.pop("counting_cell"), **facts}


class CellFacts(PlantForm):
    name = forms.CharField(max_length=80)
    order = forms.IntegerField(
        min_value=0, max_value=9999, help_text="Place in the line's flow."
    )
    leg = forms.CharField(
        max_length=10, required=False, help_text="Of parallel legs, which one."
    )
    criticality = forms.ChoiceField(
        choices=[("", "not reviewed"), *Cell.Criticality.choices], required=False
    )
    heads_limit = forms.IntegerField(
        label="Heads limit",
        min_value=1,
        max_value=99,
        required=False,
        help_text="People who may work in the cell at once.",
    )


class CellForm(CellFacts):
    code = forms.CharField(max_length=20, help_text=CODE_HELP)
    line = PlaceField(Line.objects.select_related("area"))
    field_order = ["code", "line"]


class ChangeCellForm(CellFacts):
    why = WhyField()


class LockoutForm(PlantForm):
    sheet = forms.CharField(
        label="Sheet number",
        max_length=40,
        required=False,
        help_text="As on the sheet.",
    )
    revision = forms.CharField(max_length=20, required=False)
    revised_on = DateField(label="Date of the revision", required=False)
    why = WhyField()


class RetireForm(PlantForm):
    retired_on = DateField(
        label="Retired on", help_text="From this date the cell has no shifts."
    )
    why = WhyField()


class BankForm(PlantForm):
    to_cell = PlaceField(
        Cell.objects.filter(retired_on=None), label="To cell (next in the flow)"
    )
    capacity = forms.IntegerField(
        min_value=0, max_value=100_000, label="Capacity, bodies"
    )
    why = WhyField()


class MachineFacts(PlantForm):
    kind = forms.ChoiceField(choices=MachineKind.choices)
    model = forms.CharField(max_length=80, required=False)
    tags = forms.CharField(
        max_length=200,
        required=False,
        help_text="Separated by semicolons. Routines may ask for them.",
    )

    def clean_tags(self) -> list[str]:
        tags = (tag.strip() for tag in self.cleaned_data["tags"].split(";"))
        return sorted({tag for tag in tags if tag})


class MachineForm(MachineFacts):
    serial = forms.CharField(label="Serial number", max_length=40)
    field_order = ["serial"]


class ChangeMachineForm(MachineFacts):
    why = WhyField()


class PlaceMachineForm(PlantForm):
    cell = PlaceField(Cell.objects.filter(retired_on=None))
    position = forms.CharField(
        max_length=40, help_text="Robot or equipment place, like R01."
    )
    placed_on = DateField(label="Placed on")


class RemoveMachineForm(PlantForm):
    removed_on = DateField(label="Removed on")
    why = WhyField()


class SwapMachineForm(PlantForm):
    into = forms.ModelChoiceField(
        Machine.objects.exclude(
            pk__in=Placement.objects.filter(removed_on=None).values("machine")
        ),
        to_field_name="serial",
        label="Comes in",
        help_text="Machines that stand nowhere now. Add a new one first.",
    )
    swapped_on = DateField(label="Swapped on")
    why = WhyField()


class MeterFacts(PlantForm):
    unit = forms.CharField(max_length=20, required=False, help_text="Like h or spots.")
    max_per_hour = forms.DecimalField(
        label="Most per hour",
        max_digits=14,
        decimal_places=3,
        required=False,
        help_text="The most it can run in an hour; faster readings ask a question.",
    )


class MeterForm(MeterFacts):
    name = forms.CharField(max_length=40, help_text="Like motion hours.")
    field_order = ["name"]


class ChangeMeterForm(MeterFacts):
    why = WhyField()


class ReadingFacts(PlantForm):
    value = forms.DecimalField(label="Reading", max_digits=16, decimal_places=3)
    read_at = PlantMomentFormField(label="Read at")


class ReadingForm(ReadingFacts):
    meter = forms.ModelChoiceField(Meter.objects.none())
    field_order = ["meter"]

    def __init__(self, *args: Any, machine: Machine, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["meter"]
        field.queryset = machine.meters.all()
        field.label_from_instance = lambda meter: f"{meter.name} ({meter.unit or '1'})"
        if machine.meters.count() == 1:
            field.initial = machine.meters.first()
            field.empty_label = None


class CorrectReadingForm(ReadingFacts):
    why = WhyField()


class PlaceOfCalendar(PlantForm):
    """An area, or one line of it."""

    area = PlaceField(Area.objects.all())
    line = PlaceField(
        Line.objects.select_related("area"),
        required=False,
        help_text="Empty: all lines of the area.",
    )


class PatternFields(PlantForm):
    name = forms.CharField(max_length=40, help_text="Like Early.")
    weekdays = forms.CharField(max_length=40, help_text="Like mon-fri or sat,sun.")
    start = TimeField(help_text="On the plant's clock.")
    end = TimeField(help_text="Not after the start: ends the next day.")
    breaks = forms.CharField(max_length=200, required=False, help_text=BREAKS_HELP)
    date_offset = forms.TypedChoiceField(
        label="Belongs to",
        coerce=int,
        initial=0,
        choices=[
            (0, "the date on which it starts"),
            (1, "the day after it starts"),
            (-1, "the day before it starts"),
        ],
    )

    def facts(self) -> dict[str, Any]:
        """The pattern's own facts as one, the rest beside them."""
        rest = super().facts()
        own = {name: rest.pop(name) for name in PatternFacts._fields}
        return {"facts": PatternFacts(**own), **rest}


class PatternForm(PatternFields, PlaceOfCalendar):
    valid_from = DateField(label="Valid from", help_text="Its first day.")
    valid_to = DateField(label="Valid to", required=False, help_text="Its last day.")
    why = WhyField(required=False)
    field_order = ["area", "line"]


class ChangePatternForm(PatternFields):
    from_date = DateField(
        label="Changed from",
        help_text="Shifts before this date stay as they were. To correct the pattern "
        "from its start, give its first day.",
    )
    why = WhyField()
    field_order = ["from_date"]


class EndPatternForm(PlantForm):
    last_day = DateField(label="Last day")
    why = WhyField()


class DayOffForm(PlantForm):
    on = DateField(label="Date")
    area = PlaceField(
        Area.objects.all(), required=False, help_text="Empty: the whole plant."
    )
    line = PlaceField(
        Line.objects.select_related("area"),
        required=False,
        help_text="Empty: all lines of the area.",
    )
    name = forms.CharField(max_length=80, help_text="Like Easter Monday.")
    why = WhyField(required=False)


class OneOffForm(PlaceOfCalendar):
    name = forms.CharField(
        max_length=40,
        help_text="The name of a pattern's shift stands in for it on that date.",
    )
    starts_at = PlantMomentFormField(label="Starts at")
    ends_at = PlantMomentFormField(
        label="Ends at", help_text="The same as the start cancels the shift."
    )
    breaks = forms.CharField(max_length=200, required=False, help_text=BREAKS_HELP)
    why = WhyField(required=False)
