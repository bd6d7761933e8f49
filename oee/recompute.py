"""Bring the stored ledger up to date with what is marked stale."""

from collections.abc import Callable
from datetime import date

from django.db import transaction

from cells import clock, stale
from cells.models import Cell, Line, Shift, StaleMark
from oee.inputs import gather
from oee.ledger.account import compute_accounts
from oee.models import CellShift
from oee.results import store

#: One transaction: short enough that nobody waits for it, long enough to be cheap.
CHUNK = 20_000
LINES_AT_ONCE = 8


def bring_up_to_date(progress: Callable[[int], None] | None = None) -> int:
    """Compute every marked cell-shift whose shift has ended. Returns how many.

    Safe to run twice and at once: a line's rows are written under a lock on the line,
    inputs are read after the lock is held, and only marks that were read are removed.
    """
    total = 0
    while done := _chunk():
        total += done
        if progress is not None:
            progress(total)
    return total


def waiting() -> int:
    """How many marks wait for the ledger, of shifts that have ended."""
    return StaleMark.objects.filter(shift__ends_at__lte=clock.now()).count()


def mark_all(first: date | None = None, last: date | None = None) -> int:
    """Mark every cell-shift of these production dates, whether it changed or not."""
    shifts = Shift.objects.all()
    if first is not None:
        shifts = shifts.filter(production_date__gte=first)
    if last is not None:
        shifts = shifts.filter(production_date__lte=last)
    return stale.mark_shifts(shifts.values_list("id", flat=True))


@transaction.atomic
def _chunk() -> int:
    ended = StaleMark.objects.filter(shift__ends_at__lte=clock.now())
    lines = _locked_lines(ended.order_by().values_list("shift__line", flat=True))
    if not lines:
        return 0
    # By date, so that one chunk reads one stretch of history.
    marks = list(
        ended.filter(shift__line__in=lines)
        .order_by("shift__starts_at")
        .values_list("id", "cell_id", "shift_id")[:CHUNK]
    )
    touched = {(cell, shift) for _, cell, shift in marks}
    pairs = _with_an_account(touched)
    for cell, shift in touched - pairs:
        CellShift.objects.filter(cell=cell, shift=shift).delete()
    gathered = gather(pairs)
    store(gathered, compute_accounts(gathered.inputs))
    ids = [mark for mark, _, _ in marks]
    for begin in range(0, len(ids), 5000):
        StaleMark.objects.filter(pk__in=ids[begin : begin + 5000]).delete()
    return len(ids)


def _locked_lines(with_marks: object) -> list[int]:
    """Lines that have marks and that nobody else is computing, now locked."""
    free = (
        Line.objects.select_for_update(skip_locked=True, no_key=True, of=("self",))
        .order_by("id")
        .filter(pk__in=with_marks)
    )
    return [line.pk for line in free[:LINES_AT_ONCE]]


def _with_an_account(pairs: set[tuple[int, int]]) -> set[tuple[int, int]]:
    """Without the shifts of a cell from the date on which it was retired."""
    retired = dict(
        Cell.objects.exclude(retired_on=None).values_list("id", "retired_on")
    )
    late = {shift for cell, shift in pairs if cell in retired}
    if not late:
        return pairs
    dates = dict(Shift.objects.filter(pk__in=late).values_list("id", "production_date"))
    return {
        (cell, shift)
        for cell, shift in pairs
        if cell not in retired or dates[shift] < retired[cell]
    }
