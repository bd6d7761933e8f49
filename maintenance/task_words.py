"""Intervals, limits and results in words: beyond a limit is said, never refused."""

from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from cells.templatetags.figures import count, day
from maintenance.models import Routine, Step, StepResult, Task


def every(routine: Routine) -> str:
    """ "every 28 days or 150,000 of its spots, whichever comes first"."""
    parts = []
    if routine.every_days is not None:
        days = routine.every_days
        parts.append("day" if days == 1 else f"{days} days")
    if routine.every_units is not None:
        parts.append(f"{count(routine.every_units)} of its {routine.meter}")
    words = f"every {' or '.join(parts)}"
    return f"{words}, whichever comes first" if len(parts) > 1 else words


def limits(step: Step) -> str:
    """ "watch below 1.9 or above 2.1 kN, act below 1.84 or above 2.16 kN"."""
    sides = [
        ("watch", step.watch_low, step.watch_high),
        ("act", step.act_low, step.act_high),
    ]
    return ", ".join(
        f"{name} {_beyond(low, high)}{_unit(step)}"
        for name, low, high in sides
        if low is not None or high is not None
    )


def beyond(step: Step, value: Decimal) -> str:
    """Which limit a value is beyond, in words; empty inside all of them."""
    for name, low, high in (
        ("act", step.act_low, step.act_high),
        ("watch", step.watch_low, step.watch_high),
    ):
        if low is not None and value < low:
            return f"{name}: below {count(low)}{_unit(step)}"
        if high is not None and value > high:
            return f"{name}: above {count(high)}{_unit(step)}"
    return ""


class StepValue(NamedTuple):
    number: int
    value: Decimal
    beyond: str


class StepRecord(NamedTuple):
    step: Step
    limits: str
    values: list[StepValue]


def step_records(steps: list[Step], results: list[StepResult]) -> list[StepRecord]:
    """Each step with what was recorded; a retired one only where it has results."""
    by_step: dict[int, list[StepValue]] = {}
    known = {step.pk: step for step in steps if step.retired_on is None}
    for result in results:
        known.setdefault(result.step_id, result.step)
        by_step.setdefault(result.step_id, []).append(
            StepValue(result.number, result.value, beyond(result.step, result.value))
        )
    ordered = sorted(known.values(), key=lambda step: (step.order, step.pk))
    answered = {known[pk].order for pk in by_step}
    return [
        StepRecord(step, limits(step), by_step.get(step.pk, []))
        for step in ordered
        # A step that has taken the place of the one that was answered is left out.
        if step.pk in by_step or step.order not in answered
    ]


def why_due(task: Task, last_done: datetime | None) -> str:
    """What brings the due date of an open task, in a sentence."""
    since = f"last done {day(last_done)}" if last_done else "never done on record"
    if task.bound_by == "meter":
        return f"Its meter brings the date: {since}."
    words = f"The calendar brings the date: {since}."
    if not task.bound_by:
        words = f"No date can be given: {since}."
    return f"{words} Its meter gives no forecast." if task.meter_not_read else words


def _beyond(low: Decimal | None, high: Decimal | None) -> str:
    parts = []
    if low is not None:
        parts.append(f"below {count(low)}")
    if high is not None:
        parts.append(f"above {count(high)}")
    return " or ".join(parts)


def _unit(step: Step) -> str:
    return f" {step.unit}" if step.unit else ""
