"""Forms of stops: inside a shift, with one tap, and corrected."""

from collections.abc import Collection
from typing import Any

from django import forms

from cells.models import Cell, Placement, Shift
from cells.moment_forms import PlantMomentFormField
from cells.plant_forms import CorrectsRecord, PlantForm, WhyField
from maintenance.forms.fields import (
    AsksIfLong,
    CellChoiceField,
    MinutesFormField,
    ShiftClockFormField,
    offer,
)
from maintenance.models import Reason, Stop


def cells_of_area(area_id: int) -> Any:
    return Cell.objects.filter(line__area=area_id, retired_on=None)


class StopInShiftForm(PlantForm):
    """One stop of a shift by the clock times in it.

    ``facts()`` are the arguments for ``log_stop``. Without ``cell`` the person chooses
    one of the line's area, so a neighbour's stop can be logged; ``reasons`` may bring
    the order in which they are offered.
    """

    cell = CellChoiceField(queryset=Cell.objects.none())
    reason = forms.ModelChoiceField(queryset=Reason.objects.none())
    note = forms.CharField(max_length=500, required=False)

    field_order: tuple[str, ...] = (
        "cell",
        "reason",
        "started_at",
        "ended_at",
        "position",
        "note",
    )

    def __init__(
        self, *args: Any, shift: Shift, cell: Cell | None = None, **kwargs: Any
    ):
        clock_fields = {
            "started_at": ShiftClockFormField(shift=shift, label="From"),
            "ended_at": ShiftClockFormField(
                shift=shift,
                closes=True,
                label="Until",
                required=False,
                help_text="Leave it empty while it is still stopped.",
            ),
        }
        # Before the form copies its fields, so that AsksWhich meets these two as well.
        fields = {**self.base_fields, **clock_fields}
        self.base_fields = fields  # type: ignore[misc]  # of this form, not its class
        super().__init__(*args, **kwargs)
        self.of_cell = cell
        offer(self, "reason", Reason.objects.for_stops())
        if cell is None:
            cells = cells_of_area(shift.line.area_id)
            offer(self, "cell", cells.select_related("line__area"))
        else:
            del self.fields["cell"]
            self.fields["position"] = position_field(cell)
            self.order_fields(self.field_order)

    def facts(self) -> dict[str, Any]:
        given = {"cell": self.of_cell, **self.cleaned_data}
        names = ("cell", "reason", "started_at", "ended_at", "position", "note")
        return {name: given[name] for name in names if name in given}


class StartStopForm(PlantForm):
    """Two taps: the cell, the reason."""

    cell = forms.ModelChoiceField(queryset=Cell.objects.select_related("line__area"))
    reason = forms.ModelChoiceField(queryset=Reason.objects.all())


class CorrectStopForm(AsksIfLong, CorrectsRecord):
    """Those facts of a stop that this person may correct, and why."""

    cell = CellChoiceField(queryset=Cell.objects.none())
    reason = forms.ModelChoiceField(queryset=Reason.objects.none())
    started_at = PlantMomentFormField(label="Start")
    ended_at = PlantMomentFormField(
        label="End", required=False, help_text="Empty while it is still stopped."
    )
    note = forms.CharField(max_length=500, required=False)
    called_at = PlantMomentFormField(label="Called", required=False)
    arrived_at = PlantMomentFormField(label="Arrived", required=False)
    cause_found_at = PlantMomentFormField(label="Cause found", required=False)
    repaired_at = PlantMomentFormField(label="Repaired", required=False)
    parts_wait_s = MinutesFormField(
        label="Of that, waiting for parts", required=False, help_text="Minutes."
    )
    restarted_at = PlantMomentFormField(label="Restarted", required=False)
    first_good_at = PlantMomentFormField(label="First good part", required=False)
    cause = forms.CharField(
        max_length=200,
        required=False,
        help_text="What maintenance found, not what was seen from outside.",
    )
    why = WhyField()

    def __init__(
        self, *args: Any, stop: Stop, may_change: Collection[str], **kwargs: Any
    ) -> None:
        facts = [name for name in self.base_fields if hasattr(stop, name)]
        initial = {name: getattr(stop, name) for name in facts}
        super().__init__(*args, **kwargs, initial=initial, record=stop)
        self._offer(stop)
        for name in [*facts, "position"]:
            if name not in may_change:
                self.fields.pop(name, None)
                self.fields.pop(f"{name}_which", None)

    def _offer(self, stop: Stop) -> None:
        cells = cells_of_area(stop.cell.line.area_id) | Cell.objects.filter(
            pk=stop.cell_id
        )
        offer(self, "cell", cells)
        own = Reason.objects.filter(pk=stop.reason_id)
        offer(self, "reason", Reason.objects.for_stops() | own)
        self.fields["position"] = position_field(stop.cell, initial=stop.position)
        order = list(self.fields)
        order.insert(order.index("reason") + 1, order.pop())
        self.order_fields(order)

    def facts(self) -> dict[str, Any]:
        """For ``correct_stop``: what was changed, and why."""
        asked = {"why": "", "long_ok": False, **super().facts()}
        about = {name: asked.pop(name) for name in ("why", "long_ok", "seen")}
        changes = {
            name: value for name, value in asked.items() if name in self.changed_data
        }
        return {"changes": changes, **about}


def position_field(cell: Cell, initial: str = "") -> forms.ChoiceField:
    known = Placement.objects.filter(cell=cell).order_by("position")
    positions = list(known.values_list("position", flat=True).distinct())
    if initial and initial not in positions:
        positions.append(initial)
    return forms.ChoiceField(
        choices=[("", "the whole cell"), *((name, name) for name in positions)],
        required=False,
        initial=initial,
        label="Position",
    )
