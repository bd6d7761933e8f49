"""Bodies counted: entered, corrected, withdrawn.

A count is of a cell, a line, or a leg of a line, in one shift; or between two
moments where no shift was planned, which the registry-health page then lists.
What is implausible is for the ledger to flag; only the impossible is refused here.
"""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Q

from cells import clock, stale, trail
from cells.edits import merged
from cells.models import Cell, Line, Plant, Shift
from cells.working_time.plant_time import local_date, to_wall
from oee.models import Count, Variant
from oee.rights import counts_without_a_reason, need_to_count

# Far above any shift, far below where the sums of the ledger would overflow.
MOST_BODIES = 1_000_000

WHY = "Say why: the trail keeps the reason beside the old and the new number."


@transaction.atomic
def enter_count(
    *,
    at: Cell | Line,
    leg: str = "",
    variant: Variant,
    total: int,
    good: int,
    by: User | None,
    shift: Shift | None = None,
    starts_at: datetime | None = None,
    ends_at: datetime | None = None,
    rework: int | None = None,
    scrap: int | None = None,
    why: str = "",
    door: str = "page",
) -> Count:
    """Count a variant for the first time. ``by`` None: a file brings it.

    A count that was withdrawn comes back with the new numbers.
    """
    cell, line = (at, None) if isinstance(at, Cell) else (None, at)
    check_time(at, shift, starts_at, ends_at)
    check_place(at, leg, shift, starts_at)
    numbers = checked_numbers(total=total, good=good, rework=rework, scrap=scrap)
    until = _until(shift, ends_at)
    if by is not None:
        need_to_count(by, _line_of(at), until)
        if not why.strip() and not counts_without_a_reason(by, _line_of(at), until):
            raise ValidationError({"why": WHY})
    key: dict[str, Any] = {
        "cell": cell,
        "line": line,
        "leg": leg,
        "variant": variant,
        "shift": shift,
        "starts_at": starts_at,
    }
    known = Count.objects.filter(**_null_safe(key)).first()
    if known is not None and not known.withdrawn:
        raise _counted_already(known)
    if known is not None:
        again = {**numbers, "ends_at": ends_at, "withdrawn": False}
        trail.save_changes(known, again, by=by, why=why.strip(), door=door)
        count = known
    else:
        count = Count(
            **key, **numbers, ends_at=ends_at, entered_by=by, entered_at=clock.now()
        )
        _save_new(count)
        trail.created([count], by=by, why=why.strip(), door=door)
    _mark(count)
    return count


@transaction.atomic
def correct_count(
    *,
    count: Count,
    total: int,
    good: int,
    why: str,
    by: User | None,
    rework: int | None = None,
    scrap: int | None = None,
    door: str = "page",
    seen: int | None = None,
) -> Count:
    """Replace the numbers; the trail keeps the old ones. Returns the count.

    ``seen``: the newest change of the count that the person knew of.
    """
    count = _locked(count)
    if count.withdrawn:
        raise ValidationError(f"{count} is withdrawn: enter it again instead.")
    _need_to_change(count, by, why)
    given = {"total": total, "good": good, "rework": rework, "scrap": scrap}
    meant = merged(count, given, seen=seen)
    numbers = checked_numbers(
        **{name: meant.get(name, getattr(count, name)) for name in given}
    )
    if trail.save_changes(count, numbers, by=by, why=why.strip(), door=door):
        _mark(count)
    return count


@transaction.atomic
def withdraw_count(
    *, count: Count, why: str, by: User | None, door: str = "page"
) -> Count:
    """It counts for nothing from now on, and stays readable."""
    count = _locked(count)
    if count.withdrawn:
        raise ValidationError(f"{count} is withdrawn already.")
    _need_to_change(count, by, why)
    # Marked as it stood: a cell falls back to its line's count, if there is one.
    trail.save_changes(count, {"withdrawn": True}, by=by, why=why.strip(), door=door)
    _mark(count)
    return count


