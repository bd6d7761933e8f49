"""How often is a routine due, and how far from its date may it be done?

>>> rule = RoutineRule(every_days=28)
>>> rule.tolerance_days
3

Ten percent of the interval is common practice, not a standard; here it is the rule.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

Anchor = Literal["completion", "calendar"]

LONGEST_DAYS = 36_525  # a hundred years: longer is a slip of the finger


def tolerance_days(every_days: int) -> int:
    """Days a calendar due date may be missed by: 10 % of `every_days` (days).

    Rounded half up to whole days, at least 1, at most 14.

    >>> [tolerance_days(days) for days in (7, 28, 90, 180)]  # common practice
    [1, 3, 9, 14]
    >>> tolerance_days(25)  # 2.5 is rounded up
    3
    """
    if every_days < 1:
        raise ValueError(f"every_days ({every_days}) must be at least 1 day.")
    return min(14, max(1, (every_days + 5) // 10))


@dataclass(frozen=True, slots=True, kw_only=True)
class RoutineRule:
    """The interval of a routine: days, units of a meter, or both (first one binds).

    The anchor only matters for `every_days`. A safety test may be early, never late.
    Raises ValueError when there is no interval, or one that is not positive.
    """

    every_days: int | None = None  # days
    every_units: Decimal | None = None  # units of the routine's meter
    anchor: Anchor = "completion"
    safety: bool = False

    def __post_init__(self) -> None:
        if self.every_days is None and self.every_units is None:
            raise ValueError("A routine needs every_days, every_units or both.")
        if self.every_days is not None and not 1 <= self.every_days <= LONGEST_DAYS:
            raise ValueError(
                f"every_days ({self.every_days}) must lie between 1 and {LONGEST_DAYS}."
            )
        if self.every_units is not None and not (
            self.every_units.is_finite() and self.every_units > 0
        ):
            raise ValueError(f"every_units ({self.every_units}) must be above 0.")
        if self.anchor not in ("completion", "calendar"):
            raise ValueError(
                f"anchor ({self.anchor!r}) must be 'completion' or 'calendar'."
            )

    @property
    def tolerance_days(self) -> int | None:
        """Calendar tolerance in days; None without `every_days`."""
        return None if self.every_days is None else tolerance_days(self.every_days)

    @property
    def tolerance_units(self) -> Decimal | None:
        """Meter tolerance, 10 % of `every_units`, exact; None without them.

        >>> RoutineRule(every_units=Decimal(1_500_000)).tolerance_units
        Decimal('150000.0')
        """
        return None if self.every_units is None else self.every_units.scaleb(-1)
