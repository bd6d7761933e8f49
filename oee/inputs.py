"""The seam where stored rows become the ledger's inputs.

Nothing else reads stops, counts and shifts for a calculation. Rows are fetched in
bulk, past the model fields: a moment is an integer in the database and stays one.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd
from django.db import connections
from django.db.models import Q, QuerySet

from cells.models import Cell, Shift, ShiftBreak, WorkedBreak
from cells.moments import from_seconds, to_seconds
from maintenance.models import PlannedStop, Stop, Tally
from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.inputs import (
    STILL_RUNNING,
    Breaks,
    Counts,
    LedgerInputs,
    PlannedStops,
    Shifts,
    Stops,
    Tallies,
)
from oee.ledger.spread import Touches, spread
from oee.models import Count, IdealCycle

#: Above this many cells a list in the query costs more than the rows it saves.
FEW = 200
CLASS_PLACE = {name: place for place, name in enumerate(LOSS_CLASSES)}


@dataclass(frozen=True, kw_only=True)
class Gathered:
    """The ledger's inputs, and which stored rows they came from.

    ``cell_shifts`` has a row per cell-shift in the ledger's order: cell, shift, line,
    area, leg, date, start, end, confirmed. ``stops`` and ``tallies`` are aligned with
    the ledger's: id, reason, and times (of a stop 1 where it began, else 0). ``rests``
    has every break of each cell-shift: index, id, start, end, and whether it was taken.
    """

    cell_shifts: pd.DataFrame
    inputs: LedgerInputs
    stops: pd.DataFrame
    tallies: pd.DataFrame
    counts: pd.DataFrame
    rests: pd.DataFrame


def fetch(rows: QuerySet, columns: Sequence[str]) -> pd.DataFrame:
    """The columns of a query as they are stored, without a model in between."""
    query = rows.order_by().values_list(*columns).query
    connection = connections[rows.db]
    sql, parameters = query.get_compiler(connection=connection).as_sql()
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return pd.DataFrame(cursor.fetchall(), columns=list(columns))


def gather(pairs: Iterable[tuple[int, int]], until: datetime | None = None) -> Gathered:
    """Everything the ledger needs for these (cell id, shift id) pairs."""
    wanted = _cell_shifts(pd.DataFrame(sorted(set(pairs)), columns=["cell", "shift"]))
    around = _Around.of(wanted)
    stops, stop_table = _stops(wanted, around)
    tallies, tally_table = _tallies(wanted, around)
    counts, count_table = _counts(wanted, around)
    rests, break_table = _breaks(wanted, around)
    inputs = LedgerInputs(
        shifts=Shifts(
            starts=_whole(wanted["start"]),
            ends=_whole(wanted["end"]),
            confirmed=wanted["confirmed"].to_numpy(dtype=bool),
        ),
        breaks=break_table,
        planned=_planned(wanted, around),
        stops=stop_table,
        tallies=tally_table,
        counts=count_table,
        until=None if until is None else to_seconds(until),
    )
    return Gathered(
        cell_shifts=wanted,
        inputs=inputs,
        stops=stops,
        tallies=tallies,
        counts=counts,
        rests=rests,
    )


@dataclass(frozen=True, kw_only=True)
class _Around:
    """What bounds the queries: the lines, the cells if few, and the span."""

    lines: list[int]
    cells: list[int] | None
    first: datetime
    last: datetime

    @classmethod
    def of(cls, wanted: pd.DataFrame) -> "_Around":
        cells = wanted["cell"].unique().tolist()
        empty = wanted.empty
        return cls(
            lines=wanted["line"].unique().tolist(),
            cells=cells if len(cells) <= FEW else None,
            first=from_seconds(0 if empty else int(wanted["start"].min())),
            last=from_seconds(0 if empty else int(wanted["end"].max())),
        )

    def of_cells(self, field: str = "cell") -> Q:
        return Q() if self.cells is None else Q(**{f"{field}__in": self.cells})

    def of_shifts(self, prefix: str = "shift__") -> Q:
        # Empty (cancelled) shifts at the very end belong to it too.
        return Q(
            **{
                f"{prefix}line__in": self.lines,
                f"{prefix}starts_at__gte": self.first,
                f"{prefix}starts_at__lte": self.last,
            }
        )


def _whole(column: pd.Series) -> np.ndarray:
    return column.to_numpy(dtype=np.int64)


def _cell_shifts(pairs: pd.DataFrame) -> pd.DataFrame:
    """The pairs with their line, area, leg, date and span; unknown ones fall out."""
    cells = fetch(Cell.objects.all(), ["id", "line_id", "line__area_id", "leg"])
    cells.columns = pd.Index(["cell", "line", "area", "leg"])
    ids = pairs["shift"].unique().tolist()
    shifts = Shift.objects.all()
    if len(ids) <= FEW:
        shifts = shifts.filter(pk__in=ids)
    else:
        shifts = shifts.filter(pk__gte=min(ids), pk__lte=max(ids))
    columns = ["id", "line_id", "production_date", "starts_at", "ends_at"]
    spans = fetch(shifts, [*columns, "confirmation__id"])
    spans.columns = pd.Index(["shift", "of_line", "date", "start", "end", "confirmed"])
    spans["confirmed"] = spans["confirmed"].notna()
    known = pairs.merge(cells, on="cell").merge(spans, on="shift")
    # A cell has an account in the shifts of its own line only.
    known = known[known["line"] == known["of_line"]].drop(columns="of_line")
    return known.sort_values(["shift", "cell"], ignore_index=True)


def _breaks(wanted: pd.DataFrame, around: _Around) -> tuple[pd.DataFrame, Breaks]:
    breaks = fetch(
        ShiftBreak.objects.filter(around.of_shifts()),
        ["id", "shift_id", "starts_at", "ends_at"],
    )
    breaks.columns = pd.Index(["id", "shift", "start", "end"])
    rests = _indexed(wanted)[["index", "cell", "shift"]].merge(breaks, on="shift")
    worked = fetch(
        WorkedBreak.objects.filter(around.of_shifts(), withdrawn=False),
        ["cell_id", "shift_id", "break_start"],
    )
    worked.columns = pd.Index(["cell", "shift", "start"])
    through = pd.MultiIndex.from_frame(worked)
    taken = ~pd.MultiIndex.from_frame(rests[["cell", "shift", "start"]]).isin(through)
    rows = rests[taken]
    table = Breaks(
        cell_shift=_whole(rows["index"]),
        starts=_whole(rows["start"]),
        ends=_whole(rows["end"]),
    )
    return rests.assign(taken=taken), table


def _planned(wanted: pd.DataFrame, around: _Around) -> PlannedStops:
    query = PlannedStop.objects.filter(
        withdrawn=False, starts_at__lt=around.last, ends_at__gt=around.first
    )
    columns = ["area_id", "line_id", "cell_id", "starts_at", "ends_at", "declared_at"]
    rows = fetch(query, columns)
    rows.columns = pd.Index(["area", "line", "cell", "start", "end", "declared"])
    places = wanted[["area", "line", "cell"]].drop_duplicates()
    spread_out = [
        rows.dropna(subset=[level])
        .astype({level: "int64"})[[level, "start", "end", "declared"]]
        .merge(places, on=level)[["cell", "start", "end", "declared"]]
        for level in ("area", "line", "cell")
    ]
    rows = pd.concat(spread_out, ignore_index=True)
    touches = _spread(wanted, rows)
    at = rows.iloc[touches.interval]
    shift_starts = _whole(wanted["start"])[touches.cell_shift]
    return PlannedStops(
        cell_shift=touches.cell_shift,
        starts=_whole(at["start"]),
        ends=_whole(at["end"]),
        late=_whole(at["declared"]) > shift_starts,
    )


def _stops(wanted: pd.DataFrame, around: _Around) -> tuple[pd.DataFrame, Stops]:
    query = Stop.objects.standing().touching(around.first, around.last)
    columns = ["id", "cell_id", "started_at", "ended_at", "reason_id"]
    rows = fetch(query.filter(around.of_cells()), [*columns, "reason__loss_class"])
    rows.columns = pd.Index(["id", "cell", "start", "end", "reason", "loss_class"])
    rows["end"] = rows["end"].fillna(STILL_RUNNING).astype("int64")
    rows = _in_order(rows)
    touches = _spread(wanted, rows)
    at = rows.iloc[touches.interval].reset_index(drop=True)
    table = Stops(
        cell_shift=touches.cell_shift,
        loss_class=_whole(at["loss_class"].map(CLASS_PLACE)),
        starts=_whole(at["start"]),
        ends=_whole(at["end"]),
        order=touches.interval,
    )
    # One event, counted where it began: in the first shift that it touches.
    began = _first_touched(wanted, at, touches)
    return at.assign(cell_shift=touches.cell_shift, times=began), table


def _in_order(stops: pd.DataFrame) -> pd.DataFrame:
    """By cell, start and ref. Refs are long and ties rare, so only theirs are read."""
    tied = stops.duplicated(["cell", "start"], keep=False)
    refs: dict[int, str] = {}
    ids = stops.loc[tied, "id"].tolist()
    for begin in range(0, len(ids), 5000):
        part = Stop.objects.filter(pk__in=ids[begin : begin + 5000])
        refs |= dict(part.order_by().values_list("id", "ref"))
    ref = stops["id"].map(refs).fillna("") if refs else ""
    ordered = stops.assign(ref=ref).sort_values(["cell", "start", "ref"])
    return ordered.drop(columns="ref").reset_index(drop=True)


def _first_touched(
    wanted: pd.DataFrame, at: pd.DataFrame, touches: Touches
) -> np.ndarray:
    """1 where the stop's first touched shift is this one, else 0.

    A stop that began before this shift may have begun in another shift that is not
    among the wanted ones; so what counts is the last shift of the line that had
    begun and not ended when the stop started, or else the next one after.
    """
    starts = _whole(wanted["start"])[touches.cell_shift]
    began_inside = _whole(at["start"]) >= starts
    carried = at.loc[~began_inside, ["cell", "start"]]
    if carried.empty:
        return began_inside.astype(np.int64)
    lines = dict(zip(wanted["cell"], wanted["line"], strict=True))
    earlier = fetch(
        Shift.objects.filter(
            line__in={lines[cell] for cell in carried["cell"]},
            ends_at__gt=from_seconds(int(carried["start"].min())),
            starts_at__lt=from_seconds(int(starts[~began_inside].max())),
        ),
        ["line_id", "starts_at", "ends_at"],
    )
    first = began_inside.astype(np.int64)
    for place in np.flatnonzero(~began_inside):
        line = lines[at["cell"].iloc[place]]
        before = earlier[
            (earlier["line_id"] == line)
            & (earlier["ends_at"] > at["start"].iloc[place])
            & (earlier["starts_at"] < starts[place])
            & (earlier["ends_at"] > earlier["starts_at"])
        ]
        first[place] = int(before.empty)
    return first


def _tallies(wanted: pd.DataFrame, around: _Around) -> tuple[pd.DataFrame, Tallies]:
    query = Tally.objects.filter(around.of_shifts(), around.of_cells(), withdrawn=False)
    columns = ["id", "cell_id", "shift_id", "reason_id", "times", "seconds"]
    rows = fetch(query, [*columns, "reason__loss_class", "reason__code"])
    rows.columns = pd.Index(
        ["id", "cell", "shift", "reason", "times", "seconds", "loss_class", "code"]
    )
    rows = _indexed(wanted)[["index", "cell", "shift"]].merge(
        rows, on=["cell", "shift"]
    )
    rows = rows.sort_values(["index", "code"], ignore_index=True)
    table = Tallies(
        cell_shift=_whole(rows["index"]),
        loss_class=_whole(rows["loss_class"].map(CLASS_PLACE)),
        seconds=_whole(rows["seconds"]),
        order=np.arange(len(rows), dtype=np.int64),
    )
    return rows, table


def _counts(wanted: pd.DataFrame, around: _Around) -> tuple[pd.DataFrame, Counts]:
    columns = ["shift_id", "cell_id", "line_id", "leg", "variant_id", "total", "good"]
    rows = fetch(
        Count.objects.filter(around.of_shifts(), withdrawn=False), ["id", *columns]
    )
    rows.columns = pd.Index(
        ["id", "shift", "cell", "line", "count_leg", "variant", "total", "good"]
    )
    pairs = _indexed(wanted)[["index", "cell", "shift", "leg", "date"]]
    own = pairs.merge(
        rows.dropna(subset=["cell"]).drop(columns="line").astype({"cell": "int64"}),
        on=["cell", "shift"],
    )
    # A line's count is for its cells outside legs, a leg's for the cells of the leg.
    without = pairs[~pairs["index"].isin(own["index"])]
    of_line = without.merge(
        rows.dropna(subset=["line"]).drop(columns=["cell", "line"]),
        left_on=["shift", "leg"],
        right_on=["shift", "count_leg"],
    )
    found = pd.concat(
        [own.assign(from_line=False), of_line.assign(from_line=True)],
        ignore_index=True,
    )
    found["ideal_us"] = _ideal_us(found)
    table = Counts(
        cell_shift=_whole(found["index"]),
        total=_whole(found["total"]),
        good=_whole(found["good"]),
        ideal_us=_whole(found["ideal_us"]),
        from_line=found["from_line"].to_numpy(dtype=bool),
    )
    return found, table


def _ideal_us(counts: pd.DataFrame) -> pd.Series:
    """The latest cycle valid on the production date, or -1; aligned with the counts."""
    cells = counts["cell"].unique().tolist()
    known = IdealCycle.objects.filter(Q(cell__in=cells) if len(cells) <= FEW else Q())
    cycles = pd.DataFrame(
        [
            (cell, variant, pd.Timestamp(since), int(seconds * 1_000_000))
            for cell, variant, since, seconds in known.order_by().values_list(
                "cell_id", "variant_id", "valid_from", "seconds"
            )
        ],
        columns=["cell", "variant", "since", "ideal_us"],
    )
    if cycles.empty or counts.empty:
        return pd.Series(-1, index=counts.index, dtype="int64")
    keys = counts[["cell", "variant"]].astype("int64")
    # One unit on both sides, or the merge refuses them.
    day = pd.to_datetime(counts["date"]).astype("datetime64[s]")
    keys = keys.assign(day=day, row=counts.index).sort_values("day")
    cycles["since"] = cycles["since"].astype("datetime64[s]")
    found = pd.merge_asof(
        keys,
        cycles.sort_values("since"),
        left_on="day",
        right_on="since",
        by=["cell", "variant"],
    )
    return found.set_index("row")["ideal_us"].fillna(-1).astype("int64").sort_index()


def _indexed(wanted: pd.DataFrame) -> pd.DataFrame:
    return wanted.rename_axis("index").reset_index()


def _spread(wanted: pd.DataFrame, rows: pd.DataFrame) -> Touches:
    return spread(
        shift_cells=_whole(wanted["cell"]),
        shift_starts=_whole(wanted["start"]),
        shift_ends=_whole(wanted["end"]),
        cells=_whole(rows["cell"]),
        starts=_whole(rows["start"]),
        ends=_whole(rows["end"]),
    )
