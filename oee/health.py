"""What the registry lacks for a full account, found for the registry-health page."""

from collections.abc import Iterable, Iterator
from datetime import date, timedelta

from django.db.models import F, Min
from django.urls import reverse
from django.utils.http import urlencode

from cells import clock
from cells.health import Check, Finding, register
from cells.models import Cell
from cells.templatetags.figures import moment
from oee.ledger.flags import Flag
from oee.models import CellShift, Count, IdealCycle

LOOK_BACK = timedelta(days=90)

# Nothing made needs no cycle.
_IN_SHIFT = {"shift__isnull": False, "withdrawn": False, "total__gt": 0}

_CellVariant = tuple[int, int]  # ids


def register_checks() -> None:
    register(
        Check(
            order=60,
            title="Cells without an ideal cycle for a variant they built",
            find=cells_without_a_cycle,
        )
    )
    register(
        Check(
            order=61,
            title="Output in time that was not planned, last 90 days",
            find=unplanned_output,
        )
    )


def cells_without_a_cycle() -> Iterator[Finding]:
    """As the ledger counts: a line's count holds where a cell has none of its own."""
    cells = {cell.pk: cell for cell in Cell.objects.select_related("line")}
    cycles: dict[_CellVariant, date] = {
        (cell, variant): first
        for cell, variant, first in IdealCycle.objects.order_by()
        .values_list("cell", "variant")
        .annotate(Min("valid_from"))
    }
    missing: dict[_CellVariant, tuple[date, str]] = {}
    for cell_id, variant, code, day in (*_own_counts(), *_line_counts(cells, cycles)):
        known = cycles.get((cell_id, variant))
        if known is None or known > day:
            before = missing.get((cell_id, variant), (day, code))
            missing[cell_id, variant] = min(before, (day, code))
    for (cell_id, _), (day, code) in sorted(
        missing.items(), key=lambda item: (cells[item[0][0]].code, item[1][1])
    ):
        yield Finding(
            subject=cells[cell_id].code,
            url=reverse("cell_cycles", args=[cells[cell_id].code])
            + f"?{urlencode({'variant': code, 'from': str(day)})}",
            sentence=f"{cells[cell_id].code} built variant {code} on {day} without an "
            "ideal cycle: set the seconds per body, valid from that day or earlier.",
        )


_Built = tuple[int, int, str, date]  # cell id, variant id and code, first day


def _own_counts() -> Iterable[_Built]:
    return (
        Count.objects.filter(**_IN_SHIFT, cell__isnull=False)
        .order_by()
        .values_list("cell", "variant", "variant__code")
        .annotate(Min("shift__production_date"))
    )


def _line_counts(
    cells: dict[int, Cell], cycles: dict[_CellVariant, date]
) -> Iterator[_Built]:
    """Only those whose first day has no cycle are looked at shift by shift."""
    groups = (
        Count.objects.filter(**_IN_SHIFT, line__isnull=False)
        .order_by()
        .values_list("line", "leg", "variant", "variant__code")
        .annotate(Min("shift__production_date"))
    )
    placed: dict[tuple[int, str], list[int]] = {}
    for cell in cells.values():
        placed.setdefault((cell.line_id, cell.leg), []).append(cell.pk)
    suspects = [
        (cell_id, line, leg, variant, code)
        for line, leg, variant, code, first in groups
        for cell_id in placed.get((line, leg), [])
        if cycles.get((cell_id, variant), date.max) > first
    ]
    if suspects:
        yield from _first_days_without_a_cycle(suspects, cells)


def _first_days_without_a_cycle(
    suspects: list[tuple[int, int, str, int, str]], cells: dict[int, Cell]
) -> Iterator[_Built]:
    own = set(
        Count.objects.filter(
            shift__isnull=False, withdrawn=False, cell__in={row[0] for row in suspects}
        )
        .order_by()
        .values_list("cell", "shift")
    )
    shifts: dict[tuple[int, str, int], list[tuple[date, int]]] = {}
    for line, leg, variant, day, shift in (
        Count.objects.filter(**_IN_SHIFT, line__in={row[1] for row in suspects})
        .order_by("shift__production_date")
        .values_list("line", "leg", "variant", "shift__production_date", "shift")
    ):
        shifts.setdefault((line, leg, variant), []).append((day, shift))
    for cell_id, line, leg, variant, code in suspects:
        gone = cells[cell_id].retired_on or date.max
        for day, shift in shifts[line, leg, variant]:
            if day < gone and (cell_id, shift) not in own:
                yield cell_id, variant, code, day
                break


def unplanned_output() -> Iterator[Finding]:
    since = clock.now() - LOOK_BACK
    spans = Count.objects.filter(
        shift=None, withdrawn=False, total__gt=0, ends_at__gte=since
    ).select_related("cell", "line", "variant")
    for count in spans.order_by("starts_at", "pk"):
        yield Finding(
            subject=count.at,
            url=count.get_absolute_url(),
            sentence=f"{count.total} bodies were counted from "
            f"{moment(count.starts_at)} to {moment(count.ends_at)}, where no shift "
            "was planned: enter the overtime as a one-off shift, or withdraw them.",
        )
    yield from _output_without_busy_time(since.date())


def _output_without_busy_time(since: date) -> Iterator[Finding]:
    bit = int(Flag.UNPLANNED_OUTPUT)
    rows = (
        CellShift.objects.annotate(bit=F("flags").bitand(bit))
        .filter(production_date__gte=since, bit=bit)
        .select_related("cell", "shift")
    )
    for row in rows.order_by("production_date", "shift__starts_at", "cell__code"):
        shift = row.shift
        yield Finding(
            subject=row.cell.code,
            url=reverse(
                "cell_shift", args=[row.cell.code, shift.production_date, shift.name]
            ),
            sentence=f"{row.made} bodies were counted in {shift.production_date} "
            f"{shift.name}, of which no second was planned: check the planned stops "
            "and the calendar.",
        )
