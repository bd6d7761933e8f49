"""What the rows of other files name: reasons and routines."""

from cells.files.run import Kind
from maintenance.models import Reason, Routine, Step


def _reasons() -> dict[str, Reason]:
    return {reason.code: reason for reason in Reason.objects.order_by()}


def _routines() -> dict[str, Routine]:
    return {routine.code: routine for routine in Routine.objects.order_by()}


def _steps() -> dict[tuple[int, int], Step]:
    steps = Step.objects.current().order_by()
    return {(step.routine_id, step.order): step for step in steps}


REASONS = Kind("reason", "reasons.csv", _reasons)
ROUTINES = Kind("routine", "routines.csv", _routines)
STEPS = Kind("step", "steps.csv", _steps)
