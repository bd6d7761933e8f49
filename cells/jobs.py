"""Jobs of this room. Each may run twice, or twice at once, and change nothing more."""

import logging

from celery import shared_task

from cells import clock, shifts

log = logging.getLogger(__name__)


@shared_task
def extend_shifts() -> None:
    """Every night: keep the shifts stored eight weeks ahead."""
    for trouble in shifts.extend(today=clock.today()):
        log.error("Shifts were not extended. %s", trouble)
