"""What the due list is asked for; all of it lives in the URL."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.db.models import Q

from cells.forms import PlaceField
from cells.models import Area, Cell, Line
from maintenance.due_list import PLANNED_AHEAD, STATES, ranked
from maintenance.models import Routine, Task
from maintenance.models.tasks import TaskQuerySet

LONGEST = 3650


class DueFilter(forms.Form):
    area = PlaceField(Area.objects.all(), required=False, empty_label="all")
    line = PlaceField(Line.objects.all(), required=False, empty_label="all")
    cell = PlaceField(Cell.objects.all(), required=False, empty_label="all")
    skill = forms.ChoiceField(required=False)
    routine = forms.ModelChoiceField(
        Routine.objects.filter(retired_on=None),
        to_field_name="code",
        required=False,
        empty_label="all",
    )
    state = forms.ChoiceField(
        required=False,
        choices=[("", "all"), *((str(n), words) for n, words in enumerate(STATES))],
    )
    only = forms.ChoiceField(
        required=False,
        label="Tests",
        choices=[("", "all tasks"), ("safety", "safety tests only")],
    )
    days = forms.IntegerField(
        required=False, min_value=0, max_value=LONGEST, label="Days ahead"
    )
    group = forms.ChoiceField(
        required=False,
        label="Order",
        choices=[("", "most urgent first"), ("cell", "by cell, to print")],
    )

    def __init__(self, data: Any) -> None:
        super().__init__({"days": PLANNED_AHEAD, **{n: data[n] for n in data}})
        self.routines = list(Routine.objects.filter(retired_on=None))
        skills = sorted({skill for one in self.routines for skill in one.skills})
        of_skill = self.fields["skill"]
        assert isinstance(of_skill, forms.ChoiceField)
        of_skill.choices = [("", "all"), *((one, one) for one in skills)]

    #: What leaves tasks out of the counts.
    PARTS = ("area", "line", "cell", "skill", "routine", "only")

    @property
    def is_part(self) -> bool:
        return self.is_valid() and any(self.cleaned_data[name] for name in self.PARTS)

    def chosen(self) -> TaskQuerySet:
        """Open tasks of the chosen place, skill and routine, whenever they are due."""
        tasks = Task.objects.open()
        if not self.is_valid():
            return tasks.none()
        wanted = self.cleaned_data
        columns = {
            "area": "cell__line__area",
            "line": "cell__line",
            "cell": "cell",
            "routine": "routine",
        }
        for name, column in columns.items():
            if wanted[name]:
                tasks = tasks.filter(**{column: wanted[name]})
        if wanted["skill"]:
            having = [one.pk for one in self.routines if wanted["skill"] in one.skills]
            tasks = tasks.filter(routine__in=having)
        if wanted["only"]:
            tasks = tasks.filter(routine__safety=True)
        return tasks

    def tasks(self, on: date) -> TaskQuerySet:
        """Those on the list, in its order. What has no forecast is always on it."""
        tasks = self.chosen()
        if not self.is_valid():
            return tasks
        wanted = self.cleaned_data
        days = PLANNED_AHEAD if wanted["days"] is None else wanted["days"]
        until = on + timedelta(days=days)
        listed = ranked(tasks.filter(Q(due__lte=until) | Q(due=None)), on)
        if wanted["state"]:
            listed = listed.filter(rank=int(wanted["state"]))
        urgency = ("rank", "due", "routine__code", "machine__serial", "pk")
        place = (
            "cell__line__area__code",
            "cell__line__order",
            "cell__line__code",
            "cell__order",
            "cell__code",
        )
        order = (*place, *urgency) if wanted["group"] else urgency
        related = listed.select_related("routine", "machine", "cell__line__area")
        found: TaskQuerySet = related.order_by(*order)
        return found
