"""Recording work done: one task, many at once, and correcting the record."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField

from cells import clock
from cells.moment_forms import PlantMomentFormField
from cells.plant_forms import PlantForm, WhyField
from maintenance.models import Step, Task
from maintenance.task_rules import MOST_MINUTES, MOST_SHEET, current_steps, sheet_of
from maintenance.task_words import limits
from maintenance.tasks import Work

SHEET_HELP = (
    "Number and revision. Prefilled as entered for the cell: read the sheet on the "
    "cell, and correct it here if another one was used."
)
ASK_SAFETY = (
    "None on record: ask safety, and enter the reference that safety gives you."
)
LATE_WHY = "Needed when it was done more than 48 hours ago."


def minutes_field(task: Task) -> forms.IntegerField:
    return forms.IntegerField(
        label="Minutes it took",
        min_value=0,
        max_value=MOST_MINUTES,
        initial=task.routine.minutes if task.is_open else task.minutes,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


def reading_field(task: Task) -> forms.DecimalField:
    return forms.DecimalField(
        label=f"Reading of {task.routine.meter}",
        required=False,
        max_digits=16,
        decimal_places=3,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        help_text="If it asks a question, it moves no due date until it is confirmed.",
    )


def sheet_field(task: Task) -> forms.CharField:
    sheet = sheet_of(task.cell)
    return forms.CharField(
        label="Lockout sheet",
        max_length=MOST_SHEET,
        initial=sheet,
        help_text=SHEET_HELP if sheet else ASK_SAFETY,
        error_messages={"required": ""},
    )


def value_field(step: Step, number: int) -> forms.DecimalField:
    """Beyond a limit is recorded and shown; only what is no number is refused."""
    unit = f", {step.unit}" if step.unit else ""
    which = f", value {number}" if step.repeat > 1 else ""
    return forms.DecimalField(
        label=f"Step {step.order}: {step.text}{unit}{which}",
        required=False,
        max_digits=14,
        decimal_places=4,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
    )


@dataclass(frozen=True, kw_only=True)
class StepInputs:
    step: Step
    limits: str
    inputs: list[BoundField]


class TaskFields:
    """The fields of one task in a form, each name ending in ``suffix``."""

    def __init__(self, task: Task, suffix: str = "") -> None:
        self.task = task
        self.suffix = suffix
        self.steps = current_steps(task.routine)

    def fields(self) -> Iterator[tuple[str, forms.Field]]:
        yield f"minutes{self.suffix}", minutes_field(self.task)
        if self.task.routine.meter:
            yield f"reading{self.suffix}", reading_field(self.task)
        for step in self.steps:
            for number in self.numbers(step):
                yield self.name_of(step, number), value_field(step, number)
        if self.task.routine.lockout:
            yield f"lockout_sheet{self.suffix}", sheet_field(self.task)

    def numbers(self, step: Step) -> range:
        return range(1, (step.repeat if step.takes_values else 0) + 1)

    def name_of(self, step: Step, number: int) -> str:
        return f"step_{step.pk}_{number}{self.suffix}"

    def facts(self, cleaned: Mapping[str, Any]) -> dict[str, Any]:
        """As ``Work`` wants them."""
        results = {
            step.pk: [cleaned.get(self.name_of(step, n)) for n in self.numbers(step)]
            for step in self.steps
        }
        return {
            "task": self.task,
            "minutes": cleaned[f"minutes{self.suffix}"],
            "reading": cleaned.get(f"reading{self.suffix}"),
            "lockout_sheet": cleaned.get(f"lockout_sheet{self.suffix}", ""),
            "results": {pk: values for pk, values in results.items() if any_of(values)},
        }


def any_of(values: Sequence[Decimal | None]) -> bool:
    return any(value is not None for value in values)


def found_field() -> forms.ChoiceField:
    return forms.ChoiceField(
        label="Found",
        choices=Task.Found.choices,
        widget=forms.RadioSelect,
        help_text="The condition before anything was done about it.",
    )


class CompleteForm(PlantForm):
    """One task; ``facts()`` are for ``complete_task``."""

    done_at = PlantMomentFormField(label="Done at")
    found = found_field()
    note = forms.CharField(max_length=500, required=False)
    why = WhyField(
        label="Why it is entered so late", required=False, help_text=LATE_WHY
    )

    def __init__(self, *args: Any, task: Task, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"done_at": clock.now()})
        super().__init__(*args, **kwargs)
        self.of_task = TaskFields(task)
        self.fields |= dict(self.of_task.fields())
        self.order_fields(
            ["done_at", "done_at_which", "found", "minutes", "reading", "lockout_sheet"]
        )

    def step_inputs(self) -> list[StepInputs]:
        return [
            StepInputs(
                step=step,
                limits=limits(step),
                inputs=[
                    self[self.of_task.name_of(step, number)]
                    for number in self.of_task.numbers(step)
                ],
            )
            for step in self.of_task.steps
        ]

    def other_fields(self) -> list[BoundField]:
        return [field for field in self if not field.name.startswith("step_")]

    def facts(self) -> dict[str, Any]:
        names = ("done_at", "found", "note", "why")
        own = {name: self.cleaned_data[name] for name in names}
        return {**own, **self.of_task.facts(self.cleaned_data)}


@dataclass(frozen=True, kw_only=True)
class ManyRow:
    task: Task
    sheet: str
    inputs: list[BoundField]
    errors: list[str]


class CompleteManyForm(PlantForm):
    """When, found and note for all of them; a row of values for each."""

    done_at = PlantMomentFormField(label="Done at")
    found = found_field()
    note = forms.CharField(max_length=500, required=False)
    why = WhyField(
        label="Why it is entered so late", required=False, help_text=LATE_WHY
    )

    def __init__(self, *args: Any, tasks: Sequence[Task], **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"done_at": clock.now()})
        super().__init__(*args, **kwargs)
        self.of_tasks = [TaskFields(task, f"__{task.pk}") for task in tasks]
        self.row_errors: dict[int, list[str]] = {}
        for of_task in self.of_tasks:
            self.fields |= dict(of_task.fields())
            name = f"found{of_task.suffix}"
            self.fields[name] = forms.ChoiceField(
                label="Found",
                choices=[("", "as above"), *Task.Found.choices],
                required=False,
            )

    def shared(self) -> list[BoundField]:
        return [field for field in self if "__" not in field.name]

    def rows(self) -> list[ManyRow]:
        return [
            ManyRow(
                task=of_task.task,
                sheet=sheet_of(of_task.task.cell),
                inputs=[f for f in self if f.name.endswith(of_task.suffix)],
                errors=self.row_errors.get(number, []),
            )
            for number, of_task in enumerate(self.of_tasks)
        ]

    def work(self) -> list[Work]:
        cleaned = self.cleaned_data
        return [
            Work(
                **of_task.facts(cleaned),
                done_at=cleaned["done_at"],
                found=cleaned[f"found{of_task.suffix}"] or cleaned["found"],
                note=cleaned["note"],
                why=cleaned["why"],
            )
            for of_task in self.of_tasks
        ]

    def refuse(self, by_row: Mapping[int, ValidationError]) -> None:
        """What is wrong with which row stands in that row; nothing entered is lost."""
        for number, error in by_row.items():
            self.row_errors[number] = list(error.messages)
        rows = len(by_row)
        self.add_error(
            None,
            f"{rows} of the {len(self.of_tasks)} rows "
            f"{'is' if rows == 1 else 'are'} refused, so none was saved.",
        )


class CorrectTaskForm(PlantForm):
    done_at = PlantMomentFormField(label="Done at")
    found = found_field()
    note = forms.CharField(max_length=500, required=False)
    why = WhyField()

    def __init__(self, *args: Any, task: Task, **kwargs: Any) -> None:
        names = ("done_at", "found", "note")
        initial = {name: getattr(task, name) for name in names}
        super().__init__(*args, initial=initial, **kwargs)
        self.fields["minutes"] = minutes_field(task)
        self.fields["minutes"].required = False
        if task.routine.lockout:
            self.fields["lockout_sheet"] = sheet_field(task)
            self.fields["lockout_sheet"].initial = task.lockout_sheet
        self.order_fields(
            ["done_at", "done_at_which", "minutes", "found", "lockout_sheet", "note"]
        )

    def facts(self) -> dict[str, Any]:
        facts = super().facts()
        return {"why": facts.pop("why"), "changes": facts}


class AcceptForm(PlantForm):
    measure = forms.CharField(
        label="What is done about it",
        max_length=300,
        help_text="As reported to you; it stands in the record under your name.",
    )
