"""The Celery jobs of this room. Each may run twice and changes nothing more."""

from celery import shared_task

from maintenance import open_tasks


@shared_task
def update_tasks() -> None:
    """Every night: a day has passed, so windows open and close."""
    open_tasks.judge()
    open_tasks.update_tasks()
