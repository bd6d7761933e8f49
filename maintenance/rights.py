"""Who may log, correct and declare what, and until when.

The line's leader until a day after the shift, a technician three days after the
breakdown, the area's manager two weeks. An administrator may do everything.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from cells import clock
from cells.models import Area, Cell, Change, Line, Shift
from cells.rights import (
    Person,
    Role,
    areas_worked_in,
    has_role,
    leads,
    may_edit_registry,
    need,
    works_in_area_of,
)
from maintenance.models import LossClass, Stop, Tally

LEADER_WINDOW = timedelta(hours=24)  # after the shift's end
MANAGER_WINDOW = timedelta(days=14)  # after the shift's end
TECHNICIAN_WINDOW = timedelta(hours=72)  # after the breakdown's end

#: What a technician records of a breakdown.
REPAIR_FIELDS = (
    "called_at",
    "arrived_at",
    "cause_found_at",
    "parts_wait_s",
    "repaired_at",
    "restarted_at",
    "first_good_at",
    "cause",
)


def settled_at(
    cell: Cell, started_at: datetime, ended_at: datetime | None
) -> datetime | None:
    """From when the windows run: the end of the stop's last shift. None: it runs."""
    if ended_at is None:
        return None
    touched = Shift.objects.overlapping(started_at, ended_at).filter(line=cell.line_id)
    last = touched.order_by("-ends_at").values_list("ends_at", flat=True).first()
    return max(last, ended_at) if last else ended_at


# Stops and tallies


def may_log_stop(user: Person, cell: Cell, until: datetime | None = None) -> bool:
    """``until``: when the stop's last shift ended (``settled_at``). None: it runs.

    A tally is logged by the same rule, with the end of its shift.
    """
    if user.is_superuser:
        return True
    return works_in_area_of(user, cell) and (
        _within(user, Role.TEAM_LEADER, until, LEADER_WINDOW)
        or _within(user, Role.AREA_MANAGER, until, MANAGER_WINDOW)
    )


def need_to_log_stop(user: Person, cell: Cell, until: datetime | None = None) -> None:
    need(
        may_log_stop(user, cell, until),
        f"Stops and tallies of cell {cell} are logged by the team leaders of its area "
        "until 24 h after the shift’s end, and by the area’s manager for 14 days.",
    )


def areas_logged_in(user: Person) -> set[int] | None:
    """Ids of the areas whose cells this person may start a stop of. None: all."""
    if user.is_superuser:
        return None
    if not has_role(user, Role.TEAM_LEADER, Role.AREA_MANAGER):
        return set()
    return areas_worked_in(user)


def may_correct_stop(user: Person, stop: Stop) -> bool:
    """Any of its facts; a technician's share is ``may_record_times``."""
    until = settled_at(stop.cell, stop.started_at, stop.ended_at)
    return _may_correct(user, stop.cell, until, own=stop.logged_by_id == user.pk)


def need_to_correct_stop(user: Person, stop: Stop) -> None:
    need(
        may_correct_stop(user, stop),
        f"This stop of cell {stop.cell} is corrected by the leader of line "
        f"{stop.cell.line} or by whoever logged it until 24 h after the shift’s end, "
        "and by the area’s manager for 14 days.",
    )


def may_record_times(user: Person, stop: Stop) -> bool:
    """When it was called, reached, repaired, and the cause that was found."""
    return _repairs(user, stop) or may_log_stop(
        user, stop.cell, settled_at(stop.cell, stop.started_at, stop.ended_at)
    )


def need_to_record_times(user: Person, stop: Stop) -> None:
    need(
        may_record_times(user, stop),
        "Cause and repair times are recorded by the team leaders of the cell’s area, "
        "by its manager, and for a breakdown by a technician until 72 h after its end.",
    )


def may_correct_times(user: Person, stop: Stop) -> bool:
    """Those that are recorded already."""
    return _repairs(user, stop) or may_correct_stop(user, stop)


def need_to_correct_times(user: Person, stop: Stop) -> None:
    need(
        may_correct_times(user, stop),
        "Recorded repair times are corrected by the line’s leader until 24 h after the "
        "shift’s end, by the area’s manager for 14 days, and for a breakdown by a "
        "technician until 72 h after its end.",
    )


