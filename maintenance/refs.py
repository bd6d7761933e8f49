"""Refs: what a stop or planned stop is called in files, and in a tie who was first.

Of two stops of one class that start in the same second, the ledger gives the second
to the lower ref. So refs given here grow with the time of logging: the moment, then
the record's number, which tells two of the same second apart. A file brings its own.
"""

from uuid import uuid4

from cells import clock
from maintenance.models import PlannedStop, Stop


def unnamed() -> str:
    """A ref for the moment of insertion, before the record has its number."""
    return uuid4().hex


def name(record: Stop | PlannedStop) -> None:
    """Give a record that was just inserted its ref: 20260302T050512Z-0000000042."""
    record.ref = f"{clock.now():%Y%m%dT%H%M%SZ}-{record.pk:010}"
    record.save(update_fields=["ref"])
