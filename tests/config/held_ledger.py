"""Included by a test's worker: the ledger stops in the middle while a file is there."""

import os
import time
from pathlib import Path
from typing import Any

from celery.signals import worker_process_init

from oee import recompute

_store = recompute.store


def store(*what: Any) -> int:
    """After the rows are written, before the transaction ends."""
    stored = _store(*what)
    folder = Path(os.environ["HELD_LEDGER"])
    while (folder / "hold").exists():
        (folder / "held").touch()
        time.sleep(0.02)
    return stored


@worker_process_init.connect
def hold(**_: object) -> None:
    """In the worker only, not where pytest looks for doctests."""
    vars(recompute)["store"] = store
