"""Stops: logged, started and ended with one tap, timed, corrected, withdrawn.

Every verb locks the cell first, so that of two people who start the same stop at once
one wins and the other reads why not. It reads the stop again under that lock, so that
nobody writes over what another has just saved. And if the ledger asks for what changed,
it marks exactly the cell-shifts that the stop touched before and touches now. ``by``
None is an import, which has no rights to ask for. The changed stop is returned, not the
one that was given.
"""

from collections.abc import Iterable, Mapping
from copy import copy
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import clock, stale, trail
from cells.edits import merged
from cells.models import Cell
from cells.templatetags.figures import moment
from maintenance import refs, stop_rules
from maintenance.models import Reason, Stop
from maintenance.rights import (
    REPAIR_FIELDS,
    need_to_correct_stop,
    need_to_correct_times,
    need_to_end_stop,
    need_to_log_stop,
    need_to_record_times,
    settled_at,
)

#: What one tap can record of a running or finished stop, in the order of the day.
MOMENTS = Stop.TIMELINE[1:]

#: Everything about a stop that a correction may change.
FACTS = (
    "cell",
    "reason",
    "started_at",
    "ended_at",
    "position",
    "note",
    *REPAIR_FIELDS,
)

#: Those that decide who owns which second.
LEDGER_FACTS = {"cell", "reason", "started_at", "ended_at"}

WHY = "Say why: the trail keeps the reason beside the old and the new."


@transaction.atomic
def log_stop(
    *,
    cell: Cell,
    reason: Reason,
    started_at: datetime,
    by: User | None,
    ended_at: datetime | None = None,
    position: str = "",
    note: str = "",
    long_ok: bool = False,
    door: str = "page",
    **repair: Any,
) -> Stop:
    """``repair``: any of REPAIR_FIELDS. ``long_ok``: it really stood for over a month.

    Without an end it is a running stop.
    """
    _only(repair, REPAIR_FIELDS)
    lock_cells(cell)
    if by is not None:
        need_to_log_stop(by, cell, settled_at(cell, started_at, ended_at))
    stop = Stop(
        ref=refs.unnamed(),
        cell=cell,
        reason=reason,
        started_at=started_at,
        ended_at=ended_at,
        position=position.strip(),
        note=note.strip(),
        logged_by=by,
        logged_at=clock.now(),
        **repair,
    )
    stop_rules.check(stop, now=clock.now(), changed=FACTS, long_ok=long_ok)
    stop.full_clean()
    stop.save()
    refs.name(stop)
    trail.created([stop], by=by, door=door)
    _mark(stop)
    return stop


def start_stop(
    *, cell: Cell, reason: Reason, by: User, position: str = "", note: str = ""
) -> Stop:
    """One tap: the cell has just stopped."""
    return log_stop(
        cell=cell,
        reason=reason,
        started_at=clock.now(),
        position=position,
        note=note,
        by=by,
    )


@transaction.atomic
def end_stop(
    *, stop: Stop, by: User | None, at: datetime | None = None, long_ok: bool = False
) -> Stop:
    """One tap: it runs again, now or since ``at``."""
    stop = _locked(stop)
    if stop.ended_at is not None:
        raise ValidationError(
            f"This stop ended at {moment(stop.ended_at)} already: correct "
            "it if that is wrong."
        )
    if by is not None:
        need_to_end_stop(by, stop)
    return _change(stop, {"ended_at": at or clock.now()}, by, "", long_ok=long_ok)


@transaction.atomic
def record_moment(
    *, stop: Stop, which: str, by: User | None, at: datetime | None = None
) -> Stop:
    """One tap: called, arrived, cause found, repaired, restarted or first good part."""
    _only([which], MOMENTS)
    stop = _locked(stop)
    if by is not None:
        need_to_record_times(by, stop)
    known = getattr(stop, which)
    if known is not None:
        raise ValidationError(
            f"“{stop_rules.WORDS[which].capitalize()}” is recorded at "
            f"{moment(known)} already: correct the stop if that is wrong."
        )
    return _change(stop, {which: at or clock.now()}, by, "")


