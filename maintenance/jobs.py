"""The Celery jobs of this room. Each may run twice and changes nothing more."""

from celery import shared_task

from cells.attempts import carry_out
from maintenance import open_tasks


@shared_task
def update_tasks() -> None:
    """Every night: a day has passed, so windows open and close."""
    what = "Opening and judging the tasks of the day"
    carry_out(update_tasks.name, what, open_tasks.follow)
