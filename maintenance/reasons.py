"""Reasons: what a leader can say stopped a cell. Retired, never deleted."""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import timedelta
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count

from cells import clock, trail
from cells.models import Cell
from maintenance.models import PlannedStop, Reason, Stop, Tally
from maintenance.rights import need_to_edit_reasons
from maintenance.stops import WHY

#: A cell's own habits, as far back as they still say something (common practice).
HABIT = timedelta(days=90)

#: The code is the key of files, so it stays.
FACTS = ("name", "loss_class", "group", "subgroup")


def reasons_for(cell: Cell, limit: int | None = 10) -> list[Reason]:
    """What this cell stopped for in the last 90 days, most often first; then by group.

    As many as a glove can choose from; ``limit`` None: all of them.
    """
    return reasons_by_cell([cell], limit)[cell.pk]


def reasons_by_cell(
    cells: Iterable[Cell], limit: int | None = 10
) -> dict[int, list[Reason]]:
    """``reasons_for`` of many cells by their id, in three queries."""
    ids = [cell.pk for cell in cells]
    since = clock.now() - HABIT
    stops = Stop.objects.standing().filter(cell__in=ids, started_at__gte=since)
    tallies = Tally.objects.filter(
        cell__in=ids, shift__starts_at__gte=since, withdrawn=False
    )
    often: Counter[tuple[int, int]] = Counter()
    for logged in (stops, tallies):
        counted = logged.order_by().values_list("cell_id", "reason_id")
        for cell, reason, entries in counted.annotate(entries=Count("pk")):
            often[cell, reason] += entries
    offered = list(Reason.objects.for_stops())  # by group
    return {
        cell: sorted(offered, key=lambda reason: -often[cell, reason.pk])[:limit]
        for cell in ids
    }


@transaction.atomic
def add_reason(
    *,
    code: str,
    name: str,
    loss_class: str,
    group: str = "",
    subgroup: str = "",
    by: User | None,
    door: str = "page",
) -> Reason:
    if by is not None:
        need_to_edit_reasons(by)
    reason = Reason(
        code=code.strip(),
        name=name.strip(),
        loss_class=loss_class,
        group=group.strip(),
        subgroup=subgroup.strip(),
    )
    reason.full_clean()
    reason.save()
    trail.created([reason], by=by, door=door)
    return reason


@transaction.atomic
def change_reason(
    *,
    reason: Reason,
    changes: Mapping[str, Any],
    why: str,
    by: User | None,
    door: str = "page",
) -> Reason:
    """``changes``: any of FACTS. A used reason keeps its class."""
    if unknown := sorted(set(changes) - set(FACTS)):
        raise TypeError(f"{', '.join(unknown)}: no fact of a reason that can change")
    reason = _stored(reason, by, why)
    check_class(reason, changes.get("loss_class", reason.loss_class))
    trail.save_changes(reason, changes, by=by, why=why.strip(), door=door)
    return reason


@transaction.atomic
def retire_reason(
    *, reason: Reason, why: str, by: User | None, door: str = "page"
) -> Reason:
    """Kept for what was logged; no longer offered."""
    reason = _stored(reason, by, why)
    if reason.retired_on:
        raise ValidationError(f"“{reason}” is retired since {reason.retired_on}.")
    retired = {"retired_on": clock.today()}
    trail.save_changes(reason, retired, by=by, why=why.strip(), door=door)
    return reason


@transaction.atomic
def offer_reason_again(
    *, reason: Reason, why: str, by: User | None, door: str = "page"
) -> Reason:
    reason = _stored(reason, by, why)
    if reason.retired_on is None:
        raise ValidationError(f"“{reason}” is offered already.")
    trail.save_changes(reason, {"retired_on": None}, by=by, why=why.strip(), door=door)
    return reason


def check_class(reason: Reason, new_class: str) -> None:
    """A used reason keeps its class."""
    if new_class != reason.loss_class and is_used(reason):
        raise ValidationError(
            {
                "loss_class": (
                    f"“{reason}” was logged as {reason.get_loss_class_display()} "
                    "already, and those figures would change silently: retire it and "
                    "add a new reason with the other class."
                )
            }
        )


def is_used(reason: Reason) -> bool:
    """Withdrawn records count: they may be reinstated."""
    return any(
        model.objects.filter(reason=reason).exists()
        for model in (Stop, Tally, PlannedStop)
    )


def _stored(reason: Reason, by: User | None, why: str) -> Reason:
    if by is not None:
        need_to_edit_reasons(by)
    if not why.strip():
        raise ValidationError({"why": WHY})
    return Reason.objects.select_for_update(no_key=True).get(pk=reason.pk)
