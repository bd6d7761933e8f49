"""What this room finds wrong in its own records, for the registry-health page."""

from collections.abc import Iterator
from datetime import date, timedelta

from django.db.models import Count, Max, Q
from django.urls import reverse

from cells import clock
from cells.health import Check, Finding, register
from cells.models import Cell, Line, Meter, Placement, ShiftBreak, WorkedBreak

METER_DAYS = 30  # common practice
SHEET_DAYS = 365  # common practice: lockout sheets are reviewed every year


def machines_in_one_place() -> Iterator[Finding]:
    standing = Placement.objects.filter(removed_on=None).order_by()
    shared = standing.values("cell", "position").annotate(n=Count("pk")).filter(n__gt=1)
    places = {(row["cell"], row["position"]) for row in shared}
    if not places:
        return
    found: dict[tuple[int, str], list[Placement]] = {place: [] for place in places}
    rows = standing.filter(cell__in={cell for cell, _ in places})
    for placement in rows.select_related("cell", "machine").order_by("placed_on"):
        if (placement.cell_id, placement.position) in found:
            found[placement.cell_id, placement.position].append(placement)
    for together in found.values():
        cell, position = together[0].cell, together[0].position
        serials = " and ".join(place.machine.serial for place in together)
        yield Finding(
            subject=f"{cell} {position}",
            url=cell.get_absolute_url(),
            sentence=f"{serials} stand here together: take out the one that left.",
        )


def meters_not_read() -> Iterator[Finding]:
    """Of machines that stand somewhere for as long as that."""
    limit = clock.today() - timedelta(days=METER_DAYS)
    counting = Q(readings__confirmed=True, readings__withdrawn=False)
    standing = Placement.objects.filter(removed_on=None, placed_on__lte=limit)
    meters = (
        Meter.objects.filter(machine__in=standing.values("machine"))
        .select_related("machine")
        .annotate(last_read=Max("readings__read_at", filter=counting))
    )
    too_old = clock.now() - timedelta(days=METER_DAYS)
    for meter in meters:
        if meter.last_read is not None and meter.last_read >= too_old:
            continue
        since = (
            f"was last read on {meter.last_read:%Y-%m-%d}"
            if meter.last_read
            else "was never read"
        )
        yield Finding(
            subject=meter.machine.serial,
            url=meter.machine.get_absolute_url(),
            sentence=f"Its meter “{meter.name}” {since}: read it and enter the value.",
        )


def lines_without_counting_cell() -> Iterator[Finding]:
    for line in Line.objects.filter(counting_cell=None):
        yield Finding(
            subject=line.code,
            url=reverse("counting_cell", args=[line.code]),
            sentence="No cell stands for the line, so it has no OEE: choose one.",
        )


def lockout_sheets() -> Iterator[Finding]:
    today = clock.today()
    for cell in Cell.objects.filter(Q(retired_on=None) | Q(retired_on__gt=today)):
        wrong = _wrong_with_sheet(cell, today)
        if wrong:
            yield Finding(
                subject=cell.code, url=cell.get_absolute_url(), sentence=wrong
            )


def worked_breaks_that_are_none() -> Iterator[Finding]:
    """A shift's breaks moved after somebody said that one was worked through."""
    breaks = set(
        ShiftBreak.objects.filter(
            shift__in=WorkedBreak.objects.filter(withdrawn=False).values("shift")
        ).values_list("shift", "starts_at")
    )
    for worked in WorkedBreak.objects.filter(withdrawn=False).select_related(
        "cell", "shift__line"
    ):
        if (worked.shift_id, worked.break_start) not in breaks:
            yield Finding(
                subject=worked.cell.code,
                url=worked.cell.get_absolute_url(),
                sentence=f"A break of shift {worked.shift} is recorded as worked "
                "through, but the shift has no such break now: enter the right one.",
            )


def _wrong_with_sheet(cell: Cell, today: date) -> str:
    if not cell.lockout_sheet:
        return "No lockout sheet is on record: ask safety."
    if cell.lockout_date is None:
        return f"Lockout sheet {cell.lockout_sheet} has no date on record: ask safety."
    if cell.lockout_date < today - timedelta(days=SHEET_DAYS):
        return (
            f"Lockout sheet {cell.lockout_sheet} is of {cell.lockout_date}, more than "
            "a year old: ask safety to review it."
        )
    return ""


def register_all() -> None:
    for order, title, find in (
        (10, "Two machines in one place", machines_in_one_place),
        (20, f"Meters not read for {METER_DAYS} days", meters_not_read),
        (30, "Lines without a counting cell", lines_without_counting_cell),
        (40, "Lockout sheet missing or older than a year", lockout_sheets),
        (50, "Worked-through breaks that are no breaks", worked_breaks_that_are_none),
    ):
        register(Check(order=order, title=title, find=find))
