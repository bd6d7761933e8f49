"""Counts: a cell's own, else those of its line or leg; with their ideal cycles."""

from datetime import date

import numpy as np
import pandas as pd

from oee.inputs.around import Around, Places, whole
from oee.inputs.reading import fetch
from oee.ledger.cover import IntArray
from oee.ledger.inputs import Counts
from oee.models import Count, IdealCycle

EPOCH = date(1970, 1, 1)
#: Above every day since 1970 in this calendar, so that a key and a day fit together.
DAYS = 2**22


def counts(
    wanted: pd.DataFrame, around: Around, places: Places
) -> tuple[pd.DataFrame, Counts]:
    """A row per variant and cell-shift: index, id, variant, from_line and ideal_us."""
    columns = ["id", "shift_id", "cell_id", "line_id", "leg", "variant_id"]
    rows = fetch(
        Count.objects.filter(around.of_shifts(), withdrawn=False),
        [*columns, "total", "good"],
    )
    own = rows[rows["cell_id"].notna()]
    place = places.of(whole(own["cell_id"]), whole(own["shift_id"]))
    own = own.assign(index=place)[place >= 0]
    of_line = _of_lines(rows[rows["line_id"].notna()], wanted, whole(own["index"]))
    parts = [own.assign(from_line=False), of_line.assign(from_line=True)]
    found = pd.concat([part[FOUND] for part in parts], ignore_index=True)
    index, variant = whole(found["index"]), whole(found["variant_id"])
    found["ideal_us"] = _ideal_us(wanted, index, variant, around)
    table = Counts(
        cell_shift=index,
        total=whole(found["total"]),
        good=whole(found["good"]),
        ideal_us=whole(found["ideal_us"]),
        from_line=found["from_line"].to_numpy(dtype=bool),
    )
    return found, table


FOUND = ["index", "id", "variant_id", "total", "good", "from_line"]


def _of_lines(
    rows: pd.DataFrame, wanted: pd.DataFrame, counted: IntArray
) -> pd.DataFrame:
    """A line's count is for its cells outside legs, a leg's for the cells of the leg.

    For none that are counted themselves.
    """
    without = np.ones(len(wanted), np.bool_)
    without[counted] = False
    index = np.flatnonzero(without)
    legs = pd.concat([wanted["leg"], rows["leg"]]).astype(str)
    leg = pd.factorize(legs)[0].astype(np.int64)
    width = len(legs) + 1
    asked = whole(wanted["shift"])[index] * width + leg[: len(wanted)][index]
    given = whole(rows["shift_id"]) * width + leg[len(wanted) :]
    return pd.DataFrame({"key": asked, "index": index}).merge(
        rows.assign(key=given), on="key"
    )


def _ideal_us(
    wanted: pd.DataFrame, index: IntArray, variant: IntArray, around: Around
) -> IntArray:
    """The latest cycle valid on the production date, or -1; aligned with the counts."""
    known = IdealCycle.objects.filter(around.of_cells()).order_by()
    rows = known.values_list("cell_id", "variant_id", "valid_from", "seconds")
    cycles = np.array(
        [
            (cell, of, (since - EPOCH).days, int(seconds * 1_000_000))
            for cell, of, since, seconds in rows
        ],
        np.int64,
    ).reshape(-1, 4)
    width = int(max(cycles[:, 1].max(initial=0), variant.max(initial=0))) + 1
    since = (cycles[:, 0] * width + cycles[:, 1]) * DAYS + cycles[:, 2]
    order = np.argsort(since)
    since, ideal_us = since[order], cycles[order, 3]
    days = pd.to_datetime(wanted["date"]).to_numpy("datetime64[D]").astype(np.int64)
    keys = (whole(wanted["cell"])[index] * width + variant) * DAYS + days[index]
    latest = np.searchsorted(since, keys, side="right") - 1
    found = latest >= 0
    found[found] = since[latest[found]] // DAYS == keys[found] // DAYS
    result = np.full(len(keys), -1, np.int64)
    result[found] = ideal_us[latest[found]]
    return result