@transaction.atomic
def correct_stop(
    *,
    stop: Stop,
    changes: Mapping[str, Any],
    why: str,
    by: User | None,
    long_ok: bool = False,
    door: str = "page",
    seen: int | None = None,
) -> Stop:
    """``changes``: any of FACTS with their new values; the trail keeps the old ones.

    ``seen``: the newest change of the stop that the person knew of.
    """
    _only(changes, FACTS)
    stop = _locked(stop, changes.get("cell"))
    changes = {
        field: value
        for field, value in merged(stop, changes, seen=seen).items()
        if getattr(stop, field) != value
    }
    if by is not None:
        _need_to_change(by, stop, changes)
    if not why.strip():
        raise ValidationError({"why": WHY})
    return _change(stop, changes, by, why.strip(), long_ok=long_ok, door=door)


@transaction.atomic
def withdraw_stop(*, stop: Stop, why: str, by: User | None, door: str = "page") -> Stop:
    """It owns nothing from now on, and stays readable."""
    stop = _locked(stop)
    if by is not None:
        need_to_correct_stop(by, stop)
    if not why.strip():
        raise ValidationError({"why": WHY})
    trail.save_changes(stop, {"withdrawn": True}, by=by, why=why.strip(), door=door)
    _mark(stop)
    return stop


@transaction.atomic
def reinstate_stop(
    *, stop: Stop, why: str, by: User | None, door: str = "page"
) -> Stop:
    """It was withdrawn by mistake."""
    lock_cells(stop.cell)
    stop = _read(stop)
    if by is not None:
        need_to_correct_stop(by, stop)
    if not stop.withdrawn:
        raise ValidationError("This stop is not withdrawn.")
    if not why.strip():
        raise ValidationError({"why": WHY})
    stop_rules.check(stop, now=clock.now(), changed=(), long_ok=True)
    trail.save_changes(stop, {"withdrawn": False}, by=by, why=why.strip(), door=door)
    _mark(stop)
    return stop


def _change(
    stop: Stop,
    changes: Mapping[str, Any],
    by: User | None,
    why: str,
    *,
    long_ok: bool = False,
    door: str = "page",
) -> Stop:
    before = copy(stop)
    wanted = copy(stop)
    for field, value in changes.items():
        setattr(wanted, field, value)
    # A stop whose length was accepted is not asked about it again.
    same_length = not {"started_at", "ended_at"} & set(changes)
    stop_rules.check(
        wanted, now=clock.now(), changed=changes, long_ok=long_ok or same_length
    )
    saved = trail.save_changes(stop, changes, by=by, why=why, door=door)
    if LEDGER_FACTS & {change.field for change in saved}:
        _mark(before, stop)
    return stop


def _need_to_change(by: User, stop: Stop, changes: Mapping[str, Any]) -> None:
    if not set(changes) - set(REPAIR_FIELDS):
        need_to_correct_times(by, stop)
        return
    need_to_correct_stop(by, stop)
    if {"cell", "started_at", "ended_at"} & set(changes):
        # Nor may it be moved to where this person could not have logged it.
        cell, start, end = (
            changes.get(field, getattr(stop, field))
            for field in ("cell", "started_at", "ended_at")
        )
        need_to_log_stop(by, cell, settled_at(cell, start, end))


def _locked(stop: Stop, other_cell: Cell | None = None) -> Stop:
    """The stop as it is stored now, for nobody else to change, if it stands."""
    lock_cells(stop.cell, other_cell)
    stop = _read(stop)
    if stop.withdrawn:
        raise ValidationError(
            "This stop is withdrawn: reinstate it first, or log another one."
        )
    return stop


def lock_cells(*cells: Cell | None) -> None:
    """Nobody else writes stops of these cells until the end of the transaction."""
    ids = [cell.pk for cell in cells if cell is not None]
    locked = Cell.objects.select_for_update(no_key=True).filter(pk__in=ids)
    list(locked.order_by("pk").values_list("pk"))


def _read(stop: Stop) -> Stop:
    locked = Stop.objects.select_for_update(no_key=True, of=("self",))
    return locked.select_related("cell__line__area", "reason").get(pk=stop.pk)


def _only(given: Iterable[str], allowed: Iterable[str]) -> None:
    """A programmer's mistake, not a person's."""
    if unknown := sorted(set(given) - set(allowed)):
        raise TypeError(f"{', '.join(unknown)}: no fact of a stop that goes here")


def _mark(*stops: Stop) -> None:
    """The cell-shifts that these stops touch, a running one up to this second.

    Shifts still to come need no mark: each got its own when it was made.
    """
    this_second = clock.now() + timedelta(seconds=1)
    stale.mark_spans(
        (stop.cell_id, stop.started_at, stop.ended_at or this_second) for stop in stops
    )
