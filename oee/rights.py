"""Who may enter counts, plans and ideal cycles, and until when.

The line's leader counts until a day after the shift, the area's manager for two
weeks, the planner at any time. Whoever is not the line's leader says why.
"""

from datetime import datetime, timedelta

from cells import clock
from cells.models import Line
from cells.rights import Person, Role, has_role, leads, need

LEADER_WINDOW = timedelta(hours=24)  # after the shift's end
MANAGER_WINDOW = timedelta(days=14)


def may_count(user: Person, line: Line, until: datetime) -> bool:
    """``until`` is the end of the shift or span that was counted."""
    return (
        has_role(user, Role.PLANNER)
        or _as_leader(user, line, until)
        or (
            has_role(user, Role.AREA_MANAGER)
            and leads(user, line)
            and clock.now() <= until + MANAGER_WINDOW
        )
    )


def counts_without_a_reason(user: Person, line: Line, until: datetime) -> bool:
    """For its leader, a first count is the day's work and needs no reason."""
    return _as_leader(user, line, until)


def need_to_count(user: Person, line: Line, until: datetime) -> None:
    need(
        may_count(user, line, until),
        f"Counts of line {line} are entered and corrected by its team leader until "
        "24 h after the shift’s end, by its area’s manager for 14 days, and by a "
        "planner at any time.",
    )


def may_set_cycles(user: Person) -> bool:
    return has_role(user, Role.PLANNER)


def need_to_set_cycles(user: Person) -> None:
    need(may_set_cycles(user), "Ideal cycles are set by a planner.")


def may_edit_variants(user: Person) -> bool:
    return has_role(user, Role.PLANNER)


def need_to_edit_variants(user: Person) -> None:
    need(may_edit_variants(user), "Variants are added and renamed by a planner.")


def may_plan_output(user: Person) -> bool:
    return has_role(user, Role.PLANNER)


def need_to_plan_output(user: Person) -> None:
    need(may_plan_output(user), "The bodies planned per shift are set by a planner.")


def _as_leader(user: Person, line: Line, until: datetime) -> bool:
    return (
        has_role(user, Role.TEAM_LEADER)
        and leads(user, line)
        and clock.now() <= until + LEADER_WINDOW
    )
