"""Included by the drill's workers: one cell-shift kills whoever computes it."""

import os
import signal
from collections.abc import Iterable
from datetime import datetime

from config.drill.home import POISON
from oee import inputs, recompute


def gather(pairs: Iterable[tuple[int, int]], until: datetime | None = None) -> object:
    asked = set(pairs)
    if POISON.exists():
        cell, shift = POISON.read_text().split()
        if (int(cell), int(shift)) in asked:
            os.kill(os.getpid(), signal.SIGKILL)
    return inputs.gather(asked, until)


# By a word and not as an attribute: the module does not offer the name.
vars(recompute)["gather"] = gather