def cells_counted_by(count: Count) -> list[int]:
    """Ids of the cells whose account in the shift rests on this count's place."""
    if count.cell_id is not None:
        return [count.cell_id]
    assert count.shift is not None  # only asked of counts in a shift
    own = Count.objects.filter(
        shift=count.shift, cell__line=count.line_id, withdrawn=False
    )
    placed = Cell.objects.filter(line=count.line_id, leg=count.leg)
    return list(
        placed.filter(_stands_on(count.shift.production_date))
        .exclude(pk__in=own.values("cell"))
        .order_by("pk")
        .values_list("pk", flat=True)
    )


def pairs_counted_by(places: Iterable[tuple[int, str, int]]) -> set[tuple[int, int]]:
    """The same for many counts of (line id, leg, shift id), as (cell id, shift id)."""
    wanted = set(places)
    lines = {line for line, _, _ in wanted}
    days = dict(
        Shift.objects.filter(line__in=lines).values_list("pk", "production_date")
    )
    own = set(
        Count.objects.order_by()
        .filter(shift__line__in=lines, cell__isnull=False, withdrawn=False)
        .values_list("cell_id", "shift_id")
    )
    placed: dict[tuple[int, str], list[tuple[int, date | None]]] = {}
    cells = Cell.objects.order_by().filter(line__in=lines)
    for cell, line, leg, retired_on in cells.values_list(
        "pk", "line_id", "leg", "retired_on"
    ):
        placed.setdefault((line, leg), []).append((cell, retired_on))
    return {
        (cell, shift)
        for line, leg, shift in wanted
        for cell, retired_on in placed.get((line, leg), [])
        if (cell, shift) not in own and (retired_on is None or retired_on > days[shift])
    }


def _locked(count: Count) -> Count:
    """As it is stored now, so that nobody writes over what another just saved."""
    Count.objects.select_for_update(no_key=True).get(pk=count.pk)
    return Count.objects.select_related("cell__line", "line", "shift", "variant").get(
        pk=count.pk
    )


def _mark(count: Count) -> None:
    # Between shifts there is no account to compute again.
    if count.shift_id is not None:
        shift_id = count.shift_id
        stale.mark_cell_shifts((cell, shift_id) for cell in cells_counted_by(count))


def _save_new(count: Count) -> None:
    try:
        with transaction.atomic():
            count.full_clean()
            count.save()
    except IntegrityError:  # two people, the same count, the same second
        raise _counted_already(count) from None


def _counted_already(count: Count) -> ValidationError:
    when = count.shift or f"from {_shown(count.starts_at)}"
    return ValidationError(
        {
            "variant": f"Variant {count.variant} is already counted at {count.at} "
            f"({when}): correct that count instead."
        }
    )


def _need_to_change(count: Count, by: User | None, why: str) -> None:
    if by is not None:
        place = count.cell or count.line
        assert place is not None  # the constraint on the table
        need_to_count(by, _line_of(place), _until(count.shift, count.ends_at))
    if not why.strip():
        raise ValidationError({"why": WHY})


def checked_numbers(**numbers: int | None) -> dict[str, int | None]:
    faults = {}
    for name, value in numbers.items():
        if value is not None and value < 0:
            faults[name] = f"{name} ({value}) must not be negative: give 0 or more."
        elif value is not None and value > MOST_BODIES:
            faults[name] = (
                f"{name} ({value}) is more than any shift can build "
                f"({MOST_BODIES}): check the digits."
            )
    if faults:
        raise ValidationError(faults)
    _check_sums(**numbers)  # type: ignore[arg-type]
    return numbers


def _check_sums(total: int, good: int, rework: int | None, scrap: int | None) -> None:
    if good > total:
        raise ValidationError(
            {
                "good": f"First-time good ({good}) is above the total made ({total}): "
                "check both."
            }
        )
    bad = total - good
    given = (rework or 0) + (scrap or 0)
    both = rework is not None and scrap is not None
    if given > bad or (both and given != bad):
        raise ValidationError(
            {
                "rework": f"Rework ({rework or 0}) and scrap ({scrap or 0}) make "
                f"{given}, but {total} made less {good} first-time good leave {bad}: "
                "mend one of the four."
            }
        )


