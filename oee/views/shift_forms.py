"""The forms of the shift page, by the word that their button sends."""

from typing import Any

from django import forms

from cells.plant_forms import WhyForm
from maintenance.forms.tallies import CorrectTallyForm, TallyForm
from oee.forms.counts import CorrectCountForm, CountForm, Place, places_of
from oee.forms.shift import ConfirmForm, LogStopForm
from oee.models import Variant
from oee.rights import counts_without_a_reason
from oee.shift_page import ShiftPage


class ShiftForms(dict[str, forms.Form]):
    """Made when the template asks, so that a page pays for what it shows.

    A form that was sent and refused is put here, and shown with what was typed.
    """

    def __init__(self, page: ShiftPage) -> None:
        super().__init__()
        self.page = page

    def __missing__(self, do: str) -> forms.Form:
        self[do] = make_form(self.page, do)
        return self[do]


def make_form(page: ShiftPage, do: str, data: Any = None) -> forms.Form:
    auto_id = f"{do}_%s"
    if do in ("stop", "tally"):
        assert page.cell is not None  # whoever sends one of them has a cell open
        form_class = LogStopForm if do == "stop" else TallyForm
        form: forms.Form = form_class(
            data, shift=page.shift, cell=page.cell, auto_id=auto_id
        )
        for name in {"minutes", "times", "seconds"} & set(form.fields):
            form.fields[name].widget.attrs["data-steps"] = ""
        return form
    if do == "count":
        return _count_form(page, data, auto_id)
    if do == "correct_count":
        return CorrectCountForm(data, count=page.open_count, auto_id=auto_id)
    if do == "correct_tally":
        assert page.open_tally is not None
        return CorrectTallyForm(data, tally=page.open_tally, auto_id=auto_id)
    if do == "confirm":
        return ConfirmForm(
            data, shift=page.shift, stops=page.running_stops, auto_id=auto_id
        )
    return WhyForm(data, auto_id=auto_id)


def _count_form(page: ShiftPage, data: Any, auto_id: str) -> CountForm:
    cell, line = page.cell, page.line
    return CountForm(
        data,
        places=[Place(at=cell)] if cell else places_of(line, page.cells),
        variants=Variant.objects.all(),
        asks_why=not counts_without_a_reason(page.user, line, page.shift.ends_at),
        auto_id=auto_id,
    )
