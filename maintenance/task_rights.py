"""Who may do, correct and plan preventive work, and who accepts a failed test."""

from datetime import timedelta

from cells import clock
from cells.rights import Person, Role, has_role, need, works_in_area_of
from maintenance.models import Routine, SafetyAlert, Task

OWN_WINDOW = timedelta(hours=72)  # after it was entered

OPERATOR_SKILL = "O"


def may_complete(user: Person, task: Task) -> bool:
    if has_role(user, Role.TECHNICIAN, Role.PLANNER):
        return True
    if task.routine.safety and has_role(user, Role.SAFETY_OFFICER):
        return True
    return (
        has_role(user, Role.TEAM_LEADER)
        and set(task.routine.skills) == {OPERATOR_SKILL}
        and task.cell is not None
        and works_in_area_of(user, task.cell)
    )


def need_to_complete(user: Person, task: Task) -> None:
    need(
        may_complete(user, task),
        f"“{task.routine}” is recorded done by a technician or a planner, a safety "
        "test by the safety officer too, and an operator’s round by the team leaders "
        "of its area.",
    )


def may_correct(user: Person, task: Task) -> bool:
    """The record of a done task."""
    if has_role(user, Role.PLANNER):
        return True
    if task.routine.safety and has_role(user, Role.SAFETY_OFFICER):
        return True
    own = task.done_by_id is not None and task.done_by_id == user.pk
    recent = task.entered_at is not None and clock.now() <= task.entered_at + OWN_WINDOW
    return own and recent and may_complete(user, task)


def need_to_correct(user: Person, task: Task) -> None:
    need(
        may_correct(user, task),
        "The record of a done task is corrected or withdrawn by a planner, that of a "
        "safety test by the safety officer too, and by whoever entered it for 72 h.",
    )


def may_accept_alert(user: Person, alert: SafetyAlert) -> bool:
    if has_role(user, Role.SAFETY_OFFICER, Role.PLANT_MANAGER):
        return True
    cell = alert.task.cell
    return (
        has_role(user, Role.AREA_MANAGER)
        and cell is not None
        and works_in_area_of(user, cell)
    )


def need_to_accept_alert(user: Person, alert: SafetyAlert) -> None:
    need(
        may_accept_alert(user, alert),
        "A failed safety test is accepted by the safety officer, the area’s manager or "
        "the plant manager.",
    )


def may_edit_routine(user: Person, *, safety: bool) -> bool:
    return has_role(user, Role.SAFETY_OFFICER if safety else Role.PLANNER)


def need_to_edit_routine(user: Person, *, safety: bool) -> None:
    need(
        may_edit_routine(user, safety=safety),
        "A safety routine is added, changed and retired by the safety officer alone."
        if safety
        else "Routines are added, changed and retired by a planner, safety routines by "
        "the safety officer.",
    )


def may_spread(user: Person, routine: Routine) -> bool:
    """Set first due dates: of a safety routine the safety officer, who answers."""
    return may_edit_routine(user, safety=routine.safety)


def need_to_spread(user: Person, routine: Routine) -> None:
    need(
        may_spread(user, routine),
        "First due dates are set by a planner, those of a safety routine by the safety "
        "officer.",
    )
