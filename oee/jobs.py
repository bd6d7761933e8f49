"""The ledger's Celery jobs. They carry no data: what to do is in the stale marks."""

import logging

from celery import shared_task

from cells import clock
from oee.recompute import bring_up_to_date
from oee.so_far import keep_ready

log = logging.getLogger(__name__)


@shared_task
def recompute() -> int:
    """Sent when a transaction that marked cell-shifts has been committed."""
    done = bring_up_to_date(now=clock.agreed_now)
    keep_ready(now=clock.now(), anew=False)
    return done


@shared_task
def sweep() -> int:
    """Every minute: closes shifts that have ended and heals lost messages."""
    done = bring_up_to_date(now=clock.agreed_now)
    keep_ready(now=clock.now(), anew=True)
    return done


def ask_for_recompute(**kwargs: object) -> None:
    """Send the job; with the broker gone, leave it to the sweep."""
    try:
        recompute.apply_async(retry=False, ignore_result=True)
    except Exception as error:  # whatever the broker's client raises, the marks stay
        log.warning("No queue (%s): the sweep computes what is stale.", error)
