"""Planned stops: declared for a cell, a line or an area, before they happen.

When it was declared decides whether it is shown as planned in time. So a planned stop
that is moved or grows is declared anew, at the moment of that change; and one that has
begun never grows: what was not declared before is a planned stop of its own. ``by``
None is an import.
"""

from collections.abc import Iterator, Mapping
from copy import copy
from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from cells import clock, stale, trail
from cells.edits import merged
from cells.models import Area, Cell, Line
from cells.templatetags.figures import moment
from maintenance import refs, stop_rules
from maintenance.models import LossClass, PlannedStop, Reason
from maintenance.rights import need_to_declare_planned_stop
from maintenance.stops import WHY

Place = Area | Line | Cell

FACTS = ("place", "starts_at", "ends_at", "reason")

#: The columns that together say the place.
PLACES = {"area": Area, "line": Line, "cell": Cell}


@transaction.atomic
def declare_planned_stop(
    *,
    place: Place,
    starts_at: datetime,
    ends_at: datetime,
    reason: Reason,
    by: User | None,
    long_ok: bool = False,
    door: str = "page",
) -> PlannedStop:
    """Declared now; what of its shift has begun by then is shown as late."""
    _lock(place)
    if by is not None:
        need_to_declare_planned_stop(by, place)
    planned = PlannedStop(
        ref=refs.unnamed(),
        **_columns(place),
        starts_at=starts_at,
        ends_at=ends_at,
        reason=reason,
        declared_at=clock.now(),
        declared_by=by,
    )
    _check(planned, changed=set(FACTS), long_ok=long_ok)
    planned.full_clean()
    planned.save()
    refs.name(planned)
    trail.created([planned], by=by, door=door)
    _mark(planned)
    return planned


@transaction.atomic
def correct_planned_stop(
    *,
    planned: PlannedStop,
    changes: Mapping[str, Any],
    why: str,
    by: User | None,
    long_ok: bool = False,
    door: str = "page",
    seen: int | None = None,
) -> PlannedStop:
    """``changes``: any of FACTS. The planned stop as it is now is returned.

    ``seen``: the newest change of it that the person knew of.
    """
    if unknown := sorted(set(changes) - set(FACTS)):
        raise TypeError(f"{', '.join(unknown)}: no fact of a planned stop")
    planned = _stored(planned)
    _lock(planned.place, changes.get("place", planned.place))
    if by is not None:
        need_to_declare_planned_stop(by, planned.place)
        need_to_declare_planned_stop(by, changes.get("place", planned.place))
    _need_why(why)
    columns = dict(changes)
    if "place" in columns:
        columns |= _columns(columns.pop("place"))
    columns = merged(planned, columns, seen=seen)
    changed = {
        "place" if field in PLACES else field
        for field, value in columns.items()
        if getattr(planned, field) != value
    }
    before, wanted = copy(planned), copy(planned)
    for field, value in columns.items():
        setattr(wanted, field, value)
    _check(wanted, changed=changed, long_ok=long_ok)
    if covers_more(before, wanted):
        if before.starts_at <= clock.now():
            raise ValidationError(grows(before))
        columns["declared_at"] = clock.now()
    if trail.save_changes(planned, columns, by=by, why=why.strip(), door=door):
        _mark(before, planned)
    return planned


@transaction.atomic
def withdraw_planned_stop(
    *, planned: PlannedStop, why: str, by: User | None, door: str = "page"
) -> PlannedStop:
    """It plans nothing from now on, and stays readable."""
    planned = _stored(planned)
    if by is not None:
        need_to_declare_planned_stop(by, planned.place)
    _need_why(why)
    trail.save_changes(planned, {"withdrawn": True}, by=by, why=why.strip(), door=door)
    _mark(planned)
    return planned


