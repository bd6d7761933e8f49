"""Jobs of this room. Each may run twice, or twice at once, and change nothing more."""

import logging

from celery import shared_task

from cells import clock, shifts
from cells.attempts import carry_out

log = logging.getLogger(__name__)


@shared_task
def extend_shifts() -> None:
    """Every night: keep the shifts stored eight weeks ahead."""
    carry_out(extend_shifts.name, "Storing the shifts of eight weeks ahead", _extend)


def _extend() -> None:
    for trouble in shifts.extend(today=clock.today()):
        log.error("Shifts were not extended. %s", trouble)