def check_time(
    at: Cell | Line,
    shift: Shift | None,
    starts_at: datetime | None,
    ends_at: datetime | None,
) -> None:
    if shift is not None:
        if starts_at or ends_at:
            raise ValidationError("Give a shift, or a start and an end, not both.")
        _check_shift(at, shift)
    elif starts_at is None or ends_at is None:
        raise ValidationError(
            {
                "shift": "Give the date and shift, or a start and an end where no "
                "shift was planned."
            }
        )
    else:
        _check_span(at, starts_at, ends_at)


def _check_shift(at: Cell | Line, shift: Shift) -> None:
    line = _line_of(at)
    if shift.line_id != line.pk:
        raise ValidationError(
            {"shift": f"{shift} is not a shift of line {line}, where {at} stands."}
        )
    if shift.is_cancelled:
        raise ValidationError(
            {
                "shift": f"{shift} was cancelled: give the start and the end between "
                "which it was built all the same."
            }
        )
    if shift.starts_at > clock.now():
        raise ValidationError(
            {"shift": f"{shift} has not begun: count it once it runs."}
        )


def _check_span(at: Cell | Line, starts_at: datetime, ends_at: datetime) -> None:
    if ends_at <= starts_at:
        raise ValidationError(
            {
                "ends_at": f"The end ({_shown(ends_at)}) must lie after the start "
                f"({_shown(starts_at)})."
            }
        )
    if ends_at > clock.now():
        raise ValidationError(
            {
                "ends_at": f"The end ({_shown(ends_at)}) lies in the future: count "
                "what is built."
            }
        )
    line = _line_of(at)
    planned = Shift.objects.filter(line=line).overlapping(starts_at, ends_at)
    shift = planned.order_by("starts_at").first()
    if shift is not None:
        raise ValidationError(
            {
                "starts_at": f"{shift} was planned between these moments: give its "
                "date and shift instead."
            }
        )


def check_place(
    at: Cell | Line, leg: str, shift: Shift | None, starts_at: datetime | None
) -> None:
    if isinstance(at, Cell):
        _check_cell(at, leg, shift, starts_at)
    elif leg and not at.cells.filter(leg=leg).exists():
        legs = sorted(set(at.cells.exclude(leg="").values_list("leg", flat=True)))
        known = f"its legs are {', '.join(legs)}" if legs else "it has none"
        raise ValidationError({"leg": f"Line {at} has no leg {leg!r}: {known}."})


def _check_cell(
    cell: Cell, leg: str, shift: Shift | None, starts_at: datetime | None
) -> None:
    if leg:
        raise ValidationError(
            {"leg": f"A leg ({leg}) goes with a line; {cell} is a cell."}
        )
    if cell.retired_on is None:
        return
    if shift is not None:
        day = shift.production_date
    else:
        assert starts_at is not None  # check_time
        day = local_date(starts_at, Plant.current().zone)
    if cell.retired_on <= day:
        raise ValidationError(
            {"cell": f"Cell {cell} was retired on {cell.retired_on}: check the cell."}
        )


def _shown(moment: datetime | None) -> str:
    """On the plant's clock; a file or a job has activated no zone."""
    assert moment is not None  # a count without a shift has both moments
    return f"{to_wall(moment, Plant.current().zone):%Y-%m-%d %H:%M}"


def _stands_on(day: date) -> Q:
    return Q(retired_on=None) | Q(retired_on__gt=day)


def _line_of(at: Cell | Line) -> Line:
    return at.line if isinstance(at, Cell) else at


def _until(shift: Shift | None, ends_at: datetime | None) -> datetime:
    until = shift.ends_at if shift else ends_at
    assert until is not None  # check_time and the constraint on the table
    return until


def _null_safe(key: dict[str, Any]) -> dict[str, Any]:
    return {
        (f"{name}__isnull" if value is None else name): (
            True if value is None else value
        )
        for name, value in key.items()
    }