def faults(planned: PlannedStop, *, long_ok: bool = False) -> dict[str, str]:
    """What cannot be true of a planned stop, by field; asks nothing of others."""
    found = {}
    span = f"{moment(planned.starts_at)} to {moment(planned.ends_at)}"
    if planned.ends_at <= planned.starts_at:
        found["ends_at"] = (
            f"The end ({moment(planned.ends_at)}) is not after the start "
            f"({moment(planned.starts_at)}): correct one of the two."
        )
    elif not long_ok and planned.ends_at - planned.starts_at > stop_rules.LONGEST:
        found["ends_at"] = (
            f"{span} is longer than {stop_rules.LONGEST.days} days: correct the "
            "dates, or say that it really is that long."
        )
    if planned.reason.loss_class != LossClass.PLANNED:
        found["reason"] = (
            f"“{planned.reason}” is a reason for stops that nobody planned "
            f"({planned.reason.get_loss_class_display()}): choose a planned one."
        )
    return found


def cell_ids(planned: PlannedStop) -> list[int]:
    """The cells whose account it touches."""
    return list(_cells_of(planned.place).values_list("pk", flat=True))


def _check(planned: PlannedStop, *, changed: set[str], long_ok: bool) -> None:
    same_length = not {"starts_at", "ends_at"} & changed
    found = faults(planned, long_ok=long_ok or same_length)
    if "reason" in changed and planned.reason.retired_on:
        found.setdefault("reason", stop_rules.retired_reason(planned.reason))
    cell = planned.cell
    if "place" in changed and cell and stop_rules.cell_retired(cell, planned.starts_at):
        found["place"] = stop_rules.retired_cell(cell)
    if not found:
        found = declared_already(planned)
    if found:
        raise ValidationError(found)


def declared_already(planned: PlannedStop) -> dict[str, str]:
    same = PlannedStop.objects.filter(
        area=planned.area,
        line=planned.line,
        cell=planned.cell,
        reason=planned.reason,
        starts_at__lt=planned.ends_at,
        ends_at__gt=planned.starts_at,
        withdrawn=False,
    )
    other = same.exclude(pk=planned.pk).first()
    if other is None:
        return {}
    return {
        "starts_at": (
            f"{other.place} already has a planned stop “{other.reason}” in that time, "
            f"from {moment(other.starts_at)} to {moment(other.ends_at)}: correct that "
            "one instead."
        )
    }


def covers_more(before: PlannedStop, after: PlannedStop) -> bool:
    return (
        after.starts_at < before.starts_at
        or after.ends_at > before.ends_at
        or not set(cell_ids(after)) <= set(cell_ids(before))
    )


def grows(before: PlannedStop) -> dict[str, str]:
    return {
        "ends_at": (
            f"This planned stop began at {moment(before.starts_at)} and would now "
            "cover time or cells that were not declared before: running over is not "
            "planned. Log what ran over as a stop, or declare the rest as a planned "
            "stop of its own; it will be shown as declared late."
        )
    }


def _columns(place: Place) -> dict[str, Place | None]:
    return {
        name: place if isinstance(place, kind) else None
        for name, kind in PLACES.items()
    }


def _cells_of(place: Place) -> Any:
    if isinstance(place, Cell):
        return Cell.objects.filter(pk=place.pk)
    if isinstance(place, Line):
        return Cell.objects.filter(line=place)
    return Cell.objects.filter(line__area=place)


def _lock(*places: Place) -> None:
    """Of two who declare the same for one place, the second sees the first's."""
    where = Q()
    for place in places:
        where |= Q(pk__in=_cells_of(place).order_by().values("pk"))
    locked = Cell.objects.select_for_update(no_key=True).filter(where)
    list(locked.order_by("pk").values_list("pk"))


def _stored(planned: PlannedStop) -> PlannedStop:
    locked = PlannedStop.objects.select_for_update(no_key=True, of=("self",))
    related = locked.select_related("area", "line__area", "cell__line__area", "reason")
    planned = related.get(pk=planned.pk)
    if planned.withdrawn:
        raise ValidationError("This planned stop is withdrawn: declare another one.")
    return planned


def _need_why(why: str) -> None:
    if not why.strip():
        raise ValidationError({"why": WHY})


def _spans(*planned: PlannedStop) -> Iterator[stale.Span]:
    for one in planned:
        for cell in cell_ids(one):
            yield cell, one.starts_at, one.ends_at


def _mark(*planned: PlannedStop) -> None:
    stale.mark_spans(_spans(*planned))
