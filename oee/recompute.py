"""Bring the stored ledger up to date with what is marked stale."""

from collections.abc import Callable
from datetime import date, datetime

from django.db import transaction
from django.db.models import Q, QuerySet

from cells import attempts, clock, stale
from cells.among import among
from cells.models import Area, Cell, Line, Shift, StaleMark
from oee.freshness import ledger_changed
from oee.inputs import gather
from oee.inputs.reading import read_integers
from oee.ledger.account import compute_accounts
from oee.models import CellShift
from oee.pieces import Marks, Run, set_aside, without
from oee.results import store

#: One transaction: short enough that nobody waits for it, long enough to be cheap.
CHUNK = 20_000


def bring_up_to_date(
    progress: Callable[[int], None] | None = None,
    *,
    first: date | None = None,
    last: date | None = None,
    now: Callable[[], datetime] = clock.now,
) -> int:
    """Compute every marked cell-shift whose shift has ended. Returns how many.

    With dates: of these production dates only. Work that fails is counted and, after
    three tries, set aside; the rest goes on (``oee.pieces``).

    Safe to run twice and at once: a line's rows are written under a lock on the line,
    inputs are read after the lock is held, and only marks that were read are removed.
    """
    total = 0
    dates = _dates("shift__", first, last)
    run = Run(lambda: _of_ended_shifts(now()).filter(dates), _compute)
    for done in run.rounds():
        total += done
        if progress is not None:
            progress(total)
    return total


def waiting(
    *,
    first: date | None = None,
    last: date | None = None,
    area: Area | None = None,
    but_set_aside: bool = False,
) -> int:
    """How many cell-shifts wait for the ledger, of shifts that have ended."""
    marks = _of_ended_shifts(clock.now()).filter(_dates("shift__", first, last))
    if but_set_aside:
        marks = without(marks, set_aside())
    if area is not None:
        marks = marks.filter(shift__line__area=area)
    return marks.values("cell", "shift").distinct().count()


def mark_all(first: date | None = None, last: date | None = None) -> int:
    """Mark every cell-shift of these production dates, whether it changed or not."""
    shifts = Shift.objects.filter(_dates("", first, last))
    return stale.mark_shifts(shifts.values_list("id", flat=True))


def _of_ended_shifts(now: datetime) -> QuerySet[StaleMark]:
    return StaleMark.objects.order_by().filter(shift__ends_at__lte=now)


def _dates(prefix: str, first: date | None, last: date | None) -> Q:
    name = f"{prefix}production_date"
    since = Q() if first is None else Q(**{f"{name}__gte": first})
    return since if last is None else since & Q(**{f"{name}__lte": last})


@transaction.atomic
def _compute(asked: Marks, lines: list[int], pieces: list[str]) -> int:
    lines = _locked_lines(lines)
    if not lines:
        return 0
    # By shift, so that one chunk reads one stretch of history.
    chunk = asked.filter(shift__line__in=lines).order_by("shift_id")[:CHUNK]
    marks, cells, shifts = read_integers(chunk, ["id", "cell_id", "shift_id"])
    touched = set(zip(cells.tolist(), shifts.tolist(), strict=True))
    pairs = _with_an_account(touched)
    for cell, shift in touched - pairs:
        CellShift.objects.filter(cell=cell, shift=shift).delete()
    gathered = gather(pairs)
    store(gathered, compute_accounts(gathered.inputs))
    ledger_changed()
    StaleMark.objects.filter(among("id", marks.tolist())).delete()
    attempts.done(pieces)
    return len(touched)


def _locked_lines(lines: list[int]) -> list[int]:
    """Those whose shifts nobody is confirming or changing just now, locked."""
    free = Line.objects.select_for_update(skip_locked=True, no_key=True, of=("self",))
    return [line.pk for line in free.filter(pk__in=lines).order_by("id")]


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
        if (gone := retired.get(cell)) is None or dates[shift] < gone
    }
