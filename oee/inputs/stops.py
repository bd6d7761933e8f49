"""Stops and planned stops, each as a row per cell-shift that it touches."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from django.db.models import Q, Value
from django.db.models.functions import Coalesce

from cells.models import Shift
from cells.moments import MomentField, from_seconds
from maintenance.models import PlannedStop, Reason, Stop
from oee.inputs.around import Around, whole
from oee.inputs.reading import fetch, read_integers
from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.cover import IntArray
from oee.ledger.inputs import STILL_RUNNING, PlannedStops, Stops
from oee.ledger.spread import Touches, spread

CLASS_PLACE = {name: place for place, name in enumerate(LOSS_CLASSES)}
#: Above every moment, so that a cell and a moment fit into one number.
MOMENTS = 2**34
COLUMNS = ("id", "cell", "start", "end", "reason")


@dataclass(frozen=True, kw_only=True)
class Reasons:
    """What the ledger asks of a reason, by place in the sorted ids."""

    ids: IntArray
    loss_class: IntArray  # its place in LOSS_CLASSES
    by_code: IntArray  # rank of its code

    @classmethod
    def read(cls) -> "Reasons":
        rows = sorted(Reason.objects.order_by().values_list("id", "loss_class", "code"))
        codes = np.argsort(np.argsort(np.array([code for _, _, code in rows], str)))
        return cls(
            ids=np.array([pk for pk, _, _ in rows], np.int64),
            loss_class=np.array([CLASS_PLACE[name] for _, name, _ in rows], np.int64),
            by_code=codes.astype(np.int64),
        )

    def places(self, ids: IntArray) -> IntArray:
        return np.searchsorted(self.ids, ids)


def planned_stops(wanted: pd.DataFrame, around: Around) -> PlannedStops:
    recent, older = around.touching("starts_at", "ends_at")
    query = PlannedStop.objects.filter(recent | older, withdrawn=False)
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
    shift_starts = whole(wanted["start"])[touches.cell_shift]
    return PlannedStops(
        cell_shift=touches.cell_shift,
        starts=whole(at["start"]),
        ends=whole(at["end"]),
        late=whole(at["declared"]) > shift_starts,
    )


def stops(
    wanted: pd.DataFrame, around: Around, reasons: Reasons
) -> tuple[pd.DataFrame, Stops]:
    """Aligned with the ledger's: cell_shift, id, reason, and times (1: began here)."""
    rows = _in_order(_read(around))
    touches = _spread(wanted, rows)
    at = {name: rows[name][touches.interval] for name in COLUMNS}
    table = Stops(
        cell_shift=touches.cell_shift,
        loss_class=reasons.loss_class[reasons.places(at["reason"])],
        starts=at["start"],
        ends=at["end"],
        order=touches.interval,
    )
    # One event, counted where it began: in the first shift that it touches.
    began = _first_touched(wanted, at, touches)
    told = {"cell_shift": touches.cell_shift, "id": at["id"], "reason": at["reason"]}
    return pd.DataFrame({**told, "times": began}), table


def _read(around: Around) -> dict[str, IntArray]:
    standing = Stop.objects.standing().filter(around.of_cells())
    recent, older = around.touching("started_at", "ended_at")
    running = Q(ended_at=None, started_at__lt=around.last)
    last = Coalesce("ended_at", Value(STILL_RUNNING), output_field=MomentField())
    columns = ("id", "cell_id", "started_at", "last", "reason_id")
    parts = [
        standing.filter(part).annotate(last=last).order_by().values_list(*columns)
        for part in (recent, older, running)
    ]
    # Not one question with "or": each of them has an index of its own.
    rows = read_integers(parts[0].union(*parts[1:], all=True), columns)
    return dict(zip(COLUMNS, rows, strict=True))


def _in_order(rows: dict[str, IntArray]) -> dict[str, IntArray]:
    """By cell, start and ref. Refs are long and ties rare, so only theirs are read."""
    keys = rows["cell"] * MOMENTS + rows["start"]
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    same = keys[1:] == keys[:-1]
    tied = np.zeros(len(keys), np.bool_)
    tied[1:] |= same
    tied[:-1] |= same
    if tied.any():
        refs = _refs(rows["id"][order[tied]].tolist())
        ranks = np.argsort(np.argsort(np.array(refs, dtype=str)))
        order[tied] = order[tied][np.lexsort((ranks, keys[tied]))]
    return {name: column[order] for name, column in rows.items()}


def _refs(ids: list[int]) -> list[str]:
    refs: dict[int, str] = {}
    for begin in range(0, len(ids), 5000):
        part = Stop.objects.filter(pk__in=ids[begin : begin + 5000])
        refs |= dict(part.order_by().values_list("id", "ref"))
    return [refs[pk] for pk in ids]


def _first_touched(
    wanted: pd.DataFrame, at: dict[str, IntArray], touches: Touches
) -> IntArray:
    """1 where the stop's first touched shift is this one, else 0.

    A stop that began before this shift may have begun in another shift that is not
    among the wanted ones. As a line's shifts do not overlap, it did where the shift
    before this one had not ended when the stop started.
    """
    starts = whole(wanted["start"])[touches.cell_shift]
    first = (at["start"] >= starts).astype(np.int64)
    carried = np.flatnonzero(first == 0)
    if not len(carried):
        return first
    lines = whole(wanted["line"])[touches.cell_shift[carried]]
    since, until = at["start"][carried], starts[carried]
    earlier = Shift.objects.worked().filter(
        line__in=np.unique(lines).tolist(),
        ends_at__gt=from_seconds(int(since.min())),
        ends_at__lte=from_seconds(int(until.max())),
    )
    line, ends = read_integers(earlier, ["line_id", "ends_at"])
    # The last end of the line that is not after this shift's start.
    ends = np.sort(np.append(line * MOMENTS + ends, -1))
    before = ends[np.searchsorted(ends, lines * MOMENTS + until, side="right") - 1]
    first[carried] = before <= lines * MOMENTS + since
    return first


def _spread(wanted: pd.DataFrame, rows: Any) -> Touches:
    return spread(
        shift_cells=whole(wanted["cell"]),
        shift_starts=whole(wanted["start"]),
        shift_ends=whole(wanted["end"]),
        cells=np.asarray(rows["cell"], np.int64),
        starts=np.asarray(rows["start"], np.int64),
        ends=np.asarray(rows["end"], np.int64),
    )
