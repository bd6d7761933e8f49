"""Shifts as rows: made from what is planned, altered, cancelled; breaks worked through.

A shift that changes marks the cell-shifts of its line stale, and so does a new one:
the sweep finds the mark once the shift has ended and closes its accounts.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, ProtectedError

from cells import clock, rights, stale, trail
from cells.bulk import insert_rows
from cells.models import Cell, Change, Line, Shift, ShiftBreak, WorkedBreak
from cells.rights import Role
from cells.shift_plan import planned_shifts
from cells.working_time.patterns import PlannedShift

WEEKS_AHEAD = 8
BATCH = 2000

LEADER_HOURS = 24
MANAGER_DAYS = 14


@dataclass(kw_only=True)
class Outcome:
    """Ids of shifts."""

    created: list[int] = field(default_factory=list)
    altered: list[int] = field(default_factory=list)
    cancelled: list[int] = field(default_factory=list)
    deleted: list[int] = field(default_factory=list)


def horizon(today: date) -> date:
    """The last production date that has its shifts stored."""
    return today + timedelta(weeks=WEEKS_AHEAD)


@transaction.atomic
def materialise(
    *,
    lines: Iterable[Line],
    first: date,
    last: date,
    by: User | None = None,
    why: str = "",
    door: str = "page",
) -> Outcome:
    """Make the stored shifts of these production dates what is planned for them.

    Doing it twice changes nothing. ValidationError where two planned shifts clash.
    """
    # The lock makes the nightly job and a planner's change take turns.
    locked = list(
        Line.objects.select_for_update(no_key=True)
        .filter(pk__in=[line.pk for line in lines])
        .order_by("pk")
    )
    try:
        planned = {
            (line.pk, shift.production_date, shift.name): shift
            for line, shifts in planned_shifts(locked, first, last)
            for shift in shifts
        }
    except ValueError as error:
        raise ValidationError(str(error)) from error
    stored = {
        (shift.line_id, shift.production_date, shift.name): shift
        for shift in Shift.objects.filter(
            line__in=locked, production_date__range=(first, last)
        ).prefetch_related("breaks")
    }
    outcome = Outcome()
    _create(
        {key: shift for key, shift in planned.items() if key not in stored}, outcome
    )
    altered = [
        (shift, planned[key])
        for key, shift in stored.items()
        if key in planned and not _is_as_planned(shift, planned[key])
    ]
    _alter(altered, outcome, by=by, why=why, door=door)
    fallen = [shift for key, shift in stored.items() if key not in planned]
    _drop(fallen, outcome, by=by, why=why, door=door)
    stale.mark_shifts([*outcome.created, *outcome.altered, *outcome.cancelled])
    return outcome


def extend(*, today: date) -> list[str]:
    """Store the shifts up to the horizon, line by line from its last stored date.

    Returns a sentence for each line whose shifts clash; the others are not held up.
    """
    troubles = []
    lines = Line.objects.annotate(stored_to=Max("shifts__production_date"))
    for line in lines.order_by("pk"):
        first = min(line.stored_to or today, today)
        try:
            materialise(lines=[line], first=first, last=horizon(today), door="job")
        except ValidationError as error:
            troubles += error.messages
    return troubles


def may_mark_breaks(user: User, shift: Shift) -> bool:
    """The line's leader for a day, the area's manager for two weeks, the planner."""
    if rights.has_role(user, Role.PLANNER):
        return True
    if not rights.leads(user, shift.line):
        return False
    late = clock.now() - shift.ends_at
    return (
        rights.has_role(user, Role.TEAM_LEADER)
        and late <= timedelta(hours=LEADER_HOURS)
    ) or (
        rights.has_role(user, Role.AREA_MANAGER)
        and late <= timedelta(days=MANAGER_DAYS)
    )


@transaction.atomic
def work_through_break(
    *, cell: Cell, shift: Shift, break_start: datetime, by: User, why: str = ""
) -> WorkedBreak:
    """This cell ran in that break, so it is planned time for it."""
    _need_break_rights(by, shift)
    _check_break(cell, shift, break_start)
    worked, is_new = WorkedBreak.objects.get_or_create(
        cell=cell, shift=shift, break_start=break_start
    )
    if is_new:
        trail.created([worked], by=by, why=why)
    else:
        trail.save_changes(worked, {"withdrawn": False}, by=by, why=why)
    stale.mark_cell_shifts([(cell.pk, shift.pk)])
    return worked


@transaction.atomic
def withdraw_worked_break(*, worked: WorkedBreak, by: User, why: str) -> None:
    _need_break_rights(by, worked.shift)
    if trail.save_changes(worked, {"withdrawn": True}, by=by, why=why):
        stale.mark_cell_shifts([(worked.cell_id, worked.shift_id)])


def _need_break_rights(by: User, shift: Shift) -> None:
    rights.need(
        may_mark_breaks(by, shift),
        f"The leader of line {shift.line} says within {LEADER_HOURS} hours of the "
        f"shift's end which breaks were worked through, its area's manager within "
        f"{MANAGER_DAYS} days, and a planner at any time.",
    )


def _check_break(cell: Cell, shift: Shift, break_start: datetime) -> None:
    if cell.line_id != shift.line_id:
        raise ValidationError(
            {
                "cell": f"Cell {cell} does not stand in line {shift.line}: choose "
                "another."
            }
        )
    if not shift.breaks.filter(starts_at=break_start).exists():
        shown = break_start.isoformat(timespec="minutes")
        raise ValidationError(
            {
                "break_start": f"No break of shift {shift} starts at {shown}: "
                "choose one of its breaks."
            }
        )


def _is_as_planned(shift: Shift, plan: PlannedShift) -> bool:
    rests = [(rest.starts_at, rest.ends_at) for rest in shift.breaks.all()]
    return (shift.starts_at, shift.ends_at, rests) == (
        plan.starts_at,
        plan.ends_at,
        [tuple(rest) for rest in plan.breaks],
    )


def _create(
    planned: dict[tuple[int, date, str], PlannedShift], outcome: Outcome
) -> None:
    shifts = Shift.objects.bulk_create(
        [
            Shift(
                line_id=line_id,
                production_date=day,
                name=name,
                starts_at=plan.starts_at,
                ends_at=plan.ends_at,
            )
            for (line_id, day, name), plan in planned.items()
        ],
        batch_size=BATCH,
    )
    _add_breaks(zip(shifts, planned.values(), strict=True))
    outcome.created += [shift.pk for shift in shifts]


def _alter(
    altered: list[tuple[Shift, PlannedShift]],
    outcome: Outcome,
    *,
    by: User | None,
    why: str,
    door: str,
) -> None:
    changes = []
    for shift, plan in altered:
        new = {"starts_at": plan.starts_at, "ends_at": plan.ends_at}
        changes += trail.changes_between(shift, new, by=by, why=why, door=door)
        shift.starts_at, shift.ends_at = plan.starts_at, plan.ends_at
    _save_times([shift for shift, _ in altered], changes)
    _add_breaks(altered)
    outcome.altered += [shift.pk for shift, _ in altered]


def _drop(
    fallen: list[Shift],
    outcome: Outcome,
    *,
    by: User | None,
    why: str,
    door: str,
) -> None:
    """Delete what nothing hangs on; what something does is kept without length."""
    held = _delete_unless_held({shift.pk for shift in fallen})
    outcome.deleted += [shift.pk for shift in fallen if shift.pk not in held]
    kept = [shift for shift in fallen if shift.pk in held and not shift.is_cancelled]
    changes = []
    for shift in kept:
        new = {"ends_at": shift.starts_at}
        changes += trail.changes_between(shift, new, by=by, why=why, door=door)
        shift.ends_at = shift.starts_at
    _save_times(kept, changes)
    outcome.cancelled += [shift.pk for shift in kept]


def _delete_unless_held(ids: set[int]) -> set[int]:
    """Delete the shifts; returns the ids of those that something protects."""
    held: set[int] = set()
    while ids - held:
        try:
            with transaction.atomic():
                Shift.objects.filter(pk__in=ids - held).delete()
            break
        except ProtectedError as error:
            held |= {
                getattr(record, key.attname)
                for record in error.protected_objects
                for key in record._meta.concrete_fields
                if key.related_model is Shift
            }
    return held


def _save_times(shifts: list[Shift], changes: list[Change]) -> None:
    """Without breaks: those that still hold are added again."""
    Shift.objects.bulk_update(shifts, ["starts_at", "ends_at"], batch_size=BATCH)
    ShiftBreak.objects.filter(shift__in=shifts).delete()
    Change.objects.bulk_create(changes, batch_size=BATCH)


def _add_breaks(pairs: Iterable[tuple[Shift, PlannedShift]]) -> None:
    insert_rows(
        ShiftBreak,
        ("shift_id", "starts_at", "ends_at"),
        ((shift.pk, *rest) for shift, plan in pairs for rest in plan.breaks),
    )
