"""The Celery jobs of this room. Each may run twice and changes nothing more."""

from celery import shared_task

from cells.attempts import carry_out
from maintenance import open_tasks


@shared_task
def update_tasks() -> None:
    """Every night: a day has passed, so windows open and close."""
    carry_out(update_tasks.name, "Opening and judging the tasks of the day", _update)


def _update() -> None:
    open_tasks.judge()
    open_tasks.update_tasks()
