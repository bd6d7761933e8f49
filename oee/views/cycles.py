"""Ideal cycles of a cell, and the variants that they are for."""

from collections.abc import Iterator

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.dateparse import parse_date

from cells import clock, trail
from cells.downloads import csv_response
from cells.models import Cell, Change
from cells.plant_forms import add_errors
from cells.rights import SignedIn
from cells.templatetags.figures import count, day
from cells.views.doors import done, sent, status_of
from oee.cycle_rows import VariantRow, cycles_of
from oee.cycles import check_seconds, set_ideal_cycle, touched_by
from oee.forms.cycles import AddVariantForm, CycleForm, RenameVariantForm
from oee.models import IdealCycle, Variant
from oee.rights import (
    may_edit_variants,
    may_set_cycles,
    need_to_edit_variants,
    need_to_set_cycles,
)
from oee.variants import add_variant, rename_variant

CHANGES_SHOWN = 100

CYCLE_COLUMNS = ("cell", "variant", "seconds", "valid_from")


def cell_cycles(request: SignedIn, code: str) -> HttpResponse:
    """Two steps: what the new cycle touches is shown before it is set."""
    cells = Cell.objects.select_related("line__area")
    cell = get_object_or_404(cells, code=code)
    if request.method != "POST":
        rows = _rows(cell)
        if request.GET.get("csv"):
            file = _file(cell, rows)
            return csv_response(f"ideal-cycles-{code}", CYCLE_COLUMNS, file)
        may = may_set_cycles(request.user)
        form = CycleForm(initial=_asked(request)) if may else None
        return _cycles(request, cell, rows, form)
    need_to_set_cycles(request.user)
    form = CycleForm(request.POST)
    touched = _shown(cell, form)
    if touched is not None and request.POST.get("seen") == _seen(form):
        set_now = done(
            form, lambda **facts: set_ideal_cycle(cell=cell, by=request.user, **facts)
        )
        if set_now:
            messages.success(request, _said(set_now[0]))
            return redirect("cell_cycles", code)
    return _cycles(request, cell, _rows(cell), form, touched)


def variants(request: SignedIn) -> HttpResponse:
    form = AddVariantForm() if may_edit_variants(request.user) else None
    if request.method == "POST":
        need_to_edit_variants(request.user)
        form = AddVariantForm(request.POST)
        if done(form, lambda **facts: add_variant(by=request.user, **facts)):
            messages.success(
                request,
                f"Variant {form.cleaned_data['code']} can be counted. Set its ideal "
                "cycle in every cell that builds it.",
            )
            return redirect("variants")
    known = Variant.objects.all()
    if request.GET.get("csv"):
        rows = known.values_list("code", "name")
        return csv_response("variants", ("code", "name"), rows)
    context = {"variants": known, "form": form}
    status = status_of(form) if form else 200
    return render(request, "oee/variants.html", context, status=status)


def variant(request: SignedIn, code: str) -> HttpResponse:
    one = get_object_or_404(Variant, code=code)
    form = None
    if request.method == "POST":
        need_to_edit_variants(request.user)
    if may_edit_variants(request.user):
        form = RenameVariantForm(sent(request), initial={"name": one.name})
        if done(
            form, lambda **facts: rename_variant(variant=one, by=request.user, **facts)
        ):
            messages.success(request, "The new name is saved, with its trail.")
            return redirect("variant", code)
    context = {"variant": one, "form": form, "changes": trail.changes_of(one)}
    status = status_of(form) if form else 200
    return render(request, "oee/variant.html", context, status=status)


def _asked(request: SignedIn) -> dict[str, object]:
    """What a link to this page filled in: the finding of a cycle that is missing."""
    try:
        since = parse_date(request.GET.get("from", ""))
    except ValueError:
        since = None
    return {"variant": request.GET.get("variant"), "valid_from": since}


def _shown(cell: Cell, form: CycleForm) -> int | None:
    """How many stored cell-shifts the form touches; None where it is refused."""
    if not form.is_valid():
        return None
    try:
        check_seconds(form.cleaned_data["seconds"])
    except ValidationError as error:
        add_errors(form, error)
        return None
    return touched_by(cell, form.cleaned_data["valid_from"])


def _seen(form: CycleForm) -> str:
    """What the number of cell-shifts was shown for."""
    return str(form.cleaned_data["valid_from"])


def _said(cycle: IdealCycle) -> str:
    return (
        f"{cycle.variant} takes {count(cycle.seconds)} s in {cycle.cell} from "
        f"{day(cycle.valid_from)} on. What was built since then is computed again."
    )


def _cycles(
    request: SignedIn,
    cell: Cell,
    rows: list[VariantRow],
    form: CycleForm | None,
    touched: int | None = None,
) -> HttpResponse:
    ids = [row.pk for one in rows for row in one.cycles]
    trail_of = Change.objects.filter(kind="idealcycle", record_id__in=ids)
    context = {
        "cell": cell,
        "rows": rows,
        "today": clock.today(),
        "form": form,
        "touched": touched,
        "seen": None if touched is None or form is None else _seen(form),
        "changes": trail_of.select_related("by")[:CHANGES_SHOWN],
        "changes_shown": CHANGES_SHOWN,
    }
    refused = form is not None and form.is_bound and touched is None
    return render(request, "oee/cycles.html", context, status=422 if refused else 200)


def _rows(cell: Cell) -> list[VariantRow]:
    return cycles_of(cell, clock.today(), Variant.objects.all())


def _file(cell: Cell, rows: list[VariantRow]) -> Iterator[tuple[object, ...]]:
    for one in rows:
        for cycle in one.cycles:
            yield cell.code, one.variant.code, cycle.seconds, cycle.valid_from
