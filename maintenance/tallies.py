"""Tallies: what stopped a cell too often and too briefly to write the clock down.

Any class but planned. More than the shift had room for is kept as entered and flagged
by the ledger; only what cannot be is refused here. As with stops, the cell is locked
first, and ``by`` None is an import.
"""

from collections.abc import Collection, Mapping
from copy import copy
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import clock, stale, trail
from cells.edits import merged
from cells.models import Cell, Shift
from cells.templatetags.figures import moment
from cells.working_time.plant_time import elapsed_s
from maintenance import stop_rules
from maintenance.models import LossClass, Reason, Tally
from maintenance.rights import need_to_correct_tally, need_to_log_stop
from maintenance.stops import WHY, lock_cells

#: What a correction may change. Of another shift it would be another tally.
FACTS = ("cell", "reason", "times", "seconds")


@transaction.atomic
def log_tally(
    *,
    cell: Cell,
    shift: Shift,
    reason: Reason,
    times: int,
    seconds: int,
    by: User | None,
    door: str = "page",
) -> Tally:
    """One that was withdrawn comes back with these numbers."""
    lock_cells(cell)
    if by is not None:
        need_to_log_stop(by, cell, shift.ends_at)
    tally = Tally(
        cell=cell,
        shift=shift,
        reason=reason,
        times=times,
        seconds=seconds,
        logged_by=by,
        logged_at=clock.now(),
    )
    _check(tally, changed=FACTS)
    known = _same_key(tally)
    if known is not None and known.withdrawn:
        again = {"withdrawn": False, "times": times, "seconds": seconds}
        trail.save_changes(known, again, by=by, why="entered again", door=door)
        tally = known
    elif known is not None:
        raise ValidationError({"reason": _tallied_already(known)})
    else:
        tally.full_clean()
        tally.save()
        trail.created([tally], by=by, door=door)
    _mark(tally)
    return tally


@transaction.atomic
def correct_tally(
    *,
    tally: Tally,
    changes: Mapping[str, Any],
    why: str,
    by: User | None,
    door: str = "page",
    seen: int | None = None,
) -> Tally:
    """``changes``: any of FACTS; the trail keeps the old ones.

    ``seen``: the newest change of the tally that the person knew of.
    """
    if unknown := sorted(set(changes) - set(FACTS)):
        raise TypeError(f"{', '.join(unknown)}: no fact of a tally that can change")
    lock_cells(tally.cell, changes.get("cell"))
    tally = _locked(tally)
    changes = merged(tally, changes, seen=seen)
    if by is not None:
        need_to_correct_tally(by, tally)
        need_to_log_stop(by, changes.get("cell", tally.cell), tally.shift.ends_at)
    if not why.strip():
        raise ValidationError({"why": WHY})
    wanted = copy(tally)
    for field, value in changes.items():
        setattr(wanted, field, value)
    _check(
        wanted,
        changed=[field for field in changes if changes[field] != getattr(tally, field)],
    )
    other = _same_key(wanted)
    if other is not None:
        raise ValidationError({"reason": _tallied_already(other)})
    old_cell = tally.cell_id
    if trail.save_changes(tally, changes, by=by, why=why.strip(), door=door):
        stale.mark_cell_shifts([(old_cell, tally.shift_id)])
        if tally.cell_id != old_cell:
            _mark(tally)
    return tally


@transaction.atomic
def withdraw_tally(
    *, tally: Tally, why: str, by: User | None, door: str = "page"
) -> Tally:
    """It counts for nothing from now on, and stays readable."""
    tally = _locked(tally)
    if by is not None:
        need_to_correct_tally(by, tally)
    if not why.strip():
        raise ValidationError({"why": WHY})
    trail.save_changes(tally, {"withdrawn": True}, by=by, why=why.strip(), door=door)
    _mark(tally)
    return tally


def faults(tally: Tally) -> dict[str, str]:
    """What cannot be true of a tally, by field; asks nothing of other tallies."""
    cell, shift, reason = tally.cell, tally.shift, tally.reason
    length = elapsed_s(shift.starts_at, shift.ends_at)
    found = {}
    if reason.loss_class == LossClass.PLANNED:
        found["reason"] = stop_rules.planned_reason(reason)
    if cell.line_id != shift.line_id:
        found["cell"] = (
            f"Cell {cell} does not stand on line {shift.line}, whose shift this is: "
            "choose one of its cells."
        )
    if shift.is_cancelled:
        found["shift"] = f"Shift {shift} is cancelled: it has no minutes to lose."
    elif tally.seconds < 0 or tally.seconds > length:
        found["seconds"] = (
            f"{tally.seconds / 60:g} min is not between 0 and the {length // 60} min "
            "of the shift: correct the minutes."
        )
    elif not 1 <= tally.times <= length:
        found["times"] = (
            f"{tally.times} times is not between 1 and once a second ({length}): "
            "correct the number."
        )
    return found


def not_begun(shift: Shift) -> str:
    return (
        f"Shift {shift} begins at {moment(shift.starts_at)}: enter its tallies once it "
        "has begun."
    )


def _check(tally: Tally, changed: Collection[str]) -> None:
    found = faults(tally)
    shift = tally.shift
    if shift.starts_at > clock.now():
        found["shift"] = not_begun(shift)
    if "reason" in changed and tally.reason.retired_on:
        found.setdefault("reason", stop_rules.retired_reason(tally.reason))
    if "cell" in changed and stop_rules.cell_retired(tally.cell, shift.starts_at):
        found.setdefault("cell", stop_rules.retired_cell(tally.cell))
    if found:
        raise ValidationError(found)


def _same_key(tally: Tally) -> Tally | None:
    same = Tally.objects.filter(cell=tally.cell, shift=tally.shift, reason=tally.reason)
    return same.exclude(pk=tally.pk).first()


def _tallied_already(tally: Tally) -> str:
    if tally.withdrawn:
        return (
            f"A withdrawn tally “{tally.reason}” of cell {tally.cell} is on record for "
            "this shift: enter that reason again instead of changing to it."
        )
    return (
        f"Cell {tally.cell} already has a tally “{tally.reason}” in this shift "
        f"({tally.times} times): correct that one."
    )


def _locked(tally: Tally) -> Tally:
    locked = Tally.objects.select_for_update(no_key=True, of=("self",))
    stored = locked.select_related("cell__line", "shift__line", "reason")
    tally = stored.get(pk=tally.pk)
    if tally.withdrawn:
        raise ValidationError("This tally is withdrawn: enter it again instead.")
    return tally


def _mark(tally: Tally) -> None:
    stale.mark_cell_shifts([(tally.cell_id, tally.shift_id)])
