"""Ideal cycles: seconds per body at best, valid from a date."""

from datetime import date
from decimal import Decimal

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import stale, trail
from cells.models import Cell
from oee.models import CellShift, IdealCycle, Variant
from oee.rights import need_to_set_cycles

LONGEST = Decimal(86_400)  # a day for one body: beyond it, a slip of the keys
DECIMALS = 6


@transaction.atomic
def set_ideal_cycle(
    *,
    cell: Cell,
    variant: Variant,
    seconds: Decimal,
    valid_from: date,
    why: str,
    by: User | None,
    door: str = "page",
) -> IdealCycle:
    """From this date on, until the next one. The same date again is a correction.

    Accounts before the date stay as they are; those from it on are computed again.
    """
    if by is not None:
        need_to_set_cycles(by)
    _check(cell, variant, seconds, valid_from, why)
    key = {"cell": cell, "variant": variant, "valid_from": valid_from}
    cycle = IdealCycle.objects.filter(**key).first()
    if cycle is None:
        cycle = IdealCycle(**key, seconds=seconds)
        cycle.full_clean()
        cycle.save()
        trail.created([cycle], by=by, why=why.strip(), door=door)
    elif not trail.save_changes(
        cycle, {"seconds": seconds}, by=by, why=why.strip(), door=door
    ):
        return cycle
    stale.mark_cycles([cell.pk], valid_from)
    return cycle


def touched_by(cell: Cell, valid_from: date) -> int:
    """How many stored cell-shifts a cycle from this date on computes again."""
    return CellShift.objects.filter(cell=cell, production_date__gte=valid_from).count()


def check_seconds(seconds: Decimal) -> None:
    if found := _seconds_faults(seconds):
        raise ValidationError(found)


def _check(
    cell: Cell, variant: Variant, seconds: Decimal, valid_from: date, why: str
) -> None:
    faults = _seconds_faults(seconds)
    if not why.strip():
        faults["why"] = (
            f"Say why {variant} takes {seconds} s in {cell} from {valid_from}: the "
            "trail keeps the reason."
        )
    if faults:
        raise ValidationError(faults)


def _seconds_faults(seconds: Decimal) -> dict[str, str]:
    if not seconds.is_finite() or seconds <= 0:
        words = "must be above 0 s: give the seconds that one body takes at best."
    elif seconds > LONGEST:
        words = "is longer than a day: check the digits."
    elif seconds != round(seconds, DECIMALS):
        words = (
            f"has more than {DECIMALS} decimals: the account is exact to a millionth "
            "of a second."
        )
    else:
        return {}
    return {"seconds": f"The ideal cycle ({seconds} s) {words}"}
