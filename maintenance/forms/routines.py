"""Where text becomes a routine, its steps and its first due dates."""

from typing import Any

from django import forms
from django.forms import BoundField

from cells.meters import MOST
from cells.models import MachineKind, Placement
from cells.plant_forms import DateField, PlantForm, WhyField
from maintenance.models import Routine, Step
from maintenance.planning.routine_rule import LONGEST_DAYS
from maintenance.routines import StepFacts
from maintenance.task_rules import MOST_MINUTES

MOST_HEADS = 100
MOST_VALUES = 100
BLANK_STEPS = 4

LIMITS = ("act_low", "watch_low", "watch_high", "act_high")


class ListField(forms.CharField):
    """Texts separated by semicolons."""

    def prepare_value(self, value: Any) -> Any:
        return ";".join(value) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[str]:
        parts = (part.strip() for part in super().clean(value).split(";"))
        found = list(dict.fromkeys(part for part in parts if part))
        self.validate(found)
        return found


class RoutineFields(PlantForm):
    name = forms.CharField(max_length=120)
    kinds = forms.MultipleChoiceField(
        label="For",
        choices=MachineKind.choices,
        widget=forms.CheckboxSelectMultiple,
        help_text="Kinds of machine it is done on.",
    )
    tags = ListField(
        max_length=200,
        required=False,
        help_text="Only machines that carry all of these, separated by semicolons.",
    )
    every_days = forms.IntegerField(
        label="Every so many days",
        min_value=1,
        max_value=LONGEST_DAYS,
        required=False,
        help_text="Days, meter units, or both: whichever comes first.",
    )
    every_units = forms.DecimalField(
        label="Every so many units of the meter",
        max_value=MOST,
        max_digits=16,
        decimal_places=3,
        required=False,
    )
    meter = forms.CharField(
        max_length=40,
        required=False,
        help_text="The meter’s name, as on the machines. Like motion hours.",
    )
    anchor = forms.ChoiceField(
        label="Counted", choices=Routine.Anchor.choices, widget=forms.RadioSelect
    )
    follows = forms.ChoiceField(
        label="Its dates follow",
        choices=Routine.Follows.choices,
        widget=forms.RadioSelect,
    )
    minutes = forms.IntegerField(min_value=1, max_value=MOST_MINUTES)
    heads = forms.IntegerField(
        min_value=1, max_value=MOST_HEADS, initial=1, help_text="People of each skill."
    )
    skills = ListField(
        max_length=100, help_text="Separated by semicolons, like M or M;E."
    )
    lockout = forms.BooleanField(label="Done under lockout of the cell", required=False)
    running_allowed = forms.BooleanField(
        label="May be done from outside while the cell runs", required=False
    )
    safety = forms.BooleanField(
        label="Safety test: may be early, never late", required=False
    )
    hazards = forms.CharField(
        max_length=2000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="As the plant states them. They open the page of every task.",
    )
    valid_from = DateField(
        label="Valid from",
        required=False,
        help_text="Its clocks start no earlier. Empty: when the machine was placed.",
    )

    def clean(self) -> None:
        given = self.cleaned_data
        if not given.get("every_days") and not given.get("every_units"):
            self._say_once(
                "every_days", "Give every so many days, units of a meter, or both."
            )
        units = given.get("every_units")
        if units is not None and units <= 0:
            self.add_error("every_units", f"{units} units are no interval: give more.")
        if units and not given.get("meter"):
            self.add_error("meter", "Units are of a meter: give the meter’s name.")
        if given.get("lockout") and given.get("running_allowed"):
            self.add_error(
                "running_allowed",
                "Work under lockout cannot be allowed while the cell runs: choose one.",
            )
        if "skills" in given and any(len(skill) > 10 for skill in given["skills"]):
            self.add_error("skills", "A skill’s code has at most 10 characters.")

    def _say_once(self, field: str, words: str) -> None:
        if field not in self.errors:
            self.add_error(field, words)


class RoutineForm(RoutineFields):
    code = forms.CharField(
        max_length=40, help_text="Stays for good, like reference-point."
    )
    field_order = ["code"]


class ChangeRoutineForm(RoutineFields):
    why = WhyField()

    def facts(self) -> dict[str, Any]:
        facts = super().facts()
        return {"why": facts.pop("why"), "changes": facts}


def _whole_field(*, most: int) -> forms.Field:
    return forms.IntegerField(
        min_value=1,
        max_value=most,
        required=False,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


def _limit_field() -> forms.Field:
    return forms.DecimalField(
        required=False,
        max_digits=14,
        decimal_places=4,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
    )


class StepsForm(PlantForm):
    """All steps of a routine in their order, with some blank lines after them."""

    def __init__(self, *args: Any, steps: list[Step], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.steps: list[Step | None] = [*steps, *[None] * BLANK_STEPS]
        for line, step in enumerate(self.steps, start=1):
            for name, field in self._fields_of(line):
                field.initial = getattr(step, name.split("__")[0], None)
                if name == f"order__{line}":
                    field.initial = line
                # The column's heading is all that is shown of its label.
                field.widget.attrs["aria-label"] = field.label
                self.fields[name] = field
        self.fields["why"] = WhyField()

    def _fields_of(self, line: int) -> list[tuple[str, forms.Field]]:
        fields = {
            "order": _whole_field(most=1000),
            "text": forms.CharField(max_length=300, required=False),
            "unit": forms.CharField(max_length=20, required=False),
            **{name: _limit_field() for name in LIMITS},
            "repeat": _whole_field(most=MOST_VALUES),
        }
        for name, field in fields.items():
            field.label = f"{name.replace('_', ' ')}, line {line}"
        return [(f"{name}__{line}", field) for name, field in fields.items()]

    def lines(self) -> list[list[BoundField]]:
        return [
            [field for field in self if field.name.endswith(f"__{line}")]
            for line in range(1, len(self.steps) + 1)
        ]

    def facts(self) -> dict[str, Any]:
        """A line without a text is left out; the order is by number, then by line."""
        given = self.cleaned_data
        lines = [
            (given[f"order__{line}"] or line, line, step)
            for line, step in enumerate(self.steps, start=1)
            if given[f"text__{line}"]
        ]
        steps = [
            StepFacts(
                id=step.pk if step else None,
                text=given[f"text__{line}"],
                unit=given[f"unit__{line}"],
                repeat=given[f"repeat__{line}"] or 1,
                **{name: given[f"{name}__{line}"] for name in LIMITS},
            )
            for _, line, step in sorted(lines, key=lambda one: one[:2])
        ]
        return {"steps": steps, "why": given["why"]}


class SpreadForm(PlantForm):
    """First due dates of a new routine, evenly over the production dates."""

    first = DateField(label="From")
    last = DateField(label="To", help_text="Included.")
    machines = forms.MultipleChoiceField(widget=forms.CheckboxSelectMultiple)
    why = WhyField(help_text="Stands beside each first due date and in the trail.")

    def __init__(self, *args: Any, placements: list[Placement], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        of_machines = self.fields["machines"]
        assert isinstance(of_machines, forms.MultipleChoiceField)
        self.by_id = {str(placed.machine_id): placed.machine for placed in placements}
        of_machines.choices = [
            (
                str(placed.machine_id),
                f"{placed.cell.code} {placed.position}, {placed.machine.serial}",
            )
            for placed in placements
        ]
        of_machines.initial = list(self.by_id)

    def facts(self) -> dict[str, Any]:
        facts = super().facts()
        return {**facts, "machines": [self.by_id[pk] for pk in facts["machines"]]}


class FirstDueForm(PlantForm):
    due = DateField(label="First due")
    why = WhyField()
