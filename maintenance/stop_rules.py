"""What cannot be true of a stop, said in sentences by field.

``faults`` asks nothing of the database but what hangs on the stop, so that a file of
a million stops can be checked with it too; ``check`` adds what the cell's other stops
and positions forbid.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from itertools import pairwise

from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils import timezone

from cells.models import Cell, Placement
from cells.templatetags.figures import moment
from maintenance.models import LossClass, Reason, Stop

LONGEST = timedelta(days=31)

Faults = dict[str, str]

WORDS = {
    "started_at": "start",
    "ended_at": "end",
    "called_at": "called",
    "arrived_at": "arrived",
    "cause_found_at": "cause found",
    "repaired_at": "repaired",
    "restarted_at": "restarted",
    "first_good_at": "first good part",
}


def faults(stop: Stop, *, now: datetime, long_ok: bool = False) -> Faults:
    """At most one sentence per field. ``long_ok``: it really stood that long."""
    found = {
        **_disorder(stop),
        **_parts_wait_too_long(stop),
        **_too_long(stop, now, long_ok),
        **_end_before_start(stop),
        **_in_the_future(stop, now),
    }
    if stop.reason.loss_class == LossClass.PLANNED:
        found["reason"] = planned_reason(stop.reason)
    return found


def check(
    stop: Stop, *, now: datetime, changed: Iterable[str], long_ok: bool = False
) -> None:
    """ValidationError unless the stop may be saved with these fields changed.

    A reason or cell that has been retired since may stay on a stop; only a new
    choice is refused.
    """
    found = faults(stop, now=now, long_ok=long_ok)
    changed = set(changed)
    if "reason" in changed and stop.reason.retired_on:
        found.setdefault("reason", retired_reason(stop.reason))
    if changed & {"cell", "started_at"} and cell_retired(stop.cell, stop.started_at):
        found.setdefault("cell", retired_cell(stop.cell))
    if changed & {"cell", "position"} and stop.position:
        found.update(_unknown_position(stop))
    if not found:
        found = _overlap(stop)
    if found:
        raise ValidationError(found)


def planned_reason(reason: Reason) -> str:
    return (
        f"“{reason}” is a reason for planned stops: choose what stopped the cell, or "
        "ask a planner to declare a planned stop. What runs over a planned stop is a "
        "stop with a reason of its own."
    )


def retired_reason(reason: Reason) -> str:
    return f"The reason “{reason}” is no longer used: choose another one."


def cell_retired(cell: Cell, at: datetime) -> bool:
    return cell.retired_on is not None and cell.retired_on <= timezone.localdate(at)


def retired_cell(cell: Cell) -> str:
    return (
        f"Cell {cell} is out of use since {cell.retired_on}: choose another cell or an "
        "earlier time."
    )


def _in_the_future(stop: Stop, now: datetime) -> Faults:
    return {
        field: (
            f"“{WORDS[field].capitalize()}” ({moment(value)}) lies in the future: it "
            f"is {moment(now)}. Give a time that has passed"
            + (", or leave it empty." if field != "started_at" else ".")
        )
        for field in WORDS
        if (value := getattr(stop, field)) is not None and value > now
    }


def _end_before_start(stop: Stop) -> Faults:
    if stop.ended_at is None or stop.ended_at > stop.started_at:
        return {}
    return {
        "ended_at": (
            f"The end ({moment(stop.ended_at)}) is not after the start "
            f"({moment(stop.started_at)}): correct one of the two."
        )
    }


def _too_long(stop: Stop, now: datetime, long_ok: bool) -> Faults:
    if long_ok or (stop.ended_at or now) - stop.started_at <= LONGEST:
        return {}
    if stop.ended_at is None:
        return {
            "started_at": (
                f"It would be running since {moment(stop.started_at)}, more than "
                f"{LONGEST.days} days: is it still running? Then say that it really "
                "is that long; else correct the start or give the end."
            )
        }
    return {
        "ended_at": (
            f"From {moment(stop.started_at)} to {moment(stop.ended_at)} it would be "
            f"longer than {LONGEST.days} days: correct the dates, or say that it "
            "really was that long."
        )
    }


def _disorder(stop: Stop) -> Faults:
    found = {}
    known = [
        (name, value)
        for name in Stop.TIMELINE
        if (value := getattr(stop, name)) is not None
    ]
    for (earlier, before), (later, after) in pairwise(known):
        if after < before:
            found[later] = (
                f"“{WORDS[later].capitalize()}” ({moment(after)}) lies before "
                f"“{WORDS[earlier]}” ({moment(before)}): correct one of the two."
            )
    return found


def _parts_wait_too_long(stop: Stop) -> Faults:
    if stop.parts_wait_s is None or not (stop.cause_found_at and stop.repaired_at):
        return {}
    repair = stop.repaired_at - stop.cause_found_at
    if timedelta(seconds=stop.parts_wait_s) <= repair:
        return {}
    return {
        "parts_wait_s": (
            f"The wait for parts ({stop.parts_wait_s // 60} min) is longer than the "
            f"repair it is part of ({int(repair.total_seconds()) // 60} min from "
            "“cause found” to “repaired”): correct one of them."
        )
    }


def _unknown_position(stop: Stop) -> Faults:
    known = set(
        Placement.objects.filter(cell=stop.cell).values_list("position", flat=True)
    )
    return {} if stop.position in known else {"position": unknown_position(stop, known)}


def unknown_position(stop: Stop, known: Iterable[str]) -> str:
    choice = ", ".join(sorted(known)) or "none is on record"
    return (
        f"Cell {stop.cell} has no position “{stop.position}”: choose one of its "
        f"own ({choice}) or leave it empty."
    )


def _overlap(stop: Stop) -> Faults:
    """Two stops of one cell and reason in the same seconds are one stop."""
    others = Stop.objects.standing().filter(cell=stop.cell, reason=stop.reason)
    others = others.exclude(pk=stop.pk).filter(
        Q(ended_at=None) | Q(ended_at__gt=stop.started_at)
    )
    if stop.ended_at is not None:  # a running one reaches into everything later
        others = others.filter(started_at__lt=stop.ended_at)
    other = others.first()
    if other is None:
        return {}
    if other.ended_at is None and stop.ended_at is None:
        return {"reason": running_already(other)}
    return {"started_at": overlaps(other)}


def running_already(other: Stop) -> str:
    return (
        f"Cell {other.cell} already has a running stop “{other.reason}” since "
        f"{moment(other.started_at)}: end that one first."
    )


def overlaps(other: Stop) -> str:
    until = f"to {moment(other.ended_at)}" if other.ended_at else "and still running"
    return (
        f"Cell {other.cell} already has a stop “{other.reason}” in that time, from "
        f"{moment(other.started_at)} {until}: correct that one instead."
    )