def ids_that_may_be_ended(user: Person, stops: Iterable[Stop]) -> set[int]:
    """Ids of the running stops that this person may end, in one query at most."""
    running = [stop for stop in stops if stop.is_running]
    ids = {stop.pk for stop in running if may_log_stop(user, stop.cell)}
    if has_role(user, Role.TECHNICIAN):
        repaired = [
            stop.pk for stop in running if stop.repaired_at and _repairs(user, stop)
        ]
        ids |= _repaired_by(user, repaired)
    return ids


def may_end_stop(user: Person, stop: Stop) -> bool:
    return stop.pk in ids_that_may_be_ended(user, [stop])


def need_to_end_stop(user: Person, stop: Stop) -> None:
    need(
        may_end_stop(user, stop),
        f"This stop of cell {stop.cell} is ended by the team leaders of its area, by "
        "the area’s manager, or by the technician who recorded its repair.",
    )


def may_correct_tally(user: Person, tally: Tally) -> bool:
    own = tally.logged_by_id == user.pk
    return _may_correct(user, tally.cell, tally.shift.ends_at, own=own)


def need_to_correct_tally(user: Person, tally: Tally) -> None:
    need(
        may_correct_tally(user, tally),
        f"This tally of cell {tally.cell} is corrected by the leader of line "
        f"{tally.cell.line} or by whoever logged it until 24 h after the shift’s end, "
        "and by the area’s manager for 14 days.",
    )


# Planned stops, confirmations, reasons


def may_declare_planned_stop(user: Person, place: Area | Line | Cell) -> bool:
    return has_role(user, Role.PLANNER, Role.PLANT_MANAGER) or (
        has_role(user, Role.AREA_MANAGER) and works_in_area_of(user, place)
    )


def need_to_declare_planned_stop(user: Person, place: Area | Line | Cell) -> None:
    need(
        may_declare_planned_stop(user, place),
        f"Planned stops of {place} are declared, corrected and withdrawn by a planner, "
        "the plant manager or the area’s manager.",
    )


def may_declare_somewhere(user: Person) -> bool:
    return has_role(user, Role.PLANNER, Role.PLANT_MANAGER, Role.AREA_MANAGER)


def need_to_declare_somewhere(user: Person) -> None:
    need(
        may_declare_somewhere(user),
        "Planned stops are declared by a planner, the plant manager or, in their own "
        "areas, an area manager.",
    )


def may_confirm(user: Person, line: Line) -> bool:
    return user.is_superuser or (
        has_role(user, Role.TEAM_LEADER, Role.AREA_MANAGER) and leads(user, line)
    )


def need_to_confirm(user: Person, line: Line) -> None:
    need(
        may_confirm(user, line),
        f"A shift of line {line} is confirmed by its team leader or its area’s "
        "manager.",
    )


def may_edit_reasons(user: Person) -> bool:
    return may_edit_registry(user)


def need_to_edit_reasons(user: Person) -> None:
    need(
        may_edit_reasons(user),
        "Reasons are added, changed and retired by a planner.",
    )


def _may_correct(user: Person, cell: Cell, until: datetime | None, own: bool) -> bool:
    if user.is_superuser:
        return True
    as_leader = _within(user, Role.TEAM_LEADER, until, LEADER_WINDOW)
    as_manager = _within(user, Role.AREA_MANAGER, until, MANAGER_WINDOW)
    return (as_leader and (own or leads(user, cell.line))) or (
        as_manager and works_in_area_of(user, cell)
    )


def _within(
    user: Person, role: Role, until: datetime | None, window: timedelta
) -> bool:
    return has_role(user, role) and (until is None or clock.now() <= until + window)


def _repairs(user: Person, stop: Stop) -> bool:
    return stop.reason.loss_class == LossClass.BREAKDOWN and _within(
        user, Role.TECHNICIAN, stop.ended_at, TECHNICIAN_WINDOW
    )


def _repaired_by(user: Person, stop_ids: list[int]) -> set[int]:
    """Whose repair this person recorded, as the trail says."""
    recorded = Change.objects.filter(
        kind="stop", record_id__in=stop_ids, field="repaired_at", by=user.pk
    )
    return set(recorded.values_list("record_id", flat=True)) if stop_ids else set()
