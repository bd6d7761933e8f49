"""What stops a cell, and what keeps it from stopping."""

from maintenance.models.crews import Crew
from maintenance.models.routines import FirstDue, Routine, Step
from maintenance.models.stops import (
    LossClass,
    PlannedStop,
    Reason,
    ShiftConfirmation,
    Stop,
    Tally,
)
from maintenance.models.tasks import SafetyAlert, StepResult, Task

__all__ = [
    "Crew",
    "FirstDue",
    "LossClass",
    "PlannedStop",
    "Reason",
    "Routine",
    "SafetyAlert",
    "ShiftConfirmation",
    "Step",
    "StepResult",
    "Stop",
    "Tally",
    "Task",
]
