"""Which cell-shifts have to be computed again.

Whatever changes an input of the ledger calls one of these verbs inside its own
transaction. After the commit one signal goes out; a room above connects it to its
job. If that message is lost, the sweep finds the marks.
"""

from collections.abc import Iterable
from datetime import datetime

import numpy as np
import pandas as pd
from django.db import transaction
from django.dispatch import Signal

from cells import clock
from cells.bulk import insert_rows
from cells.models import Cell, Shift, StaleMark
from cells.moments import to_seconds

#: Sent once the marks are committed, with no arguments: what to do is in the table.
marked = Signal()

#: A span: a cell's id, its first second and its end (None: it still runs).
Span = tuple[int, datetime, datetime | None]


def mark_cell_shifts(pairs: Iterable[tuple[int, int]]) -> int:
    """Mark (cell id, shift id) pairs. Returns how many."""
    wanted = sorted(set(pairs))
    if wanted:
        columns, moment = ("cell_id", "shift_id", "marked_at"), clock.now()
        insert_rows(StaleMark, columns, ((*pair, moment) for pair in wanted))
        transaction.on_commit(_tell)
    return len(wanted)


def mark_shifts(shift_ids: Iterable[int]) -> int:
    """Mark every cell of these shifts' lines (a shift changed or was confirmed)."""
    wanted = set(shift_ids)
    cells_of_line: dict[int, list[int]] = {}
    for cell, line in Cell.objects.order_by().values_list("id", "line_id"):
        cells_of_line.setdefault(line, []).append(cell)
    lines = dict(
        Shift.objects.order_by().filter(id__in=wanted).values_list("id", "line_id")
        if len(wanted) < 500
        else Shift.objects.order_by().values_list("id", "line_id")
    )
    return mark_cell_shifts(
        (cell, shift)
        for shift in wanted
        for cell in cells_of_line.get(lines[shift], [])
    )


def mark_spans(spans: Iterable[Span]) -> int:
    """Mark the cell-shifts that these spans of time touch."""
    rows = [
        (cell, to_seconds(start), to_seconds(end) if end else np.iinfo(np.int64).max)
        for cell, start, end in spans
    ]
    frame = pd.DataFrame(rows, columns=["cell", "start", "end"], dtype=np.int64)
    return mark_cell_shifts(touched_pairs(frame))


def mark_cycles(cell_ids: Iterable[int], since: object) -> int:
    """Mark these cells' shifts from a production date on (an ideal cycle changed)."""
    cells = Cell.objects.filter(id__in=set(cell_ids)).values_list("id", "line_id")
    lines: dict[int, list[int]] = {}
    for cell, line in cells:
        lines.setdefault(line, []).append(cell)
    shifts = Shift.objects.filter(line__in=lines, production_date__gte=since)
    return mark_cell_shifts(
        (cell, shift)
        for shift, line in shifts.order_by().values_list("id", "line_id")
        for cell in lines[line]
    )


def touched_pairs(spans: pd.DataFrame) -> set[tuple[int, int]]:
    """The (cell id, shift id) pairs that these spans (cell, start, end: s) touch."""
    return set(_touched(spans)) if len(spans) else set()


def _touched(spans: pd.DataFrame) -> Iterable[tuple[int, int]]:
    line_of = dict(
        Cell.objects.order_by()
        .filter(id__in=spans["cell"].unique().tolist())
        .values_list("id", "line_id")
    )
    spans["line"] = spans["cell"].map(line_of)
    first, last = int(spans["start"].min()), int(spans["end"].max())
    shifts = _shifts_between(set(line_of.values()), first, last)
    for line, of_line in spans.groupby("line"):
        ids, starts, ends = shifts.get(int(str(line)), _NONE)
        # Shifts of a line do not overlap, so both bounds are sorted alike.
        low = np.searchsorted(ends, of_line["start"].to_numpy(), side="right")
        high = np.searchsorted(starts, of_line["end"].to_numpy(), side="left")
        for cell, a, b in zip(of_line["cell"], low, high, strict=True):
            for shift in ids[a:b]:
                yield int(cell), int(shift)


#: Ids, starts and ends of a line's shifts.
_Shifts = list[np.ndarray]
_NONE: _Shifts = [np.array([]), np.array([]), np.array([])]


def _shifts_between(lines: set[int], first: int, last: int) -> dict[int, _Shifts]:
    from cells.moments import from_seconds

    # A cancelled shift has no second to mark, and inside a prolonged one it would
    # put the ends out of order.
    query = Shift.objects.worked().filter(
        line__in=lines, ends_at__gt=from_seconds(first)
    )
    if last < np.iinfo(np.int64).max:
        query = query.filter(starts_at__lt=from_seconds(last))
    found: dict[int, list[tuple[int, int, int]]] = {}
    for shift in query.order_by("line", "starts_at").iterator(chunk_size=2000):
        row = (shift.pk, to_seconds(shift.starts_at), to_seconds(shift.ends_at))
        found.setdefault(shift.line_id, []).append(row)
    return {
        line: [np.array(column) for column in zip(*rows, strict=True)]
        for line, rows in found.items()
    }


def _tell() -> None:
    marked.send_robust(sender=None)
