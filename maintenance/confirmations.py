"""The leader says: this is what happened in this shift.

No log is not the same as no stop, so a shift that nobody confirmed stays flagged.
"""

from collections.abc import Iterable
from datetime import timedelta

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import clock, stale, trail
from cells.models import Line, Shift
from cells.templatetags.figures import clock as clock_words
from cells.templatetags.figures import moment
from maintenance.models import ShiftConfirmation, Stop
from maintenance.models.stops import StopQuerySet
from maintenance.rights import need_to_confirm

#: The shift-end log is done in the last quarter of an hour (common practice).
EARLY = timedelta(minutes=15)


def running_at_its_end(shift: Shift) -> StopQuerySet:
    """Stops of the line that have no end: each is to be ended, or still running."""
    running = Stop.objects.running().filter(
        cell__line=shift.line_id, started_at__lt=shift.ends_at
    )
    return running.select_related("cell", "reason")


@transaction.atomic
def confirm_shift(
    *,
    shift: Shift,
    by: User | None,
    still_running: Iterable[Stop | int] = (),
    door: str = "page",
) -> ShiftConfirmation:
    """``still_running``: stops (or their ids) that the leader says run on."""
    if by is not None:
        need_to_confirm(by, shift.line)
    # Of two who confirm at once, the second waits here and then sees the first.
    Line.objects.select_for_update(no_key=True).get(pk=shift.line_id)
    said = {stop.pk if isinstance(stop, Stop) else stop for stop in still_running}
    _check(shift, said)
    confirmation = ShiftConfirmation(
        shift=shift, confirmed_at=clock.now(), confirmed_by=by
    )
    confirmation.full_clean()
    confirmation.save()
    trail.created([confirmation], by=by, door=door)
    stale.mark_shifts([shift.pk])
    return confirmation


def _check(shift: Shift, said: set[int]) -> None:
    if shift.is_cancelled:
        raise ValidationError(
            f"Shift {shift} is cancelled: there is nothing to confirm."
        )
    if clock.now() < shift.ends_at - EARLY:
        raise ValidationError(
            f"Shift {shift} ends at {clock_words(shift.ends_at)}: confirm it from "
            f"{clock_words(shift.ends_at - EARLY)} on."
        )
    known = ShiftConfirmation.objects.filter(shift=shift).first()
    if known is not None:
        name = known.confirmed_by or "an import"
        raise ValidationError(
            f"Shift {shift} was confirmed by {name} at {moment(known.confirmed_at)}."
        )
    open_stops = [stop for stop in running_at_its_end(shift) if stop.pk not in said]
    if open_stops:
        raise ValidationError([_still_running(stop) for stop in open_stops])


def _still_running(stop: Stop) -> str:
    return (
        f"Cell {stop.cell}: “{stop.reason}” has been running since "
        f"{moment(stop.started_at)}. Say that it is still running, or end it."
    )
