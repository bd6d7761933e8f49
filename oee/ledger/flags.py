"""What must a reader know before trusting the figures of a cell-shift?

>>> names(Flag.OVERLOGGED | Flag.NO_COUNT)
('no_count', 'overlogged')
>>> names(0)
()
"""

from enum import IntFlag


class Flag(IntFlag):
    """Remarks on one cell-shift; any number of them hold at once."""

    COUNT_FROM_LINE = 1  # a count was given for the line or leg, not for the cell
    DECLARED_LATE = 2  # some planned seconds were declared only after the shift began
    FASTER_THAN_IDEAL = 4  # performance above 1, shown as it is
    NO_COUNT = 8  # no count row: everything that needs one is unknown
    NO_IDEAL_CYCLE = 16  # counted, but no ideal cycle was valid: like no count
    NOT_CONFIRMED = 32  # the leader has not confirmed the shift
    OVERLOGGED = 64  # the tallies claim more seconds than were left
    UNPLANNED_OUTPUT = 128  # something was made in time that was not planned


def names(flags: int) -> tuple[str, ...]:
    """The lower-case names of the flags that are set, in alphabetical order."""
    return tuple(sorted(str(flag.name).lower() for flag in Flag(flags)))
