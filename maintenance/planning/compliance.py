"""How much of the preventive work whose window closed was done on time?

Common practice, own arithmetic: 412 windows closed, 371 done on time, 8 late,
9 deferred, 24 open: 371 ÷ 412. Leaving the deferred out would flatter (371 ÷ 403).

>>> march = date(2026, 3, 31)
>>> closed = [
...     ClosedWindow(
...         closes=march, outcome=outcome, safety=False, minutes=10, times=times
...     )
...     for outcome, times in (
...         ("on_time", 371), ("late", 8), ("deferred", 9), ("not_done", 24)
...     )
... ]
>>> figures = pm_compliance(closed, first=date(2026, 3, 1), last=march)
>>> f"{figures.all.on_time} of {figures.all.closed}: {figures.all.ratio:.1%}"
'371 of 412: 90.0%'
>>> figures.safety.ratio is None  # no safety test's window closed
True
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal

# `missed` is a grid date that passed while an earlier task stayed open, `cancelled` is
# without cause, `excused` is cancelled with cause: the only one left out.
Outcome = Literal[
    "on_time",
    "early",
    "late",
    "not_done",
    "missed",
    "deferred",
    "cancelled",
    "excused",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedWindow:
    """A window that has closed, where it closed, and what came of it; or some alike."""

    closes: date  # the last day of the window
    outcome: Outcome
    safety: bool
    minutes: int  # labour minutes planned for the task
    times: int = 1  # how many there are of this kind

    def __post_init__(self) -> None:
        if self.minutes < 0:
            raise ValueError(f"minutes ({self.minutes}) must not be negative.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Compliance:
    """Windows and their labour minutes: done on time, and all that closed."""

    on_time: int
    closed: int
    on_time_minutes: int
    closed_minutes: int

    @property
    def ratio(self) -> float | None:
        """PM compliance, 0 to 1; None when no window closed."""
        return self.on_time / self.closed if self.closed else None

    @property
    def labour_ratio(self) -> float | None:
        """The same weighted by labour minutes; None when there are none."""
        if not self.closed_minutes:
            return None
        return self.on_time_minutes / self.closed_minutes


@dataclass(frozen=True, slots=True, kw_only=True)
class PmCompliance:
    """PM compliance of everything, and of the safety tests alone."""

    all: Compliance
    safety: Compliance


def pm_compliance(
    windows: Iterable[ClosedWindow], *, first: date, last: date
) -> PmCompliance:
    """PM compliance over the windows that closed from `first` to `last`, inclusive.

    Deferred, missed, and cancelled without cause count among all. Raises ValueError
    when the period ends before it begins.
    """
    if last < first:
        raise ValueError(f"The period ends ({last}) before it begins ({first}).")
    counted = [
        window
        for window in windows
        if first <= window.closes <= last and window.outcome != "excused"
    ]
    return PmCompliance(
        all=_sum(counted), safety=_sum([w for w in counted if w.safety])
    )


def _sum(windows: list[ClosedWindow]) -> Compliance:
    on_time = [window for window in windows if window.outcome == "on_time"]
    return Compliance(
        on_time=sum(window.times for window in on_time),
        closed=sum(window.times for window in windows),
        on_time_minutes=sum(window.minutes * window.times for window in on_time),
        closed_minutes=sum(window.minutes * window.times for window in windows),
    )
