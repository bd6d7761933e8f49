"""The seam where stored rows become the ledger's inputs.

Nothing else reads stops, counts and shifts for a calculation. Whether one cell-shift
is asked for or a year of them, the same few questions are put for all at once.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd
from django.db.models import BigIntegerField, Value

from cells.models import ShiftBreak, WorkedBreak
from cells.moments import to_seconds
from maintenance.models import Tally
from oee.inputs.around import Around, Places, cell_shifts, whole
from oee.inputs.counts import counts
from oee.inputs.reading import read_integers
from oee.inputs.stops import Reasons, planned_stops, stops
from oee.ledger.cover import IntArray
from oee.ledger.inputs import Breaks, LedgerInputs, Shifts, Tallies

__all__ = ["Gathered", "gather"]


@dataclass(frozen=True, kw_only=True)
class Gathered:
    """The ledger's inputs, and which stored rows they came from.

    ``cell_shifts`` has a row per cell-shift in the ledger's order: cell, shift, line,
    area, leg, date, start, end, confirmed. ``stops``, ``tallies`` and ``counts`` are
    aligned with the ledger's: the id, the place of the cell-shift, reason and times (of
    a stop 1 where it began, else 0). ``rests`` has every break of each cell-shift:
    index, id, start, end, and whether it was taken.
    """

    cell_shifts: pd.DataFrame
    inputs: LedgerInputs
    stops: pd.DataFrame
    tallies: pd.DataFrame
    counts: pd.DataFrame
    rests: pd.DataFrame


def gather(pairs: Iterable[tuple[int, int]], until: datetime | None = None) -> Gathered:
    """Everything the ledger needs for these (cell id, shift id) pairs."""
    wanted = cell_shifts(pairs)
    around, places = Around.of(wanted), Places(wanted)
    reasons = Reasons.read()
    stop_rows, stop_table = stops(wanted, around, reasons)
    tallies, tally_table = _tallies(around, places, reasons)
    count_rows, count_table = counts(wanted, around, places)
    rests, break_table = _breaks(wanted, around, places)
    inputs = LedgerInputs(
        shifts=Shifts(
            starts=whole(wanted["start"]),
            ends=whole(wanted["end"]),
            confirmed=wanted["confirmed"].to_numpy(dtype=bool),
        ),
        breaks=break_table,
        planned=planned_stops(wanted, around),
        stops=stop_table,
        tallies=tally_table,
        counts=count_table,
        until=None if until is None else to_seconds(until),
    )
    return Gathered(
        cell_shifts=wanted,
        inputs=inputs,
        stops=stop_rows,
        tallies=tallies,
        counts=count_rows,
        rests=rests,
    )


def _breaks(
    wanted: pd.DataFrame, around: Around, places: Places
) -> tuple[pd.DataFrame, Breaks]:
    pk, cell, shift, start, end = _breaks_and_worked(around)
    planned = pk >= 0
    columns = {"id": pk, "shift": shift, "start": start, "end": end}
    breaks = pd.DataFrame({name: column[planned] for name, column in columns.items()})
    shifts = pd.DataFrame({"index": wanted.index, "shift": wanted["shift"]})
    of_each = shifts.merge(breaks, on="shift").drop(columns="shift")
    worked = [places.of(cell[~planned], shift[~planned]), start[~planned]]
    through = pd.MultiIndex.from_arrays(worked)
    # Few cell-shifts have one that was worked through, so only theirs are compared.
    concerned = np.isin(of_each["index"], worked[0])
    taken = np.ones(len(of_each), np.bool_)
    these = of_each.loc[concerned, ["index", "start"]]
    taken[concerned] = ~pd.MultiIndex.from_frame(these).isin(through)
    rows = of_each[taken]
    table = Breaks(
        cell_shift=whole(rows["index"]),
        starts=whole(rows["start"]),
        ends=whole(rows["end"]),
    )
    return of_each.assign(taken=taken), table


def _breaks_and_worked(around: Around) -> list[IntArray]:
    """Id, cell, shift, start and end; of one worked through the id is -1."""
    none = Value(-1, output_field=BigIntegerField())
    columns = ("id", "of_cell", "shift_id", "starts_at", "ends_at")
    breaks = ShiftBreak.objects.filter(around.of_shifts()).annotate(of_cell=none)
    worked = WorkedBreak.objects.filter(around.of_shifts(), withdrawn=False)
    rows = breaks.order_by().values_list(*columns)
    through = worked.order_by().values_list(
        none, "cell_id", "shift_id", "break_start", "break_start"
    )
    return read_integers(rows.union(through, all=True), columns)


def _tallies(
    around: Around, places: Places, reasons: Reasons
) -> tuple[pd.DataFrame, Tallies]:
    query = Tally.objects.filter(around.of_shifts(), around.of_cells(), withdrawn=False)
    columns = ["id", "cell_id", "shift_id", "reason_id", "times", "seconds"]
    pk, cell, shift, reason, times, seconds = read_integers(query, columns)
    index = places.of(cell, shift)
    of_reason = reasons.places(reason)
    # Within a class and cell-shift by the reason's code.
    order = np.lexsort((reasons.by_code[of_reason], index))
    order = order[index[order] >= 0]
    table = Tallies(
        cell_shift=index[order],
        loss_class=reasons.loss_class[of_reason[order]],
        seconds=seconds[order],
        order=np.arange(len(order), dtype=np.int64),
    )
    rows = {"cell_shift": index, "id": pk, "reason": reason, "times": times}
    return pd.DataFrame({name: row[order] for name, row in rows.items()}), table
