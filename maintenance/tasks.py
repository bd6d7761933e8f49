"""Tasks: verbs for completing them, and what stands open."""

from datetime import date
from typing import NamedTuple

from maintenance.models import Task
from maintenance.models.tasks import TaskQuerySet


class SafetyOverdue(NamedTuple):
    count: int
    tasks: TaskQuerySet  # the longest overdue first


def safety_overdue(on: date) -> SafetyOverdue:
    """Safety tests whose window has closed without a test; the count must be 0."""
    tasks = Task.objects.open().late(on).filter(routine__safety=True)
    related = tasks.select_related("routine", "machine", "cell__line__area")
    return SafetyOverdue(tasks.count(), related.order_by("latest", "routine", "pk"))
