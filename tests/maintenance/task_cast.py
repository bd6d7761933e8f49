"""Routines and what is recorded of them, beside the cast."""

from datetime import date, datetime
from typing import Any

from maintenance.due import clock_of
from maintenance.models import Routine, Step, Task
from maintenance.open_tasks import judge, update_tasks
from tests.builders import Cast, at


def make_routine(code: str = "wipe", **facts: object) -> Routine:
    """Every 28 days from completion, 10 minutes of one M, on weld robots."""
    given = {
        "name": f"Routine {code}",
        "kinds": ["weld"],
        "every_days": 28,
        "anchor": "completion",
        "minutes": 10,
        "skills": ["M"],
        "lockout": False,
        **facts,
    }
    return Routine.objects.create(code=code, **given)


def make_step(routine: Routine, order: int = 1, **facts: object) -> Step:
    given = {"text": f"Step {order}", **facts}
    return Step.objects.create(routine=routine, order=order, **given)


def was_done(routine: Routine, machine: Any, done_at: datetime, **facts: Any) -> Task:
    """A completion as a file brings it: not yet judged."""
    placed = machine.placements.order_by("placed_on").last()
    given = {
        "machine": machine,
        "cell": placed.cell,
        "position": placed.position,
        "clock": clock_of(routine, placed),
        "opened_on": done_at.date(),
        "found": "normal",
        **facts,
    }
    return Task.objects.create(routine=routine, done_at=done_at, **given)


def open_task(routine: Routine, machine: Any) -> Task:
    return Task.objects.open().get(routine=routine, machine=machine)


def keep_in_step() -> None:
    """As the nightly job does."""
    judge()
    update_tasks()


def report(cast: Cast, task: Task, **facts: Any) -> dict[str, Any]:
    """The arguments of ``complete_task``: on Monday at 11:00, by the technician."""
    return {
        "task": task,
        "by": cast.people.technician,
        "done_at": at("11:00"),
        "minutes": 12,
        "found": "normal",
        **facts,
    }


def days(*texts: str) -> list[date]:
    return [date.fromisoformat(text) for text in texts]
