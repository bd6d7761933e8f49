"""Included by the drill's workers: one cell-shift kills whoever computes it."""

import os
import signal
from collections.abc import Set
from typing import Any

from config.drill.home import POISON
from oee import recompute

_gather = recompute.gather


def gather(pairs: Set[tuple[int, int]]) -> Any:
    if POISON.exists():
        cell, shift = POISON.read_text().split()
        if (int(cell), int(shift)) in pairs:
            os.kill(os.getpid(), signal.SIGKILL)
    return _gather(pairs)


recompute.gather = gather
