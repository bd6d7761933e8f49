"""What stands on the floor, and when it is meant to run."""

from cells.models.attempts import Attempt
from cells.models.calendar import (
    DayOff,
    OneOffShift,
    Shift,
    ShiftBreak,
    ShiftPattern,
    WorkedBreak,
)
from cells.models.duty import Duty
from cells.models.floor import Area, AreaTarget, Bank, Cell, Line, Plant
from cells.models.machines import Machine, MachineKind, Meter, Placement, Reading
from cells.models.trail import Change, StaleMark

__all__ = [
    "Area",
    "AreaTarget",
    "Attempt",
    "Bank",
    "Cell",
    "Change",
    "DayOff",
    "Duty",
    "Line",
    "Machine",
    "MachineKind",
    "Meter",
    "OneOffShift",
    "Placement",
    "Plant",
    "Reading",
    "Shift",
    "ShiftBreak",
    "ShiftPattern",
    "StaleMark",
    "WorkedBreak",
]
